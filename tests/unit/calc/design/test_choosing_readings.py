"""Choosing readings: against designs known from elsewhere, brute force, and plain linear algebra."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.calc.design import (
    Aim,
    Candidates,
    block_information,
    choose_readings,
    covariance_of,
    expected_covariance,
    information_of,
)


def polynomial(degree: int, points: np.ndarray, scatter: float = 0.0) -> Candidates:
    """Readings of a polynomial at points, each with unit variance; every point its own block."""
    rows = np.stack([points**power for power in range(degree + 1)], axis=1)
    return plain(rows, scatter=scatter)


def plain(
    rows: np.ndarray, block: np.ndarray | None = None, scatter: float = 0.0, **given: object
) -> Candidates:
    count, unknowns = rows.shape
    values = {
        "alone": np.ones(count),
        "shared": np.zeros(count),
        "block": np.arange(count) if block is None else block,
        "scatter": np.full(count, scatter),
        "prior": np.zeros((unknowns, unknowns)),
        "cost": np.ones(count),
        **given,
    }
    return Candidates(rows, **values)  # type: ignore[arg-type]


def aim(kind: str, unknowns: int, **given: np.ndarray) -> Aim:
    return Aim(kind, np.arange(unknowns), **given)  # type: ignore[arg-type]


GRID = np.round(np.linspace(-1.0, 1.0, 21), 12)


# ---- designs known from the literature ---------------------------------------------------------------------


def test_a_line_is_best_read_at_its_two_ends() -> None:
    # D-optimal for a line on [-1, 1]: half at each end (memory; any text on optimal design)
    choice = choose_readings(polynomial(1, GRID), aim("D", 2), 10)
    assert dict(zip(GRID[choice.counts > 0], choice.counts[choice.counts > 0], strict=True)) == {
        -1.0: 5,
        1.0: 5,
    }


def test_a_parabola_is_best_read_at_its_ends_and_its_middle() -> None:
    # D-optimal for a quadratic on [-1, 1]: a third each at -1, 0, 1 (memory; any text on optimal design)
    choice = choose_readings(polynomial(2, GRID), aim("D", 3), 12)
    assert dict(zip(GRID[choice.counts > 0], choice.counts[choice.counts > 0], strict=True)) == {
        -1.0: 4,
        0.0: 4,
        1.0: 4,
    }


def test_a_cubic_is_best_read_at_the_points_of_guest() -> None:
    # D-optimal for a cubic on [-1, 1]: equal weights at -1, -1/sqrt(5), 1/sqrt(5), 1 (Guest 1958, memory)
    points = np.array([-1.0, -0.7, -1 / np.sqrt(5), -0.2, 0.0, 0.2, 1 / np.sqrt(5), 0.7, 1.0])
    choice = choose_readings(polynomial(3, points), aim("D", 4), 8)
    assert points[choice.counts > 0] == pytest.approx([-1.0, -1 / np.sqrt(5), 1 / np.sqrt(5), 1.0])
    assert set(choice.counts[choice.counts > 0]) == {2}


def test_a_parabola_for_least_sum_of_variances_reads_the_middle_twice_as_often() -> None:
    # A-optimal for a quadratic on [-1, 1]: weights 1/4, 1/2, 1/4 at -1, 0, 1 (memory; Pukelsheim 1993)
    choice = choose_readings(polynomial(2, GRID), aim("A", 3), 12)
    assert dict(zip(GRID[choice.counts > 0], choice.counts[choice.counts > 0], strict=True)) == {
        -1.0: 3,
        0.0: 6,
        1.0: 3,
    }


def test_a_slope_alone_is_best_read_at_the_ends() -> None:
    # Elfving 1952 (memory): for the slope of a line on [-1, 1], half at each end
    choice = choose_readings(polynomial(1, GRID), aim("c", 2, results=np.array([[0.0, 1.0]])), 6)
    assert dict(zip(GRID[choice.counts > 0], choice.counts[choice.counts > 0], strict=True)) == {
        -1.0: 3,
        1.0: 3,
    }
    assert choice.value == pytest.approx(1.0 / 6.0)


# ---- brute force -------------------------------------------------------------------------------------------


def best_of_all(candidates: Candidates, wanted: Aim, budget: int) -> float:
    choices = product(range(budget + 1), repeat=len(candidates))
    return min(
        float(wanted.value(information_of(candidates, np.array(counts))))
        for counts in choices
        if sum(counts) <= budget
    )


@pytest.mark.parametrize("kind", ["D", "A", "c"])
@pytest.mark.parametrize("seed", range(6))
def test_small_choices_are_as_good_as_the_best_of_all(kind: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = rng.standard_normal((6, 2))
    candidates = plain(
        rows,
        block=np.array([0, 0, 1, 1, 2, 3]),
        scatter=0.3,
        alone=rng.uniform(0.5, 2.0, 6),
        shared=rng.uniform(0.0, 0.3, 6),
    )
    given = {"c": {"results": rng.standard_normal((1, 2))}, "A": {"scale": np.array([1.0, 3.0])}, "D": {}}[
        kind
    ]
    wanted = aim(kind, 2, **given)
    choice = choose_readings(candidates, wanted, 5)
    best = best_of_all(candidates, wanted, 5)
    # an exchange of single steps may stop a little short of the best; never ahead of it
    assert choice.value >= best - 1e-9
    assert np.exp(choice.value - best) < 1.02 if kind == "D" else choice.value < 1.02 * best


# ---- what a choice tells -----------------------------------------------------------------------------------

numbers = st.floats(-2.0, 2.0)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_information_of_a_choice_is_that_of_its_single_readings(data: st.DataObject) -> None:
    # independent: every reading a row of its own, the whole covariance inverted at once
    count = data.draw(st.integers(1, 5))
    rows = np.array(data.draw(st.lists(st.tuples(numbers, numbers), min_size=count, max_size=count)))
    block = np.array(data.draw(st.lists(st.integers(0, 2), min_size=count, max_size=count)))
    counts = np.array(data.draw(st.lists(st.integers(0, 3), min_size=count, max_size=count)))
    alone, shared, scatter = 0.5 + np.arange(count), 0.1 * np.arange(count), 0.7
    candidates = plain(rows, block, scatter, alone=alone, shared=shared, prior=np.diag([0.3, 0.2]))
    owner = np.repeat(np.arange(count), counts)
    same_block = block[owner][:, None] == block[owner][None, :]
    covariance = np.diag(alone[owner]) + scatter * same_block
    covariance += np.where(owner[:, None] == owner[None, :], shared[owner][:, None], 0.0)
    plainly = np.diag([0.3, 0.2]) + rows[owner].T @ np.linalg.solve(covariance, rows[owner])
    assert information_of(candidates, counts) == pytest.approx(plainly, abs=1e-9)
    assert expected_covariance(candidates, counts, np.arange(2)) == pytest.approx(np.linalg.inv(plainly))


def test_repeats_cannot_see_past_the_scatter_that_they_share() -> None:
    candidates = plain(np.ones((1, 1)), scatter=4.0)
    for count in (1, 10, 1000):
        variance = expected_covariance(candidates, [count], np.array([0]))[0, 0]
        assert variance == pytest.approx(4.0 + 1.0 / count)


def test_readings_of_other_blocks_are_worth_more_than_repeats() -> None:
    candidates = plain(np.ones((4, 1)), block=np.array([0, 0, 1, 2]), scatter=4.0)
    choice = choose_readings(candidates, aim("D", 1), 3)
    assert choice.counts[:2].sum() == 1
    assert choice.counts[2:].tolist() == [1, 1]


def test_for_the_sum_of_variances_an_unknown_counts_by_its_size() -> None:
    # variances a/n and b/m in units of scale 3 and 1: least where n : m is as 1 : 3 (Lagrange)
    candidates = plain(np.eye(2))
    choice = choose_readings(candidates, aim("A", 2, scale=np.array([3.0, 1.0])), 8)
    assert choice.counts.tolist() == [2, 6]
    assert choice.value == pytest.approx(1.0 / 9.0 / 2.0 + 1.0 / 6.0)


def test_an_unknown_of_no_interest_is_not_bought() -> None:
    rows = np.array([[1.0, 0.0], [0.0, 1.0]])
    choice = choose_readings(plain(rows, prior=np.diag([0.0, 1.0])), Aim("D", np.array([0])), 4)
    assert choice.counts.tolist() == [4, 0]


def test_what_readings_cannot_separate_is_infinitely_uncertain() -> None:
    candidates = plain(np.array([[1.0, 1.0]]))
    assert np.isinf(expected_covariance(candidates, [5], np.arange(2))).all()
    assert np.isinf(aim("D", 2).value(information_of(candidates, np.array([5]))))


def test_units_do_not_change_the_covariance() -> None:
    information = np.array([[4.0, 1.0], [1.0, 2.0]])
    units = np.diag([1e-7, 1e6])
    scaled = covariance_of(units @ information @ units, np.arange(2))
    assert units @ scaled @ units == pytest.approx(np.linalg.inv(information))


# ---- budget, steps and limits ------------------------------------------------------------------------------


def test_a_budget_of_minutes_buys_the_quicker_instrument() -> None:
    rows = np.ones((2, 1))
    choice = choose_readings(plain(rows, cost=np.array([1.0, 5.0])), aim("D", 1), 10.0)
    assert choice.counts.tolist() == [10, 0]
    assert choice.cost == 10.0


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 12), st.integers(1, 3), st.integers(3, 6), st.sampled_from(["D", "A"]))
def test_no_choice_breaks_its_limits(budget: int, step: int, most: int, kind: str) -> None:
    choice = choose_readings(polynomial(1, GRID[::4]), aim(kind, 2), budget, step, most)
    assert choice.counts.sum() <= budget
    assert (choice.counts % step == 0).all()
    assert choice.counts.max(initial=0) <= most
    # with two points affordable the line is determined
    assert np.isfinite(choice.value) == (budget >= 2 * step)


@settings(max_examples=30, deadline=None)
@given(st.integers(2, 9))
def test_more_readings_never_tell_less(budget: int) -> None:
    less = choose_readings(polynomial(1, GRID[::4], 0.5), aim("A", 2), budget)
    more = choose_readings(polynomial(1, GRID[::4], 0.5), aim("A", 2), budget + 1)
    assert more.value <= less.value * (1 + 1e-9)


def test_a_block_without_readings_tells_nothing() -> None:
    candidates = polynomial(1, GRID)
    assert not block_information(candidates, np.array([3]), np.zeros(21, dtype=np.int64)).any()


def test_a_reading_without_variance_is_refused() -> None:
    with pytest.raises(ValueError, match="variance"):
        plain(np.ones((1, 1)), alone=np.zeros(1))
    with pytest.raises(ValueError, match="step"):
        choose_readings(polynomial(1, GRID), aim("D", 2), 4, step=0)
