"""By how much a surface moved, measured both ways."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray

_INSIDE = 0.9  # how often a united body goes round a point of what it swallowed; on its surface it is a half


def measure_moved(
    before: tuple[Array, IntArray], after: tuple[Array, IntArray], is_united: bool
) -> tuple[float, float]:
    """(greatest, root mean square) [mm] of the distances of the vertices of each surface to the other.

    before, after : vertices and faces; of before only what was meant to stay
    """
    distances = [_distances(after, before), _distances(before, after, is_united)]
    every = np.concatenate(distances)
    if not len(every):
        return 0.0, 0.0
    return float(every.max()), float(np.sqrt(np.mean(every**2)))


def _distances(
    points_of: tuple[Array, IntArray], surface: tuple[Array, IntArray], leave_inside: bool = False
) -> Array:
    import igl

    vertices, faces = surface
    points = points_of[0][np.unique(points_of[1])]
    if not len(points) or not len(faces):
        return np.zeros(0)
    # About the middle, so that a part far from the origin loses no digits.
    middle = points.mean(axis=0)
    own = np.ascontiguousarray(vertices - middle), np.ascontiguousarray(faces)
    points = np.ascontiguousarray(points - middle)
    if leave_inside:
        points = points[igl.fast_winding_number(*own, points) < _INSIDE]
    if not len(points):
        return np.zeros(0)
    distances = np.zeros(len(points))
    # A corner that is a corner of the other surface too lies on it; among needles the search would be slow.
    moved = np.flatnonzero(~_are_among(points, own[0][np.unique(faces)]))
    if len(moved):
        squared, *_ = igl.point_mesh_squared_distance(np.ascontiguousarray(points[moved]), *own)
        distances[moved] = np.sqrt(np.maximum(squared, 0.0))
    return distances


def _are_among(points: Array, others: Array) -> BoolArray:
    """(n,) which points (n, 3) are exactly one of others (m, 3)."""
    _, number = np.unique(np.concatenate([points, others]), axis=0, return_inverse=True)
    number = number.ravel()
    return np.isin(number[: len(points)], number[len(points) :])
