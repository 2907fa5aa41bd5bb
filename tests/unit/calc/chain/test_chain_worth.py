"""The expected risk after a reading against Monte Carlo, and in the cases that have a closed form."""

import numpy as np
import pytest
from scipy.stats import norm

from dryfit.calc.chain import expected_risk, risk_of

CASES = [  # mean, std, std after, lower, upper, target
    (0.3, 0.4, 0.1, -0.5, 0.5, 0.0),
    (0.9, 0.3, 0.2, -0.5, 0.5, 0.0),
    (0.0, 0.2, 0.05, -0.5, 0.5, 0.0),
    (1.0, 0.5, 0.25, 0.2, np.inf, 1.4),
    (1.0, 0.6, 0.4, 0.2, np.inf, 0.9),
    (-0.4, 0.5, 0.5, -np.inf, 0.3, 0.0),
]


def columns(cases=CASES):
    return tuple(np.array(column) for column in zip(*cases, strict=True))


def test_against_monte_carlo():
    mean, std, after, lower, upper, target = columns()
    ours = expected_risk(mean, std, after, lower, upper, target)
    chance = np.random.default_rng(8)
    for index, case in enumerate(CASES):
        m, s, a, low, high, aim = case
        at = m + np.sqrt(s**2 - a**2) * chance.standard_normal(400_000)
        outside = norm.cdf(low, at, a) + norm.sf(high, at, a)
        taken = norm.cdf(low, aim, a) + norm.sf(high, aim, a)
        draws = np.minimum(outside, taken)
        assert ours[index] == pytest.approx(draws.mean(), abs=4 * draws.std() / np.sqrt(len(draws)) + 1e-5)


def test_a_reading_alone_does_not_change_the_probability_on_average():
    # where nothing can be taken up, the expected probability is what it was: the law of total probability
    mean, std, after, lower, upper, _ = columns()
    never = np.where(np.isfinite(lower), lower, upper)  # a target on a limit: half of it is out at least
    chance = np.random.default_rng(2)
    for index in range(len(mean)):
        at = mean[index] + np.sqrt(std[index] ** 2 - after[index] ** 2) * chance.standard_normal(300_000)
        outside = norm.cdf(lower[index], at, after[index]) + norm.sf(upper[index], at, after[index])
        now = norm.cdf(lower[index], mean[index], std[index]) + norm.sf(upper[index], mean[index], std[index])
        assert outside.mean() == pytest.approx(now, abs=5e-3)
    ours = expected_risk(mean, std, after, lower, upper, never)
    assert (ours <= risk_of(mean, std, lower, upper, never) + 1e-9).all()


def test_no_reading_no_gain_and_a_better_one_never_less():
    mean, std, _, lower, upper, target = columns()
    now = risk_of(mean, std, lower, upper, target)
    assert expected_risk(mean, std, std, lower, upper, target) == pytest.approx(now, abs=1e-12)
    before = now
    for share in (0.8, 0.5, 0.2, 0.01):
        after = expected_risk(mean, std, share * std, lower, upper, target)
        assert (after <= before + 2e-3).all()
        before = after


def test_what_is_taken_up_leaves_the_spread_between_two_limits():
    risk = risk_of(np.array([3.0]), np.array([0.4]), np.array([-0.8]), np.array([0.8]), np.array([0.0]))
    assert risk[0] == pytest.approx(2.0 * norm.sf(2.0))


def test_a_result_without_spread_is_in_or_out():
    ones = np.ones(2)
    risk = risk_of(np.array([0.0, 2.0]), 0.0 * ones, -ones, ones, np.array([0.0, 1.5]))
    assert risk.tolist() == [0.0, 1.0]
