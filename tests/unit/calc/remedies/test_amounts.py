"""Amounts of work: closed forms, brute force, and what must hold whatever the results are."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from dryfit.base.arrays import Array
from dryfit.calc.remedies import Results, balancing_amounts, best_amounts, risk_outside

GRID = np.round(np.arange(-20, 21) * 0.05, 9)


def one(mean: float, std: float, lower: float = -0.2, upper: float = 0.2) -> Results:
    return Results(*(np.array([value]) for value in (mean, std, lower, upper, 0.5 * (lower + upper), 1.0)))


def test_a_single_gap_is_brought_to_the_middle_of_its_limits() -> None:
    results, column = one(0.5, 0.1), np.array([[-1.0]])
    assert balancing_amounts(results, column) == pytest.approx([0.5], abs=1e-12)
    choice = best_amounts(results, column, np.zeros((1, 1)), [0], [GRID])
    assert choice.amounts == pytest.approx([0.5])
    assert choice.risk == pytest.approx(2 * norm.sf(2.0), rel=1e-9)


def test_balancing_weighs_each_departure_by_its_uncertainty() -> None:
    """Two results off by 1 that pull opposite ways: the surer one counts (2/1)^2 = 4 times as much."""
    results = Results(
        np.array([1.0, -1.0]), np.array([0.1, 0.2]), *np.tile([[-1.0], [1.0], [0.0]], 2), np.ones(2)
    )
    assert balancing_amounts(results, np.array([[-1.0], [-1.0]])) == pytest.approx([(4 - 1) / 5])


def test_uncertain_work_widens_what_it_moves_only_where_it_is_done() -> None:
    results = one(0.5, 0.1)
    choice = best_amounts(results, np.array([[-1.0]]), np.array([[0.05**2]]), [0], [GRID])
    assert choice.risk == pytest.approx(2 * norm.sf(0.2 / np.hypot(0.1, 0.05)), rel=1e-9)
    nothing = best_amounts(results, np.array([[-1.0]]), np.array([[0.05**2]]), [0], [np.zeros(1)])
    assert nothing.risk == pytest.approx(norm.cdf(3.0) + norm.sf(7.0), rel=1e-9)


def test_two_amounts_against_brute_force() -> None:
    chance = np.random.default_rng(4)
    mean, std = chance.normal(size=3), chance.uniform(0.1, 0.4, 3)
    results = Results(mean, std, np.full(3, -0.4), np.full(3, 0.4), np.zeros(3), np.array([1.0, 0.5, 1.0]))
    columns, grid = chance.normal(size=(3, 2)), GRID[::4]
    spread = chance.uniform(0.0, 0.01, (3, 2))
    best = min(
        (_risk(results, columns, spread, np.array(pair)), abs(pair[0]) + abs(pair[1]))
        for pair in itertools.product(grid, grid)
    )
    choice = best_amounts(results, columns, spread, [0, 1], [grid, grid])
    assert choice.risk == pytest.approx(best[0], abs=2e-6)
    assert choice.outside @ results.weight == pytest.approx(choice.risk)


def _risk(results: Results, columns: Array, spread: Array, amounts: Array) -> float:
    total = 0.0
    for line in range(3):
        mean = results.mean[line] + columns[line] @ amounts
        std = np.sqrt(results.std[line] ** 2 + spread[line] @ (amounts != 0.0))
        outside = norm.cdf(results.lower[line], mean, std) + norm.sf(results.upper[line], mean, std)
        total += results.weight[line] * outside
    return float(total)


def test_one_face_is_not_sanded_and_shimmed_at_once() -> None:
    """A tilt alone: the wedge has one sign, although a slope through the middle would serve better."""
    results = Results(
        np.array([0.5, 0.0]), np.full(2, 0.05), np.full(2, -0.1), np.full(2, 0.1), np.zeros(2), np.ones(2)
    )
    columns = np.array([[-0.5, 0.5], [0.02, 0.02]])
    choice = best_amounts(results, columns, np.zeros((2, 1)), [0, 0], [GRID, GRID])
    assert choice.amounts.min() * choice.amounts.max() >= 0.0
    apart = best_amounts(results, columns, np.zeros((2, 2)), [0, 1], [GRID, GRID])
    assert apart.amounts.min() < 0.0 < apart.amounts.max()


def test_of_what_is_alike_the_least_work_is_taken() -> None:
    choice = best_amounts(one(0.0, 0.01), np.array([[-1.0]]), np.zeros((1, 1)), [0], [GRID])
    assert choice.amounts == pytest.approx([0.0])


def test_nothing_must_be_among_the_choices() -> None:
    with pytest.raises(ValueError, match="doing nothing"):
        best_amounts(one(0.0, 0.1), np.array([[-1.0]]), np.zeros((1, 1)), [0], [np.array([0.1])])


def test_a_certain_value_is_inside_or_outside() -> None:
    nothing = np.zeros(3)
    assert risk_outside(np.array([0.0, 0.3, -0.3]), nothing, nothing - 0.2, nothing + 0.2) == pytest.approx(
        [0, 1, 1]
    )


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(-1, 1), st.sampled_from([0.0, 0.02, 0.1, 0.5]), st.floats(-2, 2)),
        min_size=1,
        max_size=5,
    ),
    st.floats(0, 0.05),
)
def test_the_best_amount_is_never_worse_than_using_it_as_it_is(
    rows: list[tuple[float, float, float]], hand: float
) -> None:
    mean, std, column = (np.array(values) for values in zip(*rows, strict=True))
    results = Results(
        mean, std, np.full(len(mean), -0.3), np.full(len(mean), 0.3), 0 * mean, np.ones(len(mean))
    )
    choice = best_amounts(results, column[:, None], (column**2 * hand)[:, None], [0], [GRID])
    as_is = risk_outside(mean, std, results.lower, results.upper).sum()
    assert choice.risk <= as_is + 2e-6
