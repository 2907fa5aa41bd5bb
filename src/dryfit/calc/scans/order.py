"""Points put in an order in which neighbours follow one another, so that looking them up is quick."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray

_STEPS = 1 << 10  # along the longest side: ten bits for each axis


def order_along_curve(points: Array) -> IntArray:
    """Indices (n,) that put points (n, 3) in order along a curve that fills the room.

    Source: Morton 1966, bits of the cell's three numbers one after the other (memory).
    """
    if not len(points):
        return np.zeros(0, dtype=np.int64)
    low = points.min(axis=0)
    size = max(float((points.max(axis=0) - low).max()), 1e-300)
    key = np.zeros(len(points), dtype=np.uint32)
    for k in range(3):
        cell = ((points[:, k] - low[k]) * ((_STEPS - 1) / size)).astype(np.uint32)
        key |= _spread_bits(cell) << np.uint32(2 - k)
    order: IntArray = np.argsort(key, kind="stable")
    return order


def _spread_bits(cell: np.ndarray) -> np.ndarray:
    """Ten bits (n,) with two empty ones after each."""
    for shift, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
        cell = (cell | (cell << np.uint32(shift))) & np.uint32(mask)
    return cell
