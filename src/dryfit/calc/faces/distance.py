"""Distance from a point to triangles."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, cross
from dryfit.calc.faces.surface import dots, lengths


def distances_to_triangles(point: Array, corners: Array) -> Array:
    """(m,) [mm] distance from a point (3,) to each triangle (m, 3, 3).

    To the plane where the foot of the perpendicular lies inside, otherwise to the nearest edge.
    """
    if not len(corners):
        return np.zeros(0)
    a, b, c = (corners[:, k] - point for k in range(3))
    normals = cross(b - a, c - a)
    size = np.maximum(lengths(normals), 1e-300)
    unit = normals / size[:, None]
    is_inside = np.ones(len(corners), dtype=np.bool_)
    nearest = np.full(len(corners), np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        edge = end - start
        is_inside &= dots(cross(edge, -start), normals) >= 0
        share = np.clip(-dots(start, edge) / np.maximum(dots(edge, edge), 1e-300), 0.0, 1.0)
        nearest = np.minimum(nearest, lengths(start + share[:, None] * edge))
    distances: Array = np.where(is_inside, np.abs(dots(a, unit)), nearest)
    return distances
