"""Adjustment against general-purpose libraries: numpy's lstsq, scipy's curve_fit and least_squares (outputs seen)."""

import numpy as np
import pytest
from scipy.linalg import sqrtm
from scipy.optimize import curve_fit, least_squares

from dryfit.base.arrays import Array
from dryfit.calc.adjust import Prior, adjust, adjust_nonlinear
from published.registry import check


def problem(seed: int, count: int = 30, unknowns: int = 4) -> tuple[Array, Array, Array]:
    draw = np.random.default_rng(seed)
    root = draw.normal(size=(count, count)) / np.sqrt(count)
    covariance = root @ root.T + 0.2 * np.eye(count)
    design = draw.normal(size=(count, unknowns))
    return design, design @ draw.normal(size=unknowns) + draw.normal(size=count), covariance


@pytest.mark.parametrize("seed", range(5))
def test_correlated_line_of_a_matrix_root(seed: int) -> None:
    design, observed, covariance = problem(seed)
    root = np.linalg.inv(np.real(sqrtm(covariance)))
    theirs, squares, _, _ = np.linalg.lstsq(root @ design, root @ observed, rcond=None)
    ours = adjust(design, observed, covariance)
    assert ours.estimate == pytest.approx(theirs, rel=1e-9)
    check("numpy lstsq, whitened by scipy sqrtm", f"vPv, seed {seed}", squares[0], ours.vpv, 1e-8, seen=True)


@pytest.mark.parametrize("seed", range(5))
def test_covariance_of_correlated_observations(seed: int) -> None:
    design, observed, covariance = problem(seed)
    theirs, matrix = curve_fit(
        lambda rows, *theta: rows @ np.array(theta),
        design,
        observed,
        np.zeros(4),
        covariance,
        absolute_sigma=True,
    )
    ours = adjust(design, observed, covariance)
    assert ours.estimate == pytest.approx(theirs, abs=1e-6)
    assert ours.covariance == pytest.approx(matrix, rel=1e-5, abs=1e-7)
    check(
        "scipy curve_fit",
        f"std of the first unknown, seed {seed}",
        matrix[0, 0] ** 0.5,
        ours.std[0],
        1e-6,
        seen=True,
    )


def decay(theta: Array, x: Array) -> tuple[Array, Array]:
    height, rate, floor = theta
    shape = np.exp(-rate * x)
    return height * shape + floor, np.column_stack([shape, -height * x * shape, np.ones(len(x))])


@pytest.mark.parametrize("seed", range(5))
def test_nonlinear_with_something_known_beforehand(seed: int) -> None:
    x = np.linspace(0.0, 4.0, 25)
    noise = np.random.default_rng(seed).normal(size=25)
    observed = decay(np.array([2.0, 0.8, 0.3]), x)[0] + 0.05 * noise
    prior = Prior(np.array([2]), np.array([0.25]), np.array([0.02**2]))

    def residuals(theta: Array) -> Array:
        return np.append((observed - decay(theta, x)[0]) / 0.05, (0.25 - theta[2]) / 0.02)

    theirs = least_squares(residuals, np.array([1.0, 1.0, 0.0]), xtol=1e-14, ftol=1e-14, gtol=1e-14)
    ours = adjust_nonlinear(
        lambda theta: decay(theta, x), np.array([1.0, 1.0, 0.0]), observed, np.full(25, 0.05**2), prior
    )
    assert ours.estimate == pytest.approx(theirs.x, rel=1e-6)
    assert ours.covariance == pytest.approx(np.linalg.inv(theirs.jac.T @ theirs.jac), rel=1e-4)
    check(
        "scipy least_squares", f"vPv with a prior, seed {seed}", 2.0 * theirs.cost, ours.vpv, 1e-6, seen=True
    )
