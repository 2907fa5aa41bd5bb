"""Exact rows, free unknowns, quotients: against full adjustments with very small variances, and by hand."""

import numpy as np
import pytest

from dryfit.calc.adjust import (
    Contradiction,
    Quotients,
    adjust,
    adjust_exactly,
    adjust_huber,
    adjust_robustly,
    chance_outside,
    covariance_after,
    find_doubts,
    leave_out,
)

TINY = 1e-10  # a variance that is as good as none beside ones of about 1


def made(seed: int = 1, blunder: float = 0.0) -> tuple[np.ndarray, ...]:
    draw = np.random.default_rng(seed)
    design, truth = draw.normal(size=(12, 5)), draw.normal(size=5) + 5.0
    std = draw.uniform(0.5, 2.0, 12)
    observed = design @ truth + std * draw.normal(size=12)
    observed[3] += blunder
    exact = np.array([[1.0, 1.0, -1.0, 0.0, 0.0], [0.0, 1.0, 0.0, -2.0, 0.0]])
    return design, observed, std, exact, exact @ truth


def solved(design, observed, std, exact, values):
    rows, held = Quotients.linear(design), Quotients.linear(exact)
    return adjust_exactly(rows, observed, std**2, held, values, np.ones(design.shape[1]))


def test_exact_rows_are_the_limit_of_ever_smaller_variances() -> None:
    design, observed, std, exact, values = made()
    ours = solved(design, observed, std, exact, values)
    stacked = adjust(np.vstack([design, exact]), np.r_[observed, values], np.r_[std**2, np.full(2, TINY)])
    assert ours.estimate == pytest.approx(stacked.estimate, abs=1e-7)
    assert ours.covariance == pytest.approx(stacked.covariance, abs=1e-8)
    assert ours.normalised[:12] == pytest.approx(stacked.normalised[:12], abs=1e-6)
    assert ours.redundancy == pytest.approx(stacked.redundancy[:12], abs=1e-8)
    assert ours.smallest_blunder[:12] == pytest.approx(stacked.smallest_blunder[:12], rel=1e-7)
    assert (ours.dof, ours.vpv) == (stacked.dof, pytest.approx(stacked.vpv, abs=1e-6))
    # They hold to rounding, which no small variance reaches.
    assert exact @ ours.estimate == pytest.approx(values, abs=1e-12)


@pytest.mark.parametrize("row", range(14))
def test_an_update_without_a_row_is_the_adjustment_without_it(row: int) -> None:
    design, observed, std, exact, values = made(2, blunder=15.0)
    update = leave_out(solved(design, observed, std, exact, values), row)
    kept = np.arange(14) != row
    stacked = adjust(
        np.vstack([design, exact])[kept],
        np.r_[observed, values][kept],
        np.r_[std**2, np.full(2, TINY)][kept],
    )
    assert update is not None
    assert update.estimate == pytest.approx(stacked.estimate, abs=1e-5)
    assert update.covariance == pytest.approx(stacked.covariance, abs=1e-5)
    assert (update.dof, update.vpv) == (stacked.dof, pytest.approx(stacked.vpv, abs=1e-5))


def test_two_blunders_are_named_one_after_the_other() -> None:
    design, observed, std, exact, values = made(3, blunder=20.0)
    observed[7] -= 14.0
    doubts = find_doubts(solved(design, observed, std, exact, values))
    assert [doubt.row for doubt in doubts.found] == [3, 7]
    both = np.array([row not in (3, 7) for row in range(12)])
    clean = solved(design[both], observed[both], std[both], exact, values)
    assert doubts.found[1].without.estimate == pytest.approx(clean.estimate, abs=1e-9)
    assert doubts.found[1].without.vpv == pytest.approx(clean.vpv)


def test_a_wrong_exact_row_is_named_as_such() -> None:
    design, observed, std, exact, values = made(4)
    values[0] += 20.0
    doubts = find_doubts(solved(design, observed, std, exact, values))
    assert doubts.found[0].row == 12
    assert doubts.found[0].size == pytest.approx(20.0, abs=4.0 * doubts.found[0].size_std)


def test_unknowns_that_nothing_determines_are_named_and_change_nothing_else() -> None:
    design = np.array([[1.0, 0, 0, 0], [1.0, 0, 0, 0], [0, 1.0, 1.0, 0]])
    result = solved(design, np.array([10.0, 12.0, 30.0]), np.ones(3), np.zeros((0, 4)), np.zeros(0))
    assert result.is_determined.tolist() == [True, False, False, False]
    assert result.estimate[0] == pytest.approx(11.0)
    assert result.covariance[0, 0] == pytest.approx(0.5)
    assert result.dof == 1
    assert sorted(item.unknowns for item in result.free) == [("unknown 2", "unknown 3"), ("unknown 4",)]


