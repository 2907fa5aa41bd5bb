"""The range method: its constants integrated anew, and its degrees of freedom."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from dryfit.calc.gauging import LARGEST_GROUP, analyse_ranges, range_dof, range_factor


def d2_by_integration(size):
    """Mean range of normal values: the integral of 1 - (1 - F)^n - F^n (L. H. C. Tippett 1925)."""

    def density(x):
        p = stats.norm.cdf(x)
        return 1.0 - (1.0 - p) ** size - p**size

    return integrate.quad(density, -10.0, 10.0)[0]


def mean_square_range(size):
    """Mean of the squared range, from the density of the range."""

    def tail(width):
        def inner(x):
            return size * stats.norm.pdf(x) * (stats.norm.cdf(x + width) - stats.norm.cdf(x)) ** (size - 1)

        return 2.0 * width * (1.0 - integrate.quad(inner, -9.0, 9.0)[0])

    return integrate.quad(tail, 0.0, 12.0, epsabs=1e-7)[0]


@pytest.mark.parametrize("size", range(2, LARGEST_GROUP + 1))
def test_the_mean_range_of_the_table(size):
    assert range_factor(size, 10**9) == pytest.approx(d2_by_integration(size), abs=6e-6)


@pytest.mark.parametrize("size", [2, 3, 5, 10])
def test_one_group_is_divided_by_the_root_mean_square_range(size):
    assert range_factor(size, 1) == pytest.approx(math.sqrt(mean_square_range(size)), abs=1e-5)


def test_fifteen_groups_are_few_and_sixteen_are_many():
    assert range_factor(3, 15) > range_factor(3, 16) == range_factor(3, 17)


def test_one_group_of_two_is_one_degree_of_freedom():
    """The range of two normal values is exactly the root of 2 times a chi variable of one degree."""
    assert range_dof(2, 1) == pytest.approx(1.0, abs=1e-4)


def test_degrees_of_freedom_against_draws():
    """Relative spread of the mean range of 8 groups of 3, against a chi variable of that many degrees."""
    rng = np.random.default_rng(5)
    means = np.ptp(rng.standard_normal((200_000, 8, 3)), axis=2).mean(axis=1)
    drawn = means.std() / means.mean()
    chi = stats.chi(range_dof(3, 8))
    assert chi.std() / chi.mean() == pytest.approx(drawn, rel=0.01)


def test_people_who_differ_by_less_than_chance_are_not_told_apart():
    readings = np.array([[[1.0, 1.2], [2.0, 2.2], [3.0, 3.2]], [[1.2, 1.0], [2.2, 2.0], [3.2, 3.0]]])
    study = analyse_ranges(readings)
    assert study.reproducibility == 0.0
    assert analyse_ranges(readings[:1]).reproducibility is None


@pytest.mark.parametrize("size", [1, LARGEST_GROUP + 1])
def test_outside_of_the_table_is_refused(size):
    with pytest.raises(ValueError, match="tabulated"):
        range_factor(size, 3)
