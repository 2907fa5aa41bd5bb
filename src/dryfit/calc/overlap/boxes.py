"""Broad phase: which boxes come near one another."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.overlap.surface import Surface


def broad_pairs(boxes: Array, reach_mm: float = 0.0) -> IntArray:
    """Pairs of boxes whose distance along every axis is at most reach_mm.

    boxes : (n, 2, 3) [mm] least and greatest coordinates
    Returns (k, 2), the smaller index first, in ascending order.
    """
    lows, highs = boxes[:, 0] - reach_mm, boxes[:, 1]
    meets = np.ones((len(boxes), len(boxes)), dtype=bool)
    for axis in range(3):
        meets &= lows[:, None, axis] <= highs[None, :, axis]
    meets &= meets.T
    return np.argwhere(np.triu(meets, k=1)).astype(np.int64)


def common_box(a: Array, b: Array) -> Array:
    """(2, 3) [mm] what two boxes have in common; negative extents where they are apart."""
    return np.stack([np.maximum(a[0], b[0]), np.minimum(a[1], b[1])])


def triangles_touching(surface: Surface, box: Array, margin_mm: float = 0.0) -> IntArray:
    """Triangles whose own box comes within margin_mm of a box (2, 3)."""
    low, high = box[0] - margin_mm, box[1] + margin_mm
    touches = (surface.lows[:, 0] <= high[0]) & (surface.highs[:, 0] >= low[0])
    for axis in (1, 2):
        touches &= (surface.lows[:, axis] <= high[axis]) & (surface.highs[:, axis] >= low[axis])
    return np.flatnonzero(touches).astype(np.int64)


def meeting_boxes(first: Array, second: Array, reach_mm: float) -> tuple[IntArray, IntArray]:
    """Indices of pairs of boxes, one of each set, whose distance along every axis is at most reach_mm.

    first, second : (n, 2, 3), (m, 2, 3) [mm]
    A plane search tree finds pairs along the two axes in which the second set spreads most; the third
    axis is compared pair by pair.
    """
    import shapely

    if len(first) == 0 or len(second) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    spread = second.mean(axis=1).std(axis=0)
    left_out, u, v = (int(axis) for axis in np.argsort(spread))
    tree = shapely.STRtree(shapely.box(second[:, 0, u], second[:, 0, v], second[:, 1, u], second[:, 1, v]))
    asked = shapely.box(
        first[:, 0, u] - reach_mm, first[:, 0, v] - reach_mm,
        first[:, 1, u] + reach_mm, first[:, 1, v] + reach_mm,
    )  # fmt: skip
    i, j = tree.query(asked)
    w = left_out
    near = (first[i, 0, w] - reach_mm <= second[j, 1, w]) & (first[i, 1, w] + reach_mm >= second[j, 0, w])
    return i[near].astype(np.int64), j[near].astype(np.int64)