def test_contradictory_exact_rows_are_named_and_no_others() -> None:
    exact = np.array([[1.0, 0, 0], [0, 1.0, 0], [1.0, -1.0, 0], [0, 0, 1.0]])
    with pytest.raises(Contradiction) as refused:
        solved(np.eye(3), np.ones(3), np.ones(3), exact, np.array([100.0, 50.0, 40.0, 7.0]))
    assert refused.value.rows == (0, 1, 2)


def test_exact_rows_that_repeat_one_another_agree() -> None:
    exact = np.array([[1.0, -1.0, 0], [2.0, -2.0, 0], [0, 1.0, -1.0], [1.0, 0, -1.0]])
    result = solved(np.eye(3), np.array([1.0, 2.0, 3.0]), np.ones(3), exact, np.zeros(4))
    assert result.estimate == pytest.approx([2.0, 2.0, 2.0])


def test_a_measured_ratio_is_iterated_and_follows_the_rule_of_relative_uncertainties() -> None:
    """Of a product of independent quantities relative variances add: JCGM 100:2008, 5.1.6."""
    one = np.array([[0.0, 1.0]])
    none = np.zeros((1, 2))
    rows = Quotients(
        np.vstack([one, [[1.0, 0.0]]]), np.vstack([none, one]), np.zeros((2, 2)), np.zeros((2, 2))
    )
    result = adjust_exactly(
        rows,
        np.array([200.0, 0.41]),
        np.array([1.0, 0.004]) ** 2,
        Quotients.linear(np.zeros((0, 2))),
        np.zeros(0),
        np.full(2, 1000.0),
    )
    assert result.estimate == pytest.approx([82.0, 200.0], rel=1e-9)
    assert result.std[0] / 82.0 == pytest.approx(np.hypot(1.0 / 200.0, 0.004 / 0.41), rel=1e-6)
    assert result.iterations > 1


def test_equal_ratios_give_the_fourth_size() -> None:
    """a / b = c / d with a, b and c measured: the rule of three."""
    rows = Quotients.linear(np.eye(4)[:3])
    unit = np.eye(4)
    exact = Quotients(unit[[0]], unit[[1]], unit[[2]], unit[[3]])
    result = adjust_exactly(
        rows, np.array([30.0, 20.0, 4500.0]), np.full(3, 0.01), exact, np.zeros(1), np.full(4, 500.0)
    )
    assert result.estimate == pytest.approx([30.0, 20.0, 4500.0, 3000.0])


def test_huber_loss_against_a_general_purpose_solver() -> None:
    from scipy.optimize import least_squares

    design, observed, std, _, _ = made(5, blunder=25.0)
    plain = solved(design, observed, std, np.zeros((0, 5)), np.zeros(0))
    ours = adjust_huber(plain)
    theirs = least_squares(
        lambda at: (observed - design @ at) / std,
        np.ones(5),
        loss="huber",
        f_scale=1.345,
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
    )
    assert ours.estimate == pytest.approx(theirs.x, abs=1e-6)


def test_blunders_that_hide_one_another_do_not_bend_the_robust_alternative() -> None:
    """Three of seven values are wrong alike: least squares lies between, and each test names the wrong side."""
    values = np.array([100.0, 101.0, 99.0, 100.0, 130.0, 131.0, 129.0])
    plain = solved(np.ones((7, 1)), values, np.ones(7), np.zeros((0, 1)), np.zeros(0))
    robust = adjust_robustly(plain)
    assert plain.estimate[0] == pytest.approx(values.mean())
    assert robust.estimate[0] == pytest.approx(100.0, abs=0.1)
    assert (robust.weight[4:] < 0.01).all()
    assert (robust.weight[:4] == 1.0).all()


def test_one_more_observation_is_worth_what_adjusting_it_shows() -> None:
    design, observed, std, exact, values = made(6)
    before = solved(design, observed, std, exact, values)
    row = np.array([0.0, 1.0, 0.0, 0.0, 1.0])
    after = solved(np.vstack([design, row]), np.r_[observed, 3.0], np.r_[std, 0.3], exact, values)
    assert covariance_after(before.covariance, row, 0.3) == pytest.approx(after.covariance, abs=1e-12)


def test_chance_outside_limits() -> None:
    """Normal table: 1.96 standard deviations hold 95 %, 1.645 one-sided (JCGM 106:2012, Table 1, memory)."""
    std = np.array([1.0, 2.0, 0.0, 0.0])
    lower, upper = np.array([-1.959964, -np.inf, -1.0, 0.5]), np.array([1.959964, 3.289707, 1.0, 1.0])
    assert chance_outside(std, lower, upper) == pytest.approx([0.05, 0.05, 0.0, 1.0], abs=1e-6)
