"""Propagation against the general-purpose `uncertainties` library 3.2 (seen).

The span of a triangle's third side, sqrt(a^2 + b^2 - 2 a b cos(w)), and its area, from two sides and the angle
between them: both results share all three sources, so that their covariance is compared too.
"""

import math

import numpy as np
from scipy.linalg import sqrtm
from uncertainties import correlated_values, covariance_matrix, ufloat, umath

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import LinearMap, Sources, condition, independent_columns, variance_shares
from published.registry import check

SOURCE = "uncertainties 3.2"
A, B, W = 300.0, 400.0, math.radians(75.0)
STD = (0.3, 0.2, math.radians(0.1))


def triangle() -> LinearMap:
    side = math.sqrt(A**2 + B**2 - 2 * A * B * math.cos(W))
    by_side = [(A - B * math.cos(W)) / side, (B - A * math.cos(W)) / side, A * B * math.sin(W) / side]
    by_area = [B * math.sin(W) / 2, A * math.sin(W) / 2, A * B * math.cos(W) / 2]
    sources = Sources.of([(name, Estimate(0.0, std)) for name, std in zip("abw", STD, strict=True)])
    return LinearMap(np.array([side, A * B * math.sin(W) / 2]), np.array([by_side, by_area]), sources)


def test_covariance_of_two_results() -> None:
    a, b, w = (ufloat(value, std) for value, std in zip((A, B, W), STD, strict=True))
    side = umath.sqrt(a**2 + b**2 - 2 * a * b * umath.cos(w))
    area = a * b * umath.sin(w) / 2
    theirs, ours = np.array(covariance_matrix([side, area])), triangle()
    check(SOURCE, "third side", side.nominal_value, ours.mean[0], 1e-10, seen=True, unit="mm")
    check(SOURCE, "u(side)", side.std_dev, ours.std[0], 1e-10, seen=True, unit="mm")
    check(SOURCE, "u(area)", area.std_dev, ours.std[1], 1e-8, seen=True, unit="mm2")
    check(SOURCE, "cov(side, area)", theirs[0, 1], ours.covariance[0, 1], 1e-8, seen=True, unit="mm3")
    shares = variance_shares((ours.matrix * ours.sources.std) ** 2)[0]
    for name, source, share in zip("abw", (a, b, w), shares, strict=True):
        part = (side.error_components()[source] / side.std_dev) ** 2
        check(SOURCE, f"variance share of {name} in the side", part, share, 1e-12, seen=True)


def test_a_reading_of_one_result_narrows_the_other() -> None:
    """The textbook update of two correlated normal quantities: var(y) - cov(x, y)^2/(var(x) + noise)."""
    ours = triangle()
    noise = 0.05**2
    prior = np.diag(ours.sources.std**2)
    after = condition(np.zeros(3), prior, ours.matrix[:1], np.array([0.4]), np.array([[noise]]))
    c = ours.covariance
    variance = float(ours.matrix[1] @ after.covariance @ ours.matrix[1])
    shift = float(ours.matrix[1] @ after.shift)
    theirs = c[1, 1] - c[0, 1] ** 2 / (c[0, 0] + noise)
    check(
        "Update of two correlated normal quantities, closed form",
        "variance of the area after a reading",
        theirs,
        variance,
        1e-6,
        seen=False,
        unit="mm4",
    )
    check(
        "Update of two correlated normal quantities, closed form",
        "shift of the area after a reading",
        0.4 * c[0, 1] / (c[0, 0] + noise),
        shift,
        1e-9,
        seen=False,
        unit="mm2",
    )


def test_sources_that_readings_tied_together() -> None:
    """Correlated sources as independent columns: the variance is the library's for correlated values."""
    ours = triangle()
    std = np.array(STD)
    correlation = np.array([[1.0, -0.8, 0.3], [-0.8, 1.0, 0.1], [0.3, 0.1, 1.0]])
    tied = correlated_values([A, B, W], correlation * np.outer(std, std))
    a, b, w = tied
    side = umath.sqrt(a**2 + b**2 - 2 * a * b * umath.cos(w))
    columns = independent_columns(ours.matrix, std, correlation)
    check(
        SOURCE,
        "u(side), correlated",
        side.std_dev,
        float(np.sqrt((columns[0] ** 2).sum())),
        1e-10,
        seen=True,
        unit="mm",
    )
    root = np.real(sqrtm(correlation))
    assert np.allclose(columns, (ours.matrix * std) @ root, atol=1e-9), "scipy's square root of the matrix"
    alone = independent_columns(ours.matrix, std, np.eye(3))
    assert np.allclose(alone, ours.matrix * std), "without correlation each stands for itself"
    assert (columns**2 >= 0).all()
