"""Whether figures have moved; against scipy.stats and by simulation."""

import math

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.charts import has_moved


def test_one_figure_with_estimated_spread_is_the_t_test_of_welch() -> None:
    from scipy.stats import ttest_ind

    random = np.random.default_rng(1)
    first, second = random.normal(size=7), random.normal(0.8, 2.0, size=11)
    theirs = ttest_ind(first, second, equal_var=False)
    ours = has_moved(
        np.array([first.mean()]),
        np.array([[first.var(ddof=1) / 7]]),
        np.array([second.mean()]),
        np.array([[second.var(ddof=1) / 11]]),
        earlier_dof=6,
        later_dof=10,
    )
    assert ours.p_value == pytest.approx(theirs.pvalue, rel=1e-9)
    assert ours.dof == pytest.approx(theirs.df, rel=1e-9)
    assert ours.p_each[0] == pytest.approx(ours.p_value, rel=1e-12)


def test_figures_of_known_covariance_are_tested_by_chi_square() -> None:
    from scipy.stats import chi2

    covariance = np.array([[2.0, 0.5], [0.5, 1.0]])
    change = np.array([1.5, -2.0])
    ours = has_moved(np.zeros(2), covariance, change, np.zeros((2, 2)))
    statistic = change @ np.linalg.solve(covariance, change)
    assert ours.statistic == pytest.approx(statistic, rel=1e-12)
    assert ours.p_value == pytest.approx(chi2.sf(statistic, 2), rel=1e-9)
    assert math.isinf(ours.dof)


def test_what_both_share_cancels() -> None:
    own, common = np.diag([0.1, 0.1]), np.diag([5.0, 5.0])
    with_shared = has_moved(np.zeros(2), own + common, np.ones(2), own + common, common)
    assert with_shared.statistic == pytest.approx(has_moved(np.zeros(2), own, np.ones(2), own).statistic)


def test_a_difference_without_uncertainty_is_refused() -> None:
    with pytest.raises(ComputationRefused, match="no uncertainty in either"):
        has_moved(np.zeros(1), np.zeros((1, 1)), np.ones(1), np.zeros((1, 1)))
    with pytest.raises(ComputationRefused, match="some direction"):
        has_moved(np.zeros(2), np.ones((2, 2)), np.ones(2), np.zeros((2, 2)))


@pytest.mark.parametrize(("first_dof", "second_dof"), [(math.inf, math.inf), (12.0, 8.0), (10.0, math.inf)])
def test_figures_that_did_not_move_are_called_moved_as_often_as_the_level_says(
    first_dof: float, second_dof: float
) -> None:
    random, moved, trials = np.random.default_rng(3), 0, 4000
    shape = np.array([[1.0, 0.6, 0.0], [0.6, 1.0, 0.2], [0.0, 0.2, 1.0]])
    lower = np.linalg.cholesky(shape)

    def factor(dof: float) -> float:
        return 1.0 if math.isinf(dof) else random.chisquare(dof) / dof

    for _ in range(trials):
        comparison = has_moved(
            lower @ random.normal(size=3),
            factor(first_dof) * shape,
            lower @ random.normal(size=3),
            factor(second_dof) * shape,
            earlier_dof=first_dof,
            later_dof=second_dof,
        )
        moved += comparison.has_moved
    assert 0.035 <= moved / trials <= 0.065
