"""Pictures of the machine sheet: what leans is drawn leaning to its side, ellipses hold what they say."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from scipy.stats import chi2, multivariate_normal

from dryfit.app.machine_page import covariance_of, figures_of
from dryfit.app.reading_desk import Step
from dryfit.base.estimate import Estimate
from dryfit.model.artefact import Artefact
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from dryfit.model.machine import FIGURES, WIDE_PRIOR, Machine
from dryfit.view.machine_bench import hold_words, step_rows
from dryfit.view.machine_drawing import FACTORS, lean_words, machine_svg, usual_factor
from dryfit.view.machine_ellipses import FACTOR_95, ellipse_points
from dryfit.view.machine_figure import measure_svg
from dryfit.view.machine_ink import round_ticks
from support.plain_body import measures
from support.read_artefacts import SIZE

SVG = "{http://www.w3.org/2000/svg}"


def machine(**values):
    figures = {name: Estimate(values.get(name, 0.0), 0.01) for name in FIGURES}
    model = replace(WIDE_PRIOR, figures=figures, knowledge="stated")
    return Machine("tall", (500.0, 500.0, 600.0), model)


def drawn(kind, factor=20.0, **values):
    one = machine(**values)
    root = ElementTree.fromstring(machine_svg(one, figures_of(one.error, ()), factor))
    return [e.get("d") for e in root.iter(f"{SVG}path") if e.get("class") == kind]


def ends(d):
    return [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", d)]


def upright(paths):
    """Foot and top of the first line that goes up the most."""
    return max((ends(d) for d in paths if len(ends(d)) == 2), key=lambda e: abs(e[1][1] - e[0][1]))


@pytest.mark.parametrize(("lean", "side"), [(0.6, 1.0), (-0.6, -1.0)])
def test_an_upright_leans_on_paper_to_the_side_of_its_sign(lean, side):
    foot, top = upright(drawn("wide", skew_xz_deg=lean))
    assert top[1] < foot[1]  # y grows downward
    assert side * (top[0] - foot[0]) > 3.0


def test_the_drawn_lean_is_the_fault_times_the_stated_factor():
    foot, top = upright(drawn("wide", 20.0, skew_xz_deg=0.6))
    measured = (top[0] - foot[0]) / (foot[1] - top[1])
    assert measured == pytest.approx(20.0 * np.tan(np.radians(0.6)), rel=0.01)


def test_the_broken_lines_stay_square():
    foot, top = upright(drawn("face", skew_xz_deg=0.6))
    assert top[0] == pytest.approx(foot[0], abs=0.01)


def test_the_factor_stands_beside_the_drawing():
    one = machine(skew_xz_deg=0.6)
    svg = machine_svg(one, figures_of(one.error, ()), 50.0)
    assert "faults drawn 50 times as large" in svg
    assert "as large as they are" in machine_svg(one, figures_of(one.error, ()), 1.0)


def test_a_smaller_fault_is_drawn_with_a_larger_factor_out_of_the_fixed_ones():
    factors = [
        usual_factor(one, figures_of(one.error, ()))
        for one in (machine(skew_xz_deg=0.02), machine(skew_xz_deg=0.6), machine(skew_xz_deg=5.0))
    ]
    assert factors == sorted(factors, reverse=True)
    assert factors[0] > factors[-1]
    assert set(factors) <= set(FACTORS)


def test_a_lean_within_its_uncertainty_gets_no_side():
    xz, yz, xy = lean_words(
        figures_of(machine(skew_xz_deg=0.015, skew_yz_deg=-0.4, skew_xy_deg=0.2).error, ())
    )
    assert xz == "XZ 0.015(10) deg: not told from square"
    assert yz == "YZ -0.400(10) deg: leans to -Y"
    assert xy == "XY 0.200(10) deg: Y leans to +X"


def test_the_factor_of_the_ellipse_is_that_of_the_chi_square_distribution():
    # Outside source: scipy's distribution of chi squared.
    assert pytest.approx(chi2.ppf(0.95, 2)) == FACTOR_95**2


def test_an_ellipse_holds_95_per_cent_of_draws():
    covariance = np.array([[4e-4, -2.4e-4], [-2.4e-4, 3.6e-4]])
    middle = np.array([0.5, -0.1])
    outline = ellipse_points(middle, covariance)
    # Every point of the outline is equally likely.
    density = multivariate_normal(middle, covariance).pdf(outline)
    assert density == pytest.approx(np.full(len(outline), density[0]))
    draws = np.random.default_rng(1).multivariate_normal(middle, covariance, 200_000)
    away = np.einsum("ni,ij,nj->n", draws - middle, np.linalg.inv(covariance), draws - middle)
    inside = np.mean(
        away <= np.einsum("i,ij,j->", outline[0] - middle, np.linalg.inv(covariance), outline[0] - middle)
    )
    assert inside == pytest.approx(0.95, abs=0.002)


def test_stated_figures_are_taken_as_independent():
    model = machine(skew_xz_deg=0.6).error
    assert covariance_of(model) == pytest.approx(np.diag(np.full(8, 1e-4)))


@pytest.mark.parametrize(("low", "high"), [(0.0, 1.0), (-0.031, 0.047), (12.0, 612.0)])
def test_ticks_are_round_and_within_the_scale(low, high):
    ticks, decimals = round_ticks(low, high)
    assert 2 <= len(ticks) <= 6
    assert all(low <= tick <= high for tick in ticks)
    assert [float(f"{tick:.{decimals}f}") for tick in ticks] == pytest.approx(ticks)


def artefact():
    found = measures(SIZE)
    return Artefact("tall", (500.0, 500.0, 600.0), SIZE, 2e5, 273.0, None, "pla", 0.3, found, ())


@pytest.mark.parametrize("measure", [artefact().measures[place] for place in (0, 20, 38, 45, 55)])
def test_the_measure_to_take_alone_is_lit_and_numbered(measure):
    root = ElementTree.fromstring(measure_svg(artefact(), measure))
    numbers = [e.text for e in root.iter(f"{SVG}text") if e.get("class") == "on-disc"]
    assert numbers == [str(measure.number)]
    lit = [e for e in root.iter(f"{SVG}path") if e.get("class") == "lit"]
    assert len(lit) == (2 if measure.kind == "square" else 1)
    for element in root.iter(f"{SVG}path"):
        assert all(-1.0 <= x <= 121.0 and -1.0 <= y <= 101.0 for x, y in ends(element.get("d")))


def test_how_to_hold_it_follows_the_kind_and_the_instrument():
    body = artefact()
    square = next(item for item in body.measures if item.kind == "square")
    step = Step(square, COMMON_INSTRUMENTS["square-300"], 1, 2, 5, 118, (0.15,))
    assert "Open at the tip: positive" in hold_words(step)
    tread = next(item for item in body.measures if item.kind == "height" and not item.from_bed)
    assert "the rod from the upper one down" in hold_words(
        Step(tread, COMMON_INSTRUMENTS["caliper-300"], 0, 2, 0, 118, ())
    )
    rows = dict(step_rows(step))
    assert rows["reading"] == "second of two"
    assert rows["so far"] == "0.15"


def test_with_the_body_its_edges_stand_in_place_of_the_box():
    body = artefact()
    edges = np.array([[[0.0, 0.0, 0.0], [460.0, 0.0, 0.0]], [[0.0, 0.0, 0.0], [0.0, 0.0, 560.0]]])
    root = ElementTree.fromstring(measure_svg(body, body.measures[0], edges))
    (drawn_edges,) = [e for e in root.iter(f"{SVG}path") if e.get("class") == "edge"]
    assert drawn_edges.get("d").count("M") == 2
    assert [e for e in root.iter(f"{SVG}path") if e.get("class") == "nominal"] == []
