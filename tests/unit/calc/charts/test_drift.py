"""Drift and when it leaves a band; against scipy.stats.linregress and against a search along the line."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.base.errors import ComputationRefused
from dryfit.calc.charts import Drift, find_leaving, fit_drift


def test_rate_and_chance_agree_with_a_statistics_library() -> None:
    from scipy.stats import linregress

    random = np.random.default_rng(1)
    hours = np.sort(random.uniform(0.0, 500.0, 15))
    values = 0.1 + 2e-4 * hours + 0.01 * random.normal(size=15)
    theirs = linregress(hours, values)
    ours = fit_drift(hours, values)
    assert ours.rate == pytest.approx(theirs.slope, rel=1e-10)
    assert ours.rate_std == pytest.approx(theirs.stderr, rel=1e-10)
    assert ours.p_value == pytest.approx(theirs.pvalue, rel=1e-8)
    assert ours.value(0.0) == pytest.approx(theirs.intercept, rel=1e-10)


def test_a_line_without_uncertainty_leaves_where_it_crosses() -> None:
    line = Drift(0.0, 0.1, 0.001, 0.0, 0.0, 0.0, math.inf, 0.0, 5)
    leaving = find_leaving(line, -1.0, 0.3, 50.0)
    assert leaving.expected == pytest.approx(200.0)
    assert leaving.earliest == pytest.approx(200.0)


def test_a_level_line_that_is_well_known_never_leaves() -> None:
    line = Drift(0.0, 0.0, 0.0, 0.01, 0.0, 0.01, math.inf, 0.0, 5)
    assert find_leaving(line, -1.0, 1.0, 0.0).earliest is None
    assert find_leaving(line, -1.0, 1.0, 0.0).expected is None


def test_a_level_line_whose_rate_is_unknown_may_leave() -> None:
    line = Drift(0.0, 0.0, 0.0, 0.0, 0.01, 0.0, math.inf, 0.0, 5)
    leaving = find_leaving(line, -1.0, 1.0, 0.0)
    assert leaving.expected is None
    # By hand: 1.96 x 0.01 t = 1.
    assert leaving.earliest == pytest.approx(1.0 / (1.959964 * 0.01), rel=1e-6)


def test_what_is_outside_already_leaves_now() -> None:
    line = Drift(0.0, 2.0, 0.0, 0.0, 0.0, 0.1, math.inf, 0.0, 5)
    assert find_leaving(line, -1.0, 1.0, 7.0).earliest == 7.0
    assert find_leaving(line, -1.0, 1.0, 7.0).expected == 7.0


@settings(max_examples=80, deadline=None)
@given(
    st.floats(-0.9, 0.9),
    st.floats(-0.01, 0.01),
    st.floats(0.0, 0.05),
    st.floats(0.0, 0.005),
    st.floats(0.0, 0.05),
)
def test_leaving_is_where_a_walk_along_the_line_first_finds_it_outside(
    level: float, rate: float, level_std: float, rate_std: float, scatter: float
) -> None:
    line = Drift(-30.0, level, rate, level_std, rate_std, scatter, 8.0, 0.0, 10)
    leaving = find_leaving(line, -1.0, 1.0, 0.0)
    times = np.linspace(0.0, 2000.0, 2001)
    width = line.factor(0.95)
    reach = width * np.array([line.prediction_std(t) for t in times])
    value = np.array([line.value(t) for t in times])
    outside = np.flatnonzero((value + reach > 1.0) | (value - reach < -1.0))
    if len(outside):
        assert leaving.earliest is not None
        assert leaving.earliest == pytest.approx(times[outside[0]], abs=1.1)
    else:
        assert leaving.earliest is None or leaving.earliest > 1999.0


def test_values_that_scatter_more_than_stated_enlarge_the_uncertainty() -> None:
    hours = np.arange(6.0)
    values = np.array([0.0, 1.0, 0.0, 1.0, 0.0, 1.0])
    known = fit_drift(hours, values, np.full(6, 0.01))
    free = fit_drift(hours, values)
    assert known.rate_std == pytest.approx(free.rate_std, rel=1e-9)
    assert known.dof == 4.0


def test_two_values_without_their_uncertainty_tell_no_drift() -> None:
    with pytest.raises(ComputationRefused, match="2 values"):
        fit_drift(np.array([0.0, 1.0]), np.array([0.0, 1.0]))
    assert fit_drift(np.array([0.0, 1.0]), np.array([0.0, 1.0]), np.full(2, 0.1)).rate == pytest.approx(1.0)


def test_values_at_one_time_tell_no_drift() -> None:
    with pytest.raises(ComputationRefused, match="over 0 hours"):
        fit_drift(np.full(4, 3.0), np.arange(4.0))


def test_prediction_intervals_cover_a_further_value_as_often_as_they_say() -> None:
    random, inside, trials = np.random.default_rng(2), 0, 2000
    hours = np.linspace(0.0, 100.0, 8)
    for _ in range(trials):
        line = fit_drift(hours, 0.02 * random.normal(size=8))
        inside += abs(0.02 * random.normal() - line.value(140.0)) <= line.factor(0.95) * line.prediction_std(
            140.0
        )
    assert 0.93 <= inside / trials <= 0.97
