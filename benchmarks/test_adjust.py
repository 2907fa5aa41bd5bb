"""Adjustment of many observations, with and without correlations."""

from __future__ import annotations

import time

import numpy as np
import pytest

from dryfit.calc.adjust import adjust


def problem(count: int, unknowns: int, correlated: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    draw = np.random.default_rng(1)
    design = draw.normal(size=(count, unknowns))
    variance = draw.uniform(0.5, 2.0, count)
    return design, draw.normal(size=count), np.diag(variance) + 0.1 if correlated else variance


@pytest.mark.parametrize("correlated", [False, True])
@pytest.mark.parametrize(("count", "unknowns"), [(100, 20), (2000, 500)])
def test_adjust(benchmark, count: int, unknowns: int, correlated: bool) -> None:
    design, observed, covariance = problem(count, unknowns, correlated)
    result = benchmark(adjust, design, observed, covariance)
    assert result.dof == count - unknowns


@pytest.mark.parametrize("correlated", [False, True])
def test_two_thousand_observations_of_five_hundred_unknowns_take_under_two_seconds(correlated: bool) -> None:
    design, observed, covariance = problem(2000, 500, correlated)
    started = time.perf_counter()
    result = adjust(design, observed, covariance)
    assert time.perf_counter() - started < 2.0
    assert result.covariance.shape == (500, 500)
