"""Polygons of a mesh file become triangles, without changing the surface where it is flat."""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np

from dryfit.base.arrays import Array, IntArray

# Corners count as collinear, and triangles as empty, below this share of the polygon's size squared.
_FLAT = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Triangulation:
    """Triangles of n-sided polygons.

    triangles   (p * (n - 2), 3) indices like those of the polygons, in the order of the polygons
    departure   [unit of the vertices] largest distance of a corner from its polygon's mean plane
    failed      polygons that cannot be triangulated (they cross themselves or have no area); then
                triangles is empty
    """

    triangles: IntArray
    departure: float
    failed: tuple[int, ...] = ()


def triangulate_polygons(vertices: Array, polygons: IntArray) -> Triangulation:
    """Triangles of polygons that all have the same number of corners.

    vertices : (v, 3); polygons : (p, n) indices, n >= 3
    A convex polygon becomes a fan from its first corner; another one is triangulated in its mean plane,
    and its signed area compared. The mean plane is that of Newell's normal (memory).
    """
    count, corners = polygons.shape
    if corners == 3:
        return Triangulation(polygons, 0.0)
    points = vertices[polygons]
    points = points - points.mean(axis=1, keepdims=True)
    normal = np.cross(points, np.roll(points, -1, axis=1)).sum(axis=1)
    double_area = np.linalg.norm(normal, axis=1)
    size = np.abs(points).max(axis=(1, 2))
    is_area = double_area > _FLAT * size**2
    unit = normal / np.where(is_area, double_area, 1.0)[:, None]
    departure = float(np.abs(np.einsum("pnk,pk->pn", points, unit)).max(initial=0.0))
    is_fan = is_area & _is_convex(points, unit, size)
    triangles = _fan(polygons)
    failed = []
    for index in np.flatnonzero(~is_fan):
        local = None
        if is_area[index]:
            local = _triangulate_in_plane(points[index], unit[index], float(double_area[index]))
        if local is None:
            failed.append(int(index))
        else:
            triangles[index] = polygons[index][local]
    if failed:
        return Triangulation(np.zeros((0, 3), dtype=np.int64), departure, tuple(failed))
    return Triangulation(triangles.reshape(count * (corners - 2), 3), departure)


def _fan(polygons: IntArray) -> IntArray:
    """(p, n - 2, 3): triangles from the first corner."""
    first = np.broadcast_to(polygons[:, :1], polygons[:, 2:].shape)
    return np.stack([first, polygons[:, 1:-1], polygons[:, 2:]], axis=2)


def _is_convex(points: Array, unit: Array, size: Array) -> Array:
    """Whether no corner turns back and no fan triangle is turned over: together they exclude stars."""
    step = np.roll(points, -1, axis=1) - points
    turn = np.einsum("pnk,pk->pn", np.cross(np.roll(step, 1, axis=1), step), unit)
    spoke = points[:, 1:] - points[:, :1]
    swept = np.einsum("pnk,pk->pn", np.cross(spoke[:, :-1], spoke[:, 1:]), unit)
    least = -_FLAT * size**2
    convex: Array = (turn >= least[:, None]).all(axis=1) & (swept >= least[:, None]).all(axis=1)
    return convex


def _triangulate_in_plane(points: Array, unit: Array, double_area: float) -> IntArray | None:
    """(n - 2, 3) local corner numbers, or None where no triangulation covers the polygon's area."""
    along = np.cross(unit, np.eye(3)[np.argmin(np.abs(unit))])
    along /= np.linalg.norm(along)
    flat = points @ np.stack([along, np.cross(unit, along)], axis=1)
    local = np.asarray(manifold3d.triangulate([flat]), dtype=np.int64).reshape(-1, 3)
    if len(local) != len(points) - 2:
        return None
    u, v = flat[local[:, 1]] - flat[local[:, 0]], flat[local[:, 2]] - flat[local[:, 0]]
    swept = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    covers = swept.min() >= -_FLAT * double_area and abs(swept.sum() - double_area) <= 1e-6 * double_area
    return local if covers and _has_new_diagonals_only(local, len(points)) else None


def _has_new_diagonals_only(local: IntArray, corners: int) -> bool:
    """Whether each side of the polygon borders one triangle and each diagonal two, once each way."""
    edges = np.concatenate([local[:, [0, 1]], local[:, [1, 2]], local[:, [2, 0]]])
    seen = {(int(a), int(b)) for a, b in edges}
    sides = {(i, (i + 1) % corners) for i in range(corners)}
    return len(seen) == len(edges) and sides <= seen and all((b, a) in seen for a, b in seen - sides)
