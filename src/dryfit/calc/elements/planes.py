"""Least-squares planes."""

from __future__ import annotations

import math

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.checking import ROUNDING, checked_points, facing_positive, refusal
from dryfit.calc.elements.records import PlaneFit, PlaneStd

# Scatter along the normal over scatter across it; above this the normal is a matter of chance.
_THICK = 0.9


def fit_plane(points: Array, weights: Array | None = None) -> PlaneFit:
    """The plane with the least sum of squared distances from points (n, 3) [mm], n >= 3.

    weights : (n,) positive, such as the area that a point stands for; the std takes them for inverse
        variances up to a factor. None: all alike
    Raises ComputationRefused where the points lie on one line or scatter alike in all directions.
    Source: principal axes of the points; covariance by first-order propagation of equal noise along the normal.
    """
    kept = checked_points(points, 3, 3, "plane")
    weight = _checked_weights(weights, len(kept))
    total = float(weight.sum())
    centre = (weight[:, None] * kept).sum(axis=0) / total
    local = kept - centre
    _, values, right = np.linalg.svd(np.sqrt(weight)[:, None] * local, full_matrices=False)
    if values[1] <= ROUNDING * values[0]:
        what = "the points lie on one line: they span no plane"
        raise refusal("plane", len(kept), what, "pick a wider face")
    if values[2] > _THICK * values[1]:
        what = "the points scatter as far along the normal as across it: they tell no plane"
        raise refusal("plane", len(kept), what, "pick a wider face, or one that is flat")
    normal = facing_positive(right[2])
    residuals = locked(local @ normal, (len(kept),), "residuals")
    rms = float(np.sqrt((weight * residuals**2).sum() / total))
    width = float(np.ptp(residuals))
    std = _plane_std(len(kept), total, values)
    return PlaneFit(locked(centre, (3,), "point"), normal, residuals, rms, width, std)


def _checked_weights(weights: Array | None, count: int) -> Array:
    if weights is None:
        return np.ones(count)
    kept = locked(weights, (count,), "weights")
    if not (kept > 0.0).all():
        raise ValueError("a weight is not positive")
    return kept


def _plane_std(count: int, total: float, values: Array) -> PlaneStd:
    if count == 3:
        return PlaneStd(math.inf, math.inf)
    noise = float(values[2]) / math.sqrt(count - 3)
    return PlaneStd(noise / math.sqrt(total), math.degrees(noise / float(values[1])))
