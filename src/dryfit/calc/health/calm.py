"""Vertices round which the surface surely does not meet itself: most of them, told without looking at pairs."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, corners_of
from dryfit.base.topology import EdgeTable

# Bound of the rounding of a component of a normal over the magnitudes of its two products: Shewchuk 1997
# has (3 + 16 u) u, u = 2^-53, for an orientation in the plane (memory); more than twice that.
_UNSURE = 8 * 2.0**-53


def find_calm(vertices: Array, table: EdgeTable, is_chosen: BoolArray) -> BoolArray:
    """(n,) vertices of which any two chosen faces meet in what they share and nowhere else. False says nothing.

    Seen along an axis along which all faces round a vertex face the same way, each face fills a sector of less
    than half a turn. Where every edge of the vertex has one face on either side, the sectors follow one
    another; where they fill one turn in all, they are apart, and so are the faces in space. The turns are
    counted by how often the way round passes from below the vertex to beside or above it: comparisons of
    coordinates, which are exact.
    table : of all faces; is_chosen (m,): a vertex with a face that is not chosen is not calm
    """
    faces = table.faces
    count = len(vertices)
    valence = np.bincount(faces.ravel(), minlength=count)
    is_open = np.zeros(count, dtype=bool)
    is_open[_loose_ends(table)] = True
    is_open[faces[~is_chosen].ravel()] = True
    is_calm = np.zeros(count, dtype=bool)
    signs = _sure_signs(vertices, faces)
    for axis in range(3):
        facing = np.bincount(faces.ravel(), weights=np.repeat(signs[axis], 3), minlength=count)
        is_even = (np.abs(facing) == valence) & (valence > 0) & ~is_open & ~is_calm
        if not is_even.any():
            continue
        turns = _count_turns(vertices[:, axis - 1], faces, facing > 0)
        is_calm |= is_even & (turns == 1)
    return is_calm


def _loose_ends(table: EdgeTable) -> IntArray:
    """Vertices of edges that do not have two faces which run through them in opposite senses."""
    halves, tails = table.halves, table.tails(table.halves)
    first = table.starts[table.counts == 2]
    opposite = first[tails[first] != tails[first + 1]]
    is_loose = np.ones(len(halves), dtype=bool)
    is_loose[opposite] = is_loose[opposite + 1] = False
    return np.concatenate([tails[is_loose], table.heads(halves[is_loose])])


def _sure_signs(vertices: Array, faces: IntArray) -> Array:
    """(3, m) sign of each component of the normals; 0 where rounding could have turned it."""
    a, b, c = corners_of(vertices, faces)
    u, v = b - a, c - a
    signs = np.zeros((3, len(faces)))
    for axis in range(3):
        one, other = u[:, axis - 2] * v[:, axis - 1], u[:, axis - 1] * v[:, axis - 2]
        value = one - other
        signs[axis] = np.where(np.abs(value) > _UNSURE * (np.abs(one) + np.abs(other)), np.sign(value), 0.0)
    return signs


def _count_turns(height: Array, faces: IntArray, is_forward: BoolArray) -> IntArray:
    """(n,) how often the way round each vertex, counter-clockwise as seen, comes up from below it."""
    turns = np.zeros(len(height), dtype=np.int64)
    h = height[faces]
    for k in range(3):
        after, before = h[:, (k + 1) % 3] < h[:, k], h[:, k - 1] < h[:, k]
        forward = is_forward[faces[:, k]]
        comes_up = np.where(forward, after & ~before, before & ~after)
        turns += np.bincount(faces[comes_up, k], minlength=len(height))
    return turns
