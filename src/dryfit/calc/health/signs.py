"""Exact signs of orientations."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray


def exact_side_of_plane(a: Array, b: Array, c: Array, d: Array) -> IntArray:
    """(n,) exact sign of the side of plane a, b, c (n, 3) that points d (n, 3) are on.

    Positive on the side from which a, b, c run counter-clockwise. By Shewchuk's adaptive arithmetic.
    """
    from igl.predicates import orient3d

    if len(a) == 0:
        return np.zeros(0, dtype=np.int64)
    # The library's own sign is positive below the plane.
    rows = (np.ascontiguousarray(points) for points in (a, b, c, d))
    return -np.asarray(orient3d(*rows), dtype=np.int64)


def exact_side_of_line(a: Array, b: Array, c: Array) -> IntArray:
    """(n,) exact sign of the side of line a, b (n, 2) that points c (n, 2) are on: positive to the left.

    As a volume over the flat triangle: its apex one up over a, so that no digit is lost.
    """
    flat = [np.concatenate([points, np.zeros((len(points), 1))], axis=1) for points in (a, b, c)]
    apex = flat[0].copy()
    apex[:, 2] = 1.0
    return exact_side_of_plane(flat[0], flat[1], flat[2], apex)


def drop_axis(points: Array, axis: IntArray) -> Array:
    """(n, k, 2) of points (n, k, 3): seen along axis (n,), the other two in cyclic order."""
    first = np.take_along_axis(points, ((axis + 1) % 3)[:, None, None], axis=2)
    second = np.take_along_axis(points, ((axis + 2) % 3)[:, None, None], axis=2)
    return np.concatenate([first, second], axis=2)


def widest_axis(a: Array, b: Array, c: Array) -> IntArray:
    """(n,) the axis along which triangles (n, 3) show the largest area."""
    u, v = b - a, c - a
    normal = np.stack([u[:, i - 2] * v[:, i - 1] - u[:, i - 1] * v[:, i - 2] for i in range(3)], axis=1)
    axis: IntArray = np.argmax(np.abs(normal), axis=1)
    return axis
