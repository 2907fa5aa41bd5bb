"""Distance between segments, pair by pair."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array


def segment_distances(p: Array, q: Array, r: Array, s: Array) -> tuple[Array, Array, Array]:
    """Least distance (k,) between segments p-q and r-s (k, 3), and the nearest points of each (k, 3).

    Source: closest points of two segments by clamping the solution for two lines (memory: Ericson,
    Real-Time Collision Detection, 5.1.9).
    """
    d, e, w = q - p, s - r, p - r
    a, c = _dot(d, d), _dot(e, e)
    b, f, g = _dot(d, e), _dot(e, w), _dot(d, w)
    divisor = a * c - b * b
    is_skew = divisor > 1e-12 * a * c
    t = np.where(is_skew, (b * f - g * c) / np.where(is_skew, divisor, 1.0), 0.0).clip(0.0, 1.0)
    u = ((b * t + f) / np.where(c > 0, c, 1.0)).clip(0.0, 1.0)
    t = ((b * u - g) / np.where(a > 0, a, 1.0)).clip(0.0, 1.0)
    on_first, on_second = p + d * t[:, None], r + e * u[:, None]
    apart = on_first - on_second
    return np.sqrt(_dot(apart, apart)), on_first, on_second


def _dot(u: Array, v: Array) -> Array:
    product: Array = np.einsum("ij,ij->i", u, v)
    return product
