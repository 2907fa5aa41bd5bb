"""A smooth random field over points: what lies close together moves together."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array

_LEAST = 1e-9  # share of the largest variance below which a component of the field is left away


def smooth_field(points: Array, reach: float, std: float) -> Array:
    """Factor F (n, k) of the covariance F F^T of one component of a field at n points, in the unit of std.

    points : (n, 3)   reach : distance over which the field keeps its value, in the unit of points, above zero
    The covariance is std^2 exp(-r^2 / 2), r the distance over the reach: at one reach it has fallen to 0.61, at two
    to 0.14. k is at most n, and small where the points are many and the field is smooth.
    Source: squared exponential covariance, Rasmussen and Williams 2006, 4.2.1 and 5.1 (memory).
    """
    scaled = points / reach
    apart = ((scaled[:, None, :] - scaled[None, :, :]) ** 2).sum(axis=2)
    values, vectors = np.linalg.eigh(std**2 * np.exp(-0.5 * apart))
    keep = values > _LEAST * values[-1:]
    factor: Array = vectors[:, keep] * np.sqrt(values[keep])
    return factor
