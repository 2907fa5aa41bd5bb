"""Leave out pairs of triangles that rounded arithmetic surely keeps apart: nearly all of them."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray

# Shewchuk 1997 bounds the error of a rounded orientation by (7 + 56 u) u for three dimensions and
# (3 + 16 u) u for two, u = 2^-53, times the sum of the magnitudes of its products (memory). The products are
# summed in another order here, and a doubtful case only costs time: twice that.
_UNSURE_3D = 16 * 2.0**-53
_UNSURE_2D = 8 * 2.0**-53
_CHUNK = 1 << 15  # pairs at a time: the work stays in the processor's cache
_EDGES = ((0, 1, 2), (1, 2, 0), (2, 0, 1))


def find_near(
    vertices: Array, f: IntArray, g: IntArray, f_shared: BoolArray, g_shared: BoolArray
) -> IntArray:
    """Indices of the pairs of faces f, g (3, n) that may meet beyond the corners that they share.

    f_shared, g_shared : (3, n) which corners are corners of the other, at most two
    First by the planes of the two, then by lines along their edges, seen along an axis.
    """
    found = [np.zeros(0, dtype=np.int64)]
    for start in range(0, f.shape[1], _CHUNK):
        part = slice(start, start + _CHUNK)
        found.append(
            start + _find_in_chunk(vertices, f[:, part], g[:, part], f_shared[:, part], g_shared[:, part])
        )
    return np.concatenate(found)


def _find_in_chunk(
    vertices: Array, f: IntArray, g: IntArray, f_shared: BoolArray, g_shared: BoolArray
) -> IntArray:
    index = np.arange(f.shape[1])
    a, b = _corners(vertices, f), _corners(vertices, g)
    for test in (_plane_parts, _lines_part):
        for swap in (False, True):
            is_apart = test(b, a, g_shared, f_shared) if swap else test(a, b, f_shared, g_shared)
            keep = np.flatnonzero(~is_apart)
            if len(keep) < len(index):
                index, a, b = index[keep], a[:, :, keep], b[:, :, keep]
                f_shared, g_shared = f_shared[:, keep], g_shared[:, keep]
    return index


def _corners(vertices: Array, faces: IntArray) -> Array:
    """(3 corners, 3 axes, n) of faces (3, n)."""
    return np.ascontiguousarray(np.take(vertices, faces, axis=0).transpose(0, 2, 1))


def _plane_parts(a: Array, b: Array, _: BoolArray, b_shared: BoolArray) -> BoolArray:
    """Whether all corners of b but the shared ones are surely on one side of the plane of a."""
    u, v = a[1] - a[0], a[2] - a[0]
    value, size = np.zeros((3, u.shape[1])), np.zeros((3, u.shape[1]))
    for x, y, z in _EDGES:
        one, other = u[y] * v[z], u[z] * v[y]
        part, reach = one - other, b[:, x] - a[0, x]
        value += part * reach
        size += (np.abs(one) + np.abs(other)) * np.abs(reach)
    size *= _UNSURE_3D
    above = ((value > size) | b_shared).all(axis=0)
    below = ((value < -size) | b_shared).all(axis=0)
    return np.asarray(above | below)


def _lines_part(a: Array, b: Array, a_shared: BoolArray, b_shared: BoolArray) -> BoolArray:
    """Whether a line along an edge of a surely parts the two, seen along the axis that shows a best."""
    axis = _widest_axis(a)
    a, b = _see_along(a, axis), _see_along(b, axis)
    parted = np.zeros(len(axis), dtype=bool)
    for tail, head, apex in _EDGES:
        u = a[head] - a[tail]
        inner = _sides(u, a[apex] - a[tail])
        is_beyond = b_shared.copy()
        for k in range(3):
            is_beyond[k] |= inner * _sides(u, b[k] - a[tail]) < 0
        # Corners in common may be left out only where the line runs through them.
        parted |= is_beyond.all(axis=0) & ~a_shared[apex]
    return parted


def _sides(u: Array, reach: Array) -> Array:
    """Sign of the side of u (2, n) that reach is on: 1 to the left, -1 to the right, 0 where unsure."""
    one, other = u[0] * reach[1], u[1] * reach[0]
    value = one - other
    signs: Array = np.where(np.abs(value) > _UNSURE_2D * (np.abs(one) + np.abs(other)), np.sign(value), 0.0)
    return signs


def _widest_axis(a: Array) -> IntArray:
    u, v = a[1] - a[0], a[2] - a[0]
    size = [np.abs(u[y] * v[z] - u[z] * v[y]) for _, y, z in _EDGES]
    return np.where((size[0] >= size[1]) & (size[0] >= size[2]), 0, np.where(size[1] >= size[2], 1, 2))


def _see_along(corners: Array, axis: IntArray) -> Array:
    """(3, 2, n): the two other axes in cyclic order."""
    first = np.where(axis == 0, corners[:, 1], np.where(axis == 1, corners[:, 2], corners[:, 0]))
    second = np.where(axis == 0, corners[:, 2], np.where(axis == 1, corners[:, 0], corners[:, 1]))
    return np.stack([first, second], axis=1)
