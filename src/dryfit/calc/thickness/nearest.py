"""Which point of the surface round it is nearest to a point inside a body: found by looking about.

The nearest point is always seen from the point inside. Rays in evenly spread directions find the triangles in
view; a second look along the normals of those whose planes are nearest finds the feet on finely meshed faces.
Beside triangles that were found before, a look along their normals alone is quick, and may miss others.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross
from dryfit.calc.thickness.solid import Solid

# Directions of the first look. A face seen under less than one in so many parts of the view can be missed.
LOOKS = 48
_BY_PLANE = 4  # triangles kept since their planes are near: large faces
_BY_WAY = 2  # triangles kept since the way to them is short: small faces
_MOST_AHEAD = 3  # nearest triangles that are handed on to the next, quick look


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What is seen from n points inside a body.

    near      (n, 3) [mm] nearest point of the surface; infinite where nothing is seen
    triangle  (n,) on which it lies; -1 where nothing is seen
    ahead     (n, _MOST_AHEAD) triangles that were nearest, -1 for none: where a quick look begins; None where
              a whole look is as quick
    """

    near: Array
    triangle: IntArray
    ahead: IntArray | None


def nearest_seen(solid: Solid, centres: Array) -> Seen:
    """Nearest point of the surface in view of centres (n, 3) inside the body.

    The distance to each triangle that was seen is exact.
    In a mesh of few triangles the nearest of all is taken, where it is one that faces away from the centre:
    one that does not belongs to a body that overlaps another, or to an edge that does not tell, and there
    it is looked for like in any other mesh.
    """
    if solid.tree is None:
        return _look_about(solid, centres)
    point, triangle = _nearest_of_all(solid, centres)
    away = np.einsum("ij,ij->i", solid.normals[triangle], point - centres)
    doubtful = np.flatnonzero(~(away > 0.0))
    if len(doubtful):
        seen = _look_about(solid, centres[doubtful])
        point[doubtful], triangle[doubtful] = seen.near, seen.triangle
    return Seen(point, triangle, None)


def nearest_ahead(solid: Solid, centres: Array, ahead: IntArray) -> Seen:
    """The same of triangles (n, k) seen before, and of those met along their normals: others are missed."""
    second, _, _ = _look(solid, centres, solid.normals[np.maximum(ahead, 0)])
    return _nearest_of(solid, centres, np.hstack([ahead, second]))


def _nearest_of_all(solid: Solid, centres: Array) -> tuple[Array, IntArray]:
    _, triangle, point = solid.tree.squared_distance(  # type: ignore[union-attr]
        solid.mesh.vertices, solid.mesh.faces, np.ascontiguousarray(centres)
    )
    return np.array(point).reshape(-1, 3), np.atleast_1d(triangle).astype(np.int64)


def _look_about(solid: Solid, centres: Array) -> Seen:
    ways = np.broadcast_to(_even_directions(LOOKS), (len(centres), LOOKS, 3))
    first, way, plane = _look(solid, centres, ways)
    by_plane = np.argpartition(plane, _BY_PLANE, axis=1)[:, :_BY_PLANE]
    by_way = np.argpartition(way, _BY_WAY, axis=1)[:, :_BY_WAY]
    kept = np.take_along_axis(first, np.hstack([by_plane, by_way]), axis=1)
    second, _, _ = _look(solid, centres, solid.normals[np.maximum(kept, 0)])
    seen = np.hstack([kept, second])
    return _nearest_of(solid, centres, seen)


def _nearest_of(solid: Solid, centres: Array, seen: IntArray) -> Seen:
    near = nearest_on_triangles(
        np.repeat(centres, seen.shape[1], axis=0), solid.corners[np.maximum(seen, 0).ravel()]
    ).reshape(*seen.shape, 3)
    square = np.where(seen >= 0, ((near - centres[:, None]) ** 2).sum(axis=2), np.inf)
    rows, best = np.arange(len(centres)), square.argmin(axis=1)
    is_seen = np.isfinite(square[rows, best])
    point = np.where(is_seen[:, None], near[rows, best], np.inf)
    first = np.argpartition(square, _MOST_AHEAD - 1, axis=1)[:, :_MOST_AHEAD]
    ahead = np.take_along_axis(seen, first, axis=1)
    return Seen(point, np.where(is_seen, seen[rows, best], -1), ahead)


def _look(solid: Solid, centres: Array, ways: Array) -> tuple[IntArray, Array, Array]:
    """For directions (n, d, 3): triangle (n, d) through which each leaves, -1 for none, the way to it and
    the distance of its plane [mm], infinite for none."""
    n, d = ways.shape[:2]
    origins = np.repeat((centres / solid.size_mm).astype(np.float32), d, axis=0)
    flat = np.ascontiguousarray(ways.reshape(-1, 3), dtype=np.float32)
    found = solid.rays.run(origins, flat, output=1)
    triangle = found["primID"].astype(np.int64)
    cosine = np.einsum("ij,ij->i", solid.normals[np.maximum(triangle, 0)], flat)
    leaves = (triangle >= 0) & (cosine > 0)
    way = np.where(leaves, found["tfar"].astype(np.float64) * solid.size_mm, np.inf)
    plane = np.where(leaves, way * np.where(leaves, cosine, 1.0), np.inf)
    return np.where(leaves, triangle, -1).reshape(n, d), way.reshape(n, d), plane.reshape(n, d)


def _even_directions(count: int) -> Array:
    """Unit vectors (count, 3) along a spiral of equal steps in height and of the golden angle."""
    height = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    turn = np.arange(count) * np.pi * (3.0 - 5.0**0.5)
    level = np.sqrt(1.0 - height**2)
    ways: Array = np.stack([level * np.cos(turn), level * np.sin(turn), height], axis=1)
    return ways


def nearest_on_triangles(points: Array, corners: Array) -> Array:
    """Nearest point (n, 3) of the n-th triangle (n, 3, 3) to the n-th point (n, 3).

    Inside the triangle the foot of the perpendicular, else the nearest of the feet on the three edges.
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = cross(b - a, c - a)
    square = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-300)
    height = np.einsum("ij,ij->i", points - a, normal) / square
    best: Array = points - height[:, None] * normal
    outside = np.zeros(len(points), dtype=np.bool_)
    for start, end in ((a, b), (b, c), (c, a)):
        outside |= np.einsum("ij,ij->i", cross(end - start, points - start), normal) < 0
    which = np.flatnonzero(outside)
    best[which] = _nearest_on_edges(points[which], corners[which])
    return best


def _nearest_on_edges(points: Array, corners: Array) -> Array:
    best: Array = points.copy()
    least = np.full(len(points), np.inf)
    for k in range(3):
        start, edge = corners[:, k], corners[:, (k + 1) % 3] - corners[:, k]
        length = np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-300)
        share = np.clip(np.einsum("ij,ij->i", points - start, edge) / length, 0.0, 1.0)
        foot = start + share[:, None] * edge
        distance = np.einsum("ij,ij->i", points - foot, points - foot)
        is_nearer = distance < least
        best, least = np.where(is_nearer[:, None], foot, best), np.where(is_nearer, distance, least)
    return best
