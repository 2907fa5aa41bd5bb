"""Whether two curved surfaces face each other within the gap."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.mating.surface import Surface
from dryfit.model.project import Search

# Facets of two curves face each other when they oppose within this: each may lean by half a bend.
FACING_DEG = 25.0
# A chord stands off its curve by at most about width * tan(bend / 2) / 4, 0.05 of its width.
CHORD_SHARE = 0.05
NEAREST = 16


def facing_area(
    first: Surface, a: IntArray, second: Surface, b: IntArray, box: Array, search: Search
) -> float:
    """Area [mm2] of the triangles a of first that have one of b of second in front within the gap.

    Judged at the centroids, against the nearest few triangles: an indication, not a measurement. The
    larger of both views counts.
    """
    a, b = first.inside(a, box), second.inside(b, box)
    if not len(a) or not len(b):
        return 0.0
    return max(_seen(first, a, second, b, search), _seen(second, b, first, a, search))


def _seen(first: Surface, a: IntArray, second: Surface, b: IntArray, search: Search) -> float:
    from scipy.spatial import cKDTree

    points, targets = first.centroids[a], second.centroids[b]
    near = cKDTree(targets).query(points, k=min(NEAREST, len(b)))[1].reshape(len(a), -1)
    rows = b[near]
    opposed = np.einsum("mx,mkx->mk", first.normals[a], second.normals[rows])
    hit = opposed <= -np.cos(np.radians(FACING_DEG))
    distances = np.einsum("mkx,mkx->mk", points[:, None] - targets[near], second.normals[rows])
    widths = np.sqrt(second.areas[rows]) + np.sqrt(first.areas[a])[:, None]
    reach = search.max_gap_mm + CHORD_SHARE * widths
    hit &= np.abs(distances) <= reach
    above = points[:, None] - second.upper[rows]
    below = second.lower[rows] - points[:, None]
    hit &= np.maximum(above, below).max(axis=2) <= reach
    return float(first.areas[a[hit.any(axis=1)]].sum())
