"""Two surfaces that a plane keeps apart: the quick proof that nothing overlaps."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray, corners_of, cross
from dryfit.calc.overlap.surface import Surface, used_vertices

_MOST_NORMALS = 6  # directions tried per surface: those that most of its area near the other faces


def is_kept_apart(
    a: Surface, b: Surface, near_a: IntArray, near_b: IntArray, common: Array, depth_mm: float
) -> bool:
    """Whether a plane shows that two solids share nothing thicker than depth_mm.

    near_a, near_b : triangles that touch the common box (2, 3) of both.
    Where all triangles of a in the box lie below a plane, the half of the box above it is wholly inside a
    or wholly outside; one point of it decides. The same for b below the plane. False says nothing.
    """
    if len(near_a) == 0 or len(near_b) == 0:
        return False
    points_a, points_b = _corners(a, near_a), _corners(b, near_b)
    directions = np.vstack([_main_normals(a, near_a), _main_normals(b, near_b), np.eye(3)])
    line = points_b.mean(axis=0) - points_a.mean(axis=0)
    length = float(np.linalg.norm(line))
    if length > 0:
        directions = np.vstack([line / length, directions])
    along_a, along_b = points_a @ directions.T, points_b @ directions.T
    for k, direction in enumerate(directions):
        for sign in (1.0, -1.0):
            top_a = float((sign * along_a[:, k]).max())
            bottom_b = float((sign * along_b[:, k]).min())
            if top_a - bottom_b > depth_mm:
                continue
            normal = sign * direction
            if _is_empty_above(a, common, normal, top_a) and _is_empty_above(b, common, -normal, -bottom_b):
                return True
    return False


def is_inside(surface: Surface, point: Array) -> bool:
    """Whether a point (3,) that is not on the surface lies inside, by its winding number."""
    import igl

    winding = igl.winding_number(surface.vertices, surface.faces, np.ascontiguousarray(point[None, :]))
    return abs(float(np.atleast_1d(winding)[0])) > 0.5


def _corners(surface: Surface, triangles: IntArray) -> Array:
    return surface.vertices[used_vertices(surface, surface.faces[triangles])]


def _main_normals(surface: Surface, triangles: IntArray) -> Array:
    """Unit normals (k, 3) that the largest part of the area has, to about half a degree."""
    a, b, c = corners_of(surface.vertices, surface.faces[triangles])
    normals = cross(b - a, c - a)
    areas = np.sqrt((normals**2).sum(axis=1))
    has_area = areas > 0
    normals, areas = normals[has_area] / areas[has_area, None], areas[has_area]
    keys = np.rint(normals * 100.0).astype(np.int64) @ np.array([1, 1 << 10, 1 << 20])
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    weight = np.bincount(inverse.reshape(-1), weights=areas)
    largest: Array = normals[first[np.argsort(weight)[::-1][:_MOST_NORMALS]]]
    return largest


def _is_empty_above(surface: Surface, common: Array, normal: Array, top: float) -> bool:
    """Whether the solid has nothing in the part of the box where normal . x exceeds top."""
    corner = np.where(normal > 0, common[1], common[0])
    if float(normal @ corner) <= top:
        return True
    # A corner on the surface's own box cannot lie inside it.
    if (corner <= surface.bounds[0]).any() or (corner >= surface.bounds[1]).any():
        return True
    return not is_inside(surface, corner)
