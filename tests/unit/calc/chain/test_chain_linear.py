"""First-order propagation against hand-computed values."""

import math

import numpy as np
import pytest

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import (
    LinearMap,
    Sources,
    condition,
    effective_dof,
    expanded_uncertainty,
    probability_outside,
    variance_shares,
    worst_case,
)

TWO = Sources.of([("a", Estimate(1.0, 3.0)), ("b", Estimate(-2.0, 4.0, "uniform"))])


def test_mean_std_and_covariance_of_two_results() -> None:
    chain = LinearMap(np.array([10.0, 20.0]), np.array([[1.0, 1.0], [2.0, -1.0]]), TWO)
    assert chain.mean == pytest.approx([9.0, 24.0])
    assert chain.std == pytest.approx([5.0, math.sqrt(36.0 + 16.0)])
    assert chain.covariance == pytest.approx(np.array([[25.0, 2.0], [2.0, 52.0]]))


def test_a_matrix_of_the_wrong_shape_is_refused() -> None:
    with pytest.raises(ValueError, match=r"\(1, 3\), expected \(1, 2\)"):
        LinearMap(np.zeros(1), np.zeros((1, 3)), TWO)


def test_half_widths_follow_the_shape() -> None:
    sources = Sources.of(
        [
            ("n", Estimate(0.0, 1.0)),
            ("u", Estimate(0.0, 1.0, "uniform")),
            ("t", Estimate(0.0, 1.0, "triangular")),
        ]
    )
    # JCGM 100:2008, 4.3.7 and 4.3.9: variance a^2/3 and a^2/6 of half width a
    assert sources.half_width == pytest.approx([3.0, math.sqrt(3.0), math.sqrt(6.0)])
    assert sources.is_normal.tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("std", "shapes"), [(np.array([-1.0]), ("normal",)), (np.array([1.0]), ("normal", "normal"))]
)
def test_sources_that_make_no_sense_are_refused(std: np.ndarray, shapes: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match=r"negative|distributions"):
        Sources(("a",), np.zeros(1), std, shapes)  # type: ignore[arg-type]


def test_variance_shares_without_variance_are_zero() -> None:
    shares = variance_shares(np.array([[9.0, 16.0], [0.0, 0.0]]))
    assert shares == pytest.approx(np.array([[0.36, 0.64], [0.0, 0.0]]))


def test_worst_case_adds_every_reach() -> None:
    low, high = worst_case(np.array([1.0]), np.array([[0.1, 0.2, 0.3]]))
    assert (low[0], high[0]) == pytest.approx((0.4, 1.6))


def test_probability_outside_two_limits() -> None:
    # normal tails beyond one and two standard deviations: 0.158655, 0.022750
    assert probability_outside(0.0, 1.0, -1.0, 2.0) == pytest.approx(0.1586552539 + 0.0227501319, abs=1e-9)


@pytest.mark.parametrize(
    ("center", "expected"), [(0.5, 0.0), (1.0, 0.0), (1.0000001, 1.0), (-0.0000001, 1.0), (0.0, 0.0)]
)
def test_a_certain_value_is_in_or_out(center: float, expected: float) -> None:
    assert probability_outside(center, 0.0, 0.0, 1.0) == expected


def test_a_value_without_limits_is_never_outside() -> None:
    assert probability_outside(1e9, 5.0, None, None) == 0.0


def test_degrees_of_freedom_of_equal_terms_add_up() -> None:
    assert effective_dof(np.array([2.0, 2.0]), np.array([5.0, 5.0])) == pytest.approx(10.0)
    assert effective_dof(np.array([2.0]), np.array([math.inf])) == math.inf
    with pytest.raises(ValueError, match="zero"):
        effective_dof(np.zeros(2), np.ones(2))


def test_expanded_uncertainty_at_the_tabled_factors() -> None:
    # JCGM 100:2008, table G.2: 95 % and 99 % for 10 degrees of freedom 2.23 and 3.17; normal 1.960
    assert expanded_uncertainty(2.0, 10.0) == pytest.approx(2 * 2.23, abs=0.01)
    assert expanded_uncertainty(1.0, 10.0, 0.99) == pytest.approx(3.17, abs=0.005)
    assert expanded_uncertainty(1.0, math.inf) == pytest.approx(1.959964, abs=1e-6)


def test_conditioning_two_readings_of_one_figure_is_their_weighted_mean() -> None:
    after = condition(
        np.zeros(1), np.array([[1e8]]), np.ones((2, 1)), np.array([10.0, 13.0]), np.diag([1.0, 4.0])
    )
    assert after.shift[0] == pytest.approx((10.0 / 1.0 + 13.0 / 4.0) / 1.25, rel=1e-6)
    assert after.covariance[0, 0] == pytest.approx(1.0 / 1.25, rel=1e-6)


def test_two_exact_readings_of_the_same_thing_are_refused() -> None:
    with pytest.raises(ValueError, match="say the same thing"):
        condition(np.zeros(1), np.eye(1), np.ones((2, 1)), np.ones(2), np.zeros((2, 2)))
