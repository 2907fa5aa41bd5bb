"""Simulated adjustments: blunders found, false alarms, coverage, at the frequencies that are stated."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.arrays import Array
from dryfit.calc.adjust import Group, critical_value, estimate_scatter, expect, search_blunders


def simulate(random: np.random.Generator, blunder: float) -> tuple[Array, Array, Array, int, list[Group]]:
    """Four unknowns, eighteen measures read twice: each measure with its own scatter shared by its two readings."""
    measures = 18
    design = np.repeat(random.normal(size=(measures, 4)), 2, axis=0)
    shared = np.kron(np.eye(measures), np.ones((2, 2)))
    covariance = 0.05**2 * shared + 0.02**2 * np.eye(2 * measures)
    observed = np.linalg.cholesky(covariance) @ random.normal(size=2 * measures)
    groups = [Group(f"measure {k}", (2 * k, 2 * k + 1)) for k in range(measures)]
    singles = [Group(f"reading {k}", (k,)) for k in range(2 * measures)]
    expected = expect(design, covariance)
    redundancy = expected.redundancy.reshape(-1, 2).mean(axis=1)
    guilty = int(random.choice(np.flatnonzero(redundancy > 0.6)))
    observed[2 * guilty : 2 * guilty + 2] += blunder * np.hypot(0.05, 0.02)
    return design, observed, covariance, guilty, [*groups, *singles]


def test_a_measure_wrong_by_eight_std_is_named_first_in_95_of_100() -> None:
    random, found, trials = np.random.default_rng(3), 0, 400
    for _ in range(trials):
        design, observed, covariance, guilty, groups = simulate(random, 8.0)
        search = search_blunders(design, observed, covariance, groups=groups)
        found += bool(search.suspects) and search.suspects[0].group.name == f"measure {guilty}"
    assert found >= 0.95 * trials


def test_one_reading_wrong_by_eight_std_is_named_as_that_reading() -> None:
    random, found, trials = np.random.default_rng(4), 0, 400
    for _ in range(trials):
        design, observed, covariance, guilty, groups = simulate(random, 0.0)
        observed = observed.copy()
        observed[2 * guilty] += 8.0 * np.hypot(0.05, 0.02)
        search = search_blunders(design, observed, covariance, groups=groups)
        found += bool(search.suspects) and search.suspects[0].group.name == f"reading {2 * guilty}"
    assert found >= 0.95 * trials


def test_false_alarms_come_no_oftener_than_the_family_level_says() -> None:
    random, alarms, trials, level = np.random.default_rng(5), 0, 2000, 0.05
    for _ in range(trials):
        design = random.normal(size=(12, 3))
        search = search_blunders(design, random.normal(size=12), np.ones(12), level=level)
        alarms += bool(search.suspects)
    # Bonferroni's bound, and not far below it: the test values are nearly independent
    assert alarms <= (level + 3.0 * np.sqrt(level * (1 - level) / trials)) * trials
    assert alarms >= 0.6 * level * trials


def test_two_exchanged_values_are_named_as_exchanged() -> None:
    random, found, trials = np.random.default_rng(6), 0, 200
    for _ in range(trials):
        design = random.normal(size=(20, 3))
        truth = design @ np.array([5.0, -3.0, 2.0])
        first, second = random.choice(20, 2, replace=False)
        if abs(truth[first] - truth[second]) < 1.0:
            found += 1
            continue
        observed = truth + 0.05 * random.normal(size=20)
        observed[[first, second]] = observed[[second, first]]
        suspects = search_blunders(design, observed, np.full(20, 0.05**2)).suspects
        pair = suspects[0].exchanged if suspects else None
        found += pair is not None and set(pair) == {int(first), int(second)}
    assert found >= 0.98 * trials


def test_one_blunder_is_not_taken_for_an_exchange() -> None:
    random, taken = np.random.default_rng(7), 0
    for _ in range(200):
        design, observed, covariance, _, groups = simulate(random, 12.0)
        taken += any(
            s.exchanged is not None
            for s in search_blunders(design, observed, covariance, groups=groups).suspects
        )
    assert taken <= 10


def test_coverage_of_estimates_with_an_estimated_scatter() -> None:
    from scipy.special import stdtrit

    random, inside, trials = np.random.default_rng(8), 0, 2000
    design = np.column_stack([np.ones(10), np.linspace(-1.0, 1.0, 10)])
    for _ in range(trials):
        observed = random.normal(size=10) * np.hypot(0.02, 0.05)
        scatter = estimate_scatter(design, observed, np.full(10, 0.02**2), np.ones(10))
        reach = stdtrit(scatter.dof[1], 0.975) * scatter.adjustment.std[1]
        inside += abs(scatter.adjustment.estimate[1]) <= reach
    assert 0.93 <= inside / trials <= 0.97


def test_the_stated_std_of_a_scatter_is_how_much_it_varies() -> None:
    random = np.random.default_rng(9)
    design = np.column_stack([np.ones(40), np.linspace(-1.0, 1.0, 40)])
    runs = [
        estimate_scatter(
            design, random.normal(size=40) * np.hypot(0.02, 0.05), np.full(40, 0.02**2), np.ones(40)
        )
        for _ in range(500)
    ]
    stds = np.array([run.std for run in runs])
    assert np.mean([run.std_std for run in runs]) == pytest.approx(stds.std(), rel=0.12)
    assert stds.mean() == pytest.approx(0.05, rel=0.03)


def test_bonferroni_limit_of_one_test_is_the_usual_one() -> None:
    assert critical_value(0.05, 1) == pytest.approx(1.96, abs=5e-3)
    assert critical_value(0.05, 10) == pytest.approx(2.807, abs=5e-4)  # two-sided 0.5 %, any normal table
