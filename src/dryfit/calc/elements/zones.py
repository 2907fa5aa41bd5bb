"""Minimum zone of flatness: the narrowest pair of parallel planes that holds all points, exactly.

By exchange: the narrowest slab of a few of the points, found by trying every slab that can be the narrowest,
is a lower bound for all of them. While points stand out of it they join the few; when none does, it is the
narrowest slab of all points.
Source of the candidates: a narrowest slab touches a face and a corner, or two edges, of the convex hull;
Houle and Toussaint, IEEE PAMI 10 (1988) 761 (memory).
"""

from __future__ import annotations

from itertools import product

import numpy as np

from dryfit.base.arrays import Array, cross, locked
from dryfit.calc.elements.checking import ROUNDING, checked_points, facing_positive, refusal
from dryfit.calc.elements.records import ZoneFit

_EXACT = 1e-12  # of the extent: what stands out by less is rounding
_ROUNDS = 40  # a flat face takes a few; a ball would go on through most of its points
_CHUNK = 200_000


def minimum_zone_flatness(points: Array) -> ZoneFit:
    """The narrowest pair of parallel planes that holds points (n, 3) [mm], n >= 3: their flatness.

    Exact to rounding, over all directions: of a body it is the least thickness of its hull.
    Raises ComputationRefused where the points lie on one line, or are so round on all sides that the search
    does not end.
    Source: ISO 12781-1:2011, minimum zone reference planes (memory).
    """
    kept = checked_points(points, 3, 3, "minimum zone")
    centre = kept.mean(axis=0)
    local = kept - centre
    _, values, right = np.linalg.svd(local, full_matrices=False)
    if values[1] <= ROUNDING * values[0]:
        what = "the points lie on one line: they have no flatness"
        raise refusal("minimum zone", len(kept), what, "pick a wider face")
    normal = right[2]
    extent = float(np.ptp(local @ right[0]))
    if np.ptp(local @ normal) > _EXACT * extent:
        normal = _narrowest_normal(local @ right.T, extent) @ right
    heights = local @ normal
    width = float(np.ptp(heights))
    middle = 0.5 * float(heights.max() + heights.min())
    return ZoneFit(width, facing_positive(normal), locked(centre + middle * normal, (3,), "point"))


def _narrowest_normal(local: Array, extent: float) -> Array:
    """Unit normal (3,) of the narrowest slab of points (n, 3) in their principal axes."""
    stretch = np.ptp(local, axis=0)
    chosen = _extremes(local / stretch)
    for _ in range(_ROUNDS):
        normal, bound = _narrowest_of_few(local[chosen], stretch)
        heights = local @ normal
        if float(np.ptp(heights)) <= bound + _EXACT * extent:
            return normal
        chosen = np.union1d(chosen, [heights.argmin(), heights.argmax()])
    what = "the search for the narrowest slab does not end: the points are round on all sides"
    raise refusal("minimum zone", len(local), what, "pick a face that is nearly flat")


def _extremes(points: Array) -> Array:
    """Indices of the outermost points (n, 3) along the axes and diagonals of a cube, not all in one plane."""
    directions = np.array([d for d in product((-1, 0, 1), repeat=3) if any(d)], dtype=float)
    chosen = np.unique((points @ directions.T).argmax(axis=0))
    few = points[chosen]
    across = points @ np.linalg.svd(few - few.mean(axis=0), full_matrices=True)[2][2]
    return np.union1d(chosen, [across.argmin(), across.argmax()])


def _narrowest_of_few(points: Array, stretch: Array) -> tuple[Array, float]:
    """Normal and width of the narrowest slab of a few points, by trying all faces and pairs of edges.

    The hull is taken of points that are as thick as wide: which points make a face or an edge does not depend
    on the stretch, and a thin hull would lose its faces to rounding.
    """
    from scipy.spatial import ConvexHull

    triangles = ConvexHull(points / stretch).simplices
    corners = points[triangles]
    faces = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    pairs = np.unique(np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1), axis=0)
    edges = points[pairs[:, 1]] - points[pairs[:, 0]]
    first, second = np.triu_indices(len(edges), 1)
    lengths = np.linalg.norm(edges, axis=1)
    slabs = cross(edges[first], edges[second])
    spanning = np.linalg.norm(slabs, axis=1) > _EXACT * lengths[first] * lengths[second]
    normals = np.vstack([faces, slabs[spanning]])
    size = np.linalg.norm(normals, axis=1)
    normals = normals[size > 0.0] / size[size > 0.0, None]
    hull = points[np.unique(triangles)]
    widths = np.concatenate(
        [np.ptp(normals[k : k + _CHUNK] @ hull.T, axis=1) for k in range(0, len(normals), _CHUNK)]
    )
    best = int(widths.argmin())
    return normals[best], float(widths[best])
