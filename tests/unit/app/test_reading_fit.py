"""Estimates from readings of simulated, invented machines: right on average, and as sure as they say.

Where a figure comes from outside the project it is named beside the test; the rest are simulations against the
truth that they were made from.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.special import stdtrit

from dryfit.app.reading_blunders import suspect_readings
from dryfit.app.reading_fit import adjust_with, fit_readings, pool_repeats, start_of
from dryfit.app.reading_model import Taken, model_readings, shared_rounding
from dryfit.app.reading_wanted import explain_what_is_missing
from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import Estimate
from dryfit.calc.adjust import Indistinct, expect
from dryfit.model.artefact import Artefact, Measure
from dryfit.model.machine import FIGURES
from dryfit.model.material import Material
from support.plain_body import CALIPER, PLA, RULE, SQUARE, measures, plan, simulate

TRUE = np.array([1e-3, -5e-4, 2e-4, 0.1, 0.6, -0.2, 0.05, 0.1])
SCATTER = 0.05
BODY = measures()
SHEET = plan(BODY)


def every_other(sheet=SHEET):
    """A shorter sheet for the long simulations: half of the measures, read once or twice."""
    return [item for index, item in enumerate(sheet) if index % 6 < 3]


@pytest.mark.slow
def test_intervals_cover_as_often_as_they_claim():
    """95 % intervals over 2,000 invented machines cover in 93 to 97 of 100 cases, for each of the eight figures.

    Faults, scatter and instruments change from run to run: a good kit, a coarse one, and that of the other tests.
    """
    rng = np.random.default_rng(20)
    fine = (replace(CALIPER, mpe_mm=0.01, repeatability_mm=0.01), RULE, replace(SQUARE, mpe_mm=0.01))
    coarse = (replace(CALIPER, resolution_mm=0.05, mpe_mm=0.05, repeatability_mm=0.05), RULE, SQUARE)
    sheets = [every_other(plan(BODY, instruments=kit)) for kit in (fine, coarse, (CALIPER, RULE, SQUARE))]
    runs, covered = 2000, np.zeros(len(FIGURES))
    spread = np.array([1e-3, 1e-3, 1e-3, 0.3, 0.3, 0.3, 0.1, 0.1])
    for _ in range(runs):
        sheet = sheets[rng.integers(len(sheets))]
        true = spread * rng.standard_normal(len(FIGURES))
        fit = fit_readings(sheet, simulate(sheet, true, rng.uniform(0.03, 0.08), rng), PLA)
        std = np.sqrt(np.diag(fit.covariance))
        covered += np.abs(fit.figures - true) <= stdtrit(fit.dof, 0.975) * std
    assert (covered / runs >= 0.93).all(), covered / runs
    assert (covered / runs <= 0.97).all(), covered / runs


def test_the_uncertainty_expected_beforehand_is_the_one_obtained():
    rng = np.random.default_rng(4)
    model = model_readings(SHEET, PLA)
    _, design = model.predict(start_of(model))
    covariance = model.fixed + SCATTER**2 * model.scatter
    expected = expect(design, covariance, fit_prior(model), model.names).std[: len(FIGURES)]
    fits = [fit_readings(SHEET, simulate(SHEET, TRUE, SCATTER, rng), PLA) for _ in range(60)]
    obtained = np.array([np.sqrt(np.diag(fit.covariance)) for fit in fits])
    assert np.sqrt((obtained**2).mean(axis=0)) == pytest.approx(expected, rel=0.06)
    errors = np.array([fit.figures - TRUE for fit in fits])
    assert np.sqrt((errors**2).mean(axis=0)) == pytest.approx(expected, rel=0.25)


def fit_prior(model):
    from dryfit.app.reading_fit import prior_of

    return prior_of(model)


@pytest.mark.slow
def test_blunders_of_eight_std_are_found_and_false_alarms_stay_at_their_level():
    """At least 95 of 100 blunders are named; of 150 sheets without one at most 14 are suspected at the level of 5 %.

    14 of 150 is the 99.9 % point of a binomial count with 5 % (scipy.stats.binom).
    """
    rng = np.random.default_rng(8)
    sheet = every_other()
    alarms = sum(bool(suspect_readings(sheet, simulate(sheet, TRUE, SCATTER, rng), PLA)) for _ in range(150))
    assert alarms <= 14
    found = 0
    for _ in range(100):
        values = simulate(sheet, TRUE, SCATTER, rng)
        measure = sheet[rng.integers(len(sheet))].measure
        rows = [index for index, item in enumerate(sheet) if item.measure is measure]
        instrument = sheet[rows[0]].instrument
        std = np.sqrt(2 * SCATTER**2 + instrument.repeatability_mm**2 + instrument.resolution_mm**2 / 12)
        wrong = rows if rng.random() < 0.5 else rows[:1]
        values[wrong] += 8 * std * rng.choice([-1, 1])
        found += any(set(item.places) & set(wrong) for item in suspect_readings(sheet, values, PLA))
    assert found >= 95


def test_two_swapped_rows_are_named_as_exchanged():
    values = simulate(SHEET, TRUE, 0.02, np.random.default_rng(3))
    one = next(i for i, item in enumerate(SHEET) if item.measure.kind == "outside")
    other = next(i for i, item in enumerate(SHEET) if item.measure.kind == "step")
    values[[one, other]] = values[[other, one]]
    suspects = suspect_readings(SHEET, values, PLA)
    assert {suspects[0].places[0], suspects[0].exchanged} == {one, other}
    assert len(suspects) == 1, "once they are exchanged back nothing else is wrong"


def test_a_blunder_says_what_the_figures_would_be_without_it():
    values = simulate(SHEET, TRUE, 0.02, np.random.default_rng(6))
    wrong = [i for i, item in enumerate(SHEET) if item.measure.kind == "square"][:2]
    values[wrong] += 1.5
    suspect = suspect_readings(SHEET, values, PLA)[0]
    assert set(suspect.places) == set(wrong)
    assert suspect.off_mm == pytest.approx(1.5, abs=0.15)
    rest = [i for i in range(len(SHEET)) if i not in wrong]
    without = fit_readings([SHEET[i] for i in rest], values[rest], PLA)
    assert suspect.without == pytest.approx(without.figures)


def test_the_estimate_is_that_of_a_general_solver():
    """Against scipy.optimize.least_squares on the same whitened residuals, with hand and scatter held."""
    values = simulate(SHEET, TRUE, SCATTER, np.random.default_rng(1))
    fit = fit_readings(SHEET, values, PLA)
    lower = np.linalg.cholesky(fit.covariance_of_readings())
    model = fit.model

    def residuals(scaled):
        unknowns = scaled * scale
        predicted, _ = model.predict(unknowns)
        prior = (unknowns[model.prior_index] - model.prior_mean) / model.prior_std
        return np.concatenate([np.linalg.solve(lower, values * model.correction - predicted), prior])

    scale = fit.adjustment.std
    theirs = least_squares(residuals, start_of(model) / scale, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert fit.unknowns / scale == pytest.approx(theirs.x, abs=1e-3)
    covariance = np.linalg.inv(theirs.jac.T @ theirs.jac) * np.outer(scale, scale)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(np.sqrt(np.diag(covariance))[:8], rel=1e-4)


def test_scatter_and_global_test_go_together():
    fit = fit_readings(SHEET, simulate(SHEET, TRUE, SCATTER, np.random.default_rng(2)), PLA)
    assert fit.scatter.std == pytest.approx(SCATTER, rel=0.4)
    assert adjust_with(fit, SCATTER).p_value > 0.001
    assert adjust_with(fit, SCATTER / 4).p_value < 0.001


def test_warm_plastic_read_by_cool_steel_is_brought_to_20_degrees():
    """JCGM 100:2008 H.1.2: l = ls (1 - (a_body - a_scale) theta) to first order. 300 mm of PLA at 25 C.

    300 (7e-5 - 1.15e-5) 5 = 0.08775 mm.
    """
    length = Measure(1, "one", "outside", "faces", (0, 0, 0), (300, 0, 0), (-1, 0, 0), (1, 0, 0))
    angle = Measure(2, "two", "square", "points", (0, 0, 0), (0, 0, 100), toward=(1, 0, 0))
    model = model_readings([Taken(length, CALIPER, 25.0), Taken(angle, SQUARE, 25.0)], PLA)
    assert 300.0 * (1.0 - model.correction[0]) == pytest.approx(0.08775, abs=1e-12)
    assert model.correction[1] == 1.0, "an angle does not change by even warming"
    names = model.names
    _, design = model.predict(start_of(model))
    assert design[0, names.index("temperature")] == pytest.approx(300 * (7e-5 - 1.15e-5))
    assert design[0, names.index("expansion")] == pytest.approx(300 * 5)


@pytest.mark.parametrize("hand", [0.0, 0.05, 0.1, 0.2, 0.4, 1.0])
def test_a_wavering_hand_averages_the_rounding_out(hand):
    """Against brute force: the covariance of the rounding of two repeats of the same lengths, step 1."""
    rng = np.random.default_rng(5)
    lengths = rng.uniform(-0.5, 0.5, 400_000)
    departures = []
    for _ in range(2):
        shown = lengths + hand * rng.standard_normal(lengths.size)
        departures.append(np.round(shown) - shown)
    brute = float((departures[0] * departures[1]).mean())
    assert shared_rounding(1.0, hand) == pytest.approx(brute, abs=4e-4)
    assert shared_rounding(0.5, hand / 2) == pytest.approx(shared_rounding(1.0, hand) / 4, rel=1e-9)


def test_repeats_are_pooled_with_what_is_stated():
    """Pooled variance of two groups by hand: (0.02^2/2 + 0 + 3 0.02^2)/(3 + 2)."""
    taken = [Taken(BODY[0], CALIPER, 20.0)] * 2 + [Taken(BODY[1], CALIPER, 20.0)] * 2
    hand = pool_repeats(taken, np.array([10.0, 10.02, 5.0, 5.0]))["caliper"]
    assert hand.repeats == pytest.approx(np.sqrt(0.0002 / 2))
    assert hand.std == pytest.approx(np.sqrt((3 * 0.02**2 + 0.0002) / 5))
    assert hand.dof == 5


def test_outside_lengths_alone_cannot_tell_scale_from_offset_and_the_program_says_what_would():
    lengths = [item for item in SHEET if item.measure.kind == "outside" and not item.measure.first_is_low]
    one_size = [item for item in lengths if item.measure.length_mm == lengths[0].measure.length_mm] * 8
    with pytest.raises(Indistinct) as caught:
        fit_readings(one_size, np.array([item.measure.length_mm for item in one_size]), PLA)
    body = Artefact("tall", (500, 500, 600), (460, 460, 560), 1.0, 1.0, None, "pla", 0.3, BODY, ())
    refusal = explain_what_is_missing(caught.value, [*one_size, Taken(BODY[-1], SQUARE)], body, PLA)
    assert isinstance(refusal, ComputationRefused)
    assert "scale_x" in refusal.what
    assert "read besides" in refusal.do


def test_a_reversed_square_cancels_its_own_departure():
    """Two gaps on opposite faces with one square: the difference of both tells the lean twice, the sum the square.

    Closed form of reversal: the std of the lean is that of the reading over root two, over the height.
    """
    exact = Material("pla", "PLA", Estimate(0.0), Estimate(7e-5), (), Estimate(1.24))
    pair = [
        Measure(1, "a", "square", "points", (0, 0, 0), (0, 0, 300), toward=(1, 0, 0)),
        Measure(2, "b", "square", "points", (0, 0, 0), (0, 0, 300), toward=(-1, 0, 0)),
    ]
    model = model_readings([Taken(measure, SQUARE, 20.0) for measure in pair], exact)
    _, design = model.predict(start_of(model))
    lean, tip = FIGURES.index("skew_xz_deg"), model.names.index("square zero")
    assert design[0, lean] == pytest.approx(-design[1, lean])
    assert design[0, tip] == design[1, tip]
    rows = design[:, [lean, tip]]
    covariance = np.linalg.inv(rows.T @ rows)
    assert np.degrees(1 / 300) / np.sqrt(2) == pytest.approx(np.sqrt(covariance[0, 0]), rel=1e-6)


def test_a_rule_and_a_caliper_each_keep_their_own_departures():
    model = model_readings(SHEET, PLA)
    wanted = {
        "bed offset",
        "shrinkage",
        "temperature",
        "caliper zero",
        "rule zero",
        "rule scale",
        "square zero",
    }
    assert set(model.names[len(FIGURES) :]) == wanted
    rule = model.names.index("rule scale")
    _, design = model.predict(start_of(model))
    by_rule = np.array([item.instrument is RULE for item in SHEET])
    assert (design[~by_rule, rule] == 0).all()
    assert (design[by_rule, rule] > 0).all()


def test_a_shared_caliper_puts_both_qualifications_off_alike():
    """By brute force: the zero of the caliper off by one standard deviation, everything else exact."""
    from dryfit.app.qualify import _tied

    values, design = model_readings(SHEET, PLA).predict(np.zeros(len(model_readings(SHEET, PLA).names)))
    fit = fit_readings(SHEET, simulate(SHEET, TRUE, SCATTER, np.random.default_rng(1)), PLA)
    tied = _tied(fit, PLA)
    assert set(tied) == {"caliper zero", "rule zero", "rule scale", "square zero", "shrinkage of pla"}
    covariance = fit.covariance_of_readings()
    weights = np.linalg.inv(covariance)
    prior = np.zeros((len(fit.model.names),) * 2)
    prior[fit.model.prior_index, fit.model.prior_index] = 1 / fit.model.prior_std**2
    estimator = np.linalg.inv(fit.design.T @ weights @ fit.design + prior) @ fit.design.T @ weights
    place = fit.model.names.index("caliper zero")
    std = fit.model.prior_std[place - len(FIGURES)]
    assert np.allclose((estimator @ fit.design[:, place] * std)[:8], tied["caliper zero"], atol=1e-9)
    assert len(values) == len(design)


def test_what_readings_share_is_as_large_as_their_limits_say():
    """A rectangular distribution within +-a has the standard uncertainty a / root 3: JCGM 100:2008, 4.3.7."""
    model = model_readings(SHEET, PLA)
    known = dict(zip(model.names[len(FIGURES) :], model.prior_std, strict=True))
    assert known["caliper zero"] == pytest.approx(0.03 / np.sqrt(3))
    assert known["rule scale"] == pytest.approx(0.1 / 1000 / np.sqrt(3))
    assert known["square zero"] == pytest.approx(0.03 / np.sqrt(3))
    _, design = model.predict(start_of(model))
    column = design[:, model.names.index("square zero")]
    half = next(
        i for i, item in enumerate(SHEET) if item.measure.kind == "square" and item.measure.length_mm == 150
    )
    assert column[half] == pytest.approx(0.5), (
        "half-way up a blade of 300 mm its departure is half of that at the tip"
    )


def test_a_measure_between_two_printed_points_scatters_by_both():
    """Variance of a difference of two independent points: twice that of one. Repeats share it, measures do not."""
    model = model_readings(SHEET, PLA)
    same = model.measure[:, None] == model.measure[None, :]
    assert (model.scatter[same] == 2.0).all()
    assert (model.scatter[~same] == 0.0).all()
