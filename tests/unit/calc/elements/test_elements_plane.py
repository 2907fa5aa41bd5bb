"""Planes: closed forms, weights against numpy's weighted covariance, std against Monte Carlo, refusals."""

import math

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import fit_plane
from support.elements import Turned

GRID = np.array([[x, y, 0.0] for x in np.linspace(-20, 20, 9) for y in np.linspace(-6, 6, 4)])


@pytest.mark.parametrize("seed", range(3))
def test_a_plane_of_known_place(seed) -> None:
    turned = Turned(seed)
    fit = fit_plane(turned.points(GRID))
    assert abs(fit.normal @ turned.axis) == pytest.approx(1.0, abs=1e-14)
    assert fit.point_mm == pytest.approx(turned.shift, abs=1e-10)
    assert fit.width_mm < 1e-11
    assert fit.normal[np.argmax(np.abs(fit.normal))] > 0.0


def test_residuals_rms_and_width_of_a_raised_point() -> None:
    # the middle of an odd grid, raised: the plane rises level by a part in n
    grid = np.array([[x, y, 0.0] for x in (-10, 0, 10) for y in (-10, 0, 10)], dtype=float)
    grid[4, 2] = 0.9
    fit = fit_plane(grid)
    assert fit.residuals_mm[4] == pytest.approx(0.8)
    assert fit.width_mm == pytest.approx(0.9)
    assert fit.rms_mm == pytest.approx(math.sqrt((0.8**2 + 8 * 0.1**2) / 9))
    assert fit.point_mm == pytest.approx([0, 0, 0.1])


def test_weights_count_as_repeats() -> None:
    """Against numpy.cov with frequency weights, a general-purpose library."""
    draws = np.random.default_rng(0)
    points = GRID + draws.normal(0, 0.3, GRID.shape)
    weights = draws.integers(1, 5, len(points))
    fit = fit_plane(points, weights.astype(float))
    values, vectors = np.linalg.eigh(np.cov(points.T, fweights=weights, bias=True))
    assert abs(fit.normal @ vectors[:, 0]) == pytest.approx(1.0, abs=1e-12)
    assert fit.rms_mm == pytest.approx(math.sqrt(values[0]), rel=1e-9)
    assert fit.point_mm == pytest.approx(np.average(points, axis=0, weights=weights))


def test_the_std_of_a_plane_is_its_scatter() -> None:
    draws = np.random.default_rng(1)
    fits = [fit_plane(GRID + draws.normal(0, 0.02, (len(GRID), 1)) * [0, 0, 1]) for _ in range(500)]
    heights = [fit.point_mm[2] for fit in fits]
    leans = [math.degrees(fit.normal[1]) for fit in fits]  # the grid is narrow along y
    assert np.std(heights) / math.sqrt(np.mean([f.std.position_mm**2 for f in fits])) == pytest.approx(
        1, abs=0.15
    )
    assert np.std(leans) / math.sqrt(np.mean([f.std.tilt_deg**2 for f in fits])) == pytest.approx(1, abs=0.15)


def test_three_points_do_not_tell_their_noise() -> None:
    assert math.isinf(fit_plane(np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0]])).std.tilt_deg)


def test_refusals() -> None:
    with pytest.raises(ComputationRefused, match="one line"):
        fit_plane(np.array([[0.0, 0, 0], [1, 1, 1], [3, 3, 3]]))
    with pytest.raises(ComputationRefused, match="at least 3"):
        fit_plane(GRID[:2])
    with pytest.raises(ComputationRefused, match="scatter as far"):
        fit_plane(np.array([[0, 0, 0.5], [1, 1, 0.5], [1, 0, -0.5], [0, 1, -0.5]]))
    with pytest.raises(ValueError, match="not positive"):
        fit_plane(GRID, np.zeros(len(GRID)))
    with pytest.raises(ValueError, match="finite"):
        fit_plane(GRID * np.nan)
