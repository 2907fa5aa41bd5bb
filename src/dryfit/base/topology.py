"""How triangles meet: every edge knows its faces."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dryfit.base.arrays import Array, IntArray, corners_of


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """The half edges of faces, those of one edge side by side.

    faces    (m, 3) indices; faces that name a vertex twice have no half edges here
    halves   (h,) half edge 3 f + k runs from corner k of face f to the next; sorted by edge
    starts   (e,) where each edge begins in halves
    """

    faces: IntArray
    halves: IntArray
    starts: IntArray

    @cached_property
    def counts(self) -> IntArray:
        """(e,) faces at each edge."""
        return np.diff(np.append(self.starts, len(self.halves)))

    @property
    def owners(self) -> IntArray:
        """(h,) the face of each half edge."""
        return self.halves // 3

    def tails(self, chosen: IntArray) -> IntArray:
        """The vertex that half edges start from."""
        tails: IntArray = self.faces.reshape(-1)[chosen]
        return tails

    def heads(self, chosen: IntArray) -> IntArray:
        """The vertex that half edges run to."""
        heads: IntArray = self.faces.reshape(-1)[chosen - chosen % 3 + (chosen % 3 + 1) % 3]
        return heads

    @cached_property
    def links(self) -> tuple[IntArray, IntArray]:
        """Half edges (first, other) of each edge: two for an edge between two faces, n - 1 pairs for n."""
        is_first = np.zeros(len(self.halves), dtype=bool)
        is_first[self.starts] = True
        leaders = np.repeat(self.halves[self.starts], self.counts)
        return leaders[~is_first], self.halves[~is_first]


def tabulate_edges(faces: IntArray, vertex_count: int) -> EdgeTable:
    """The edges of faces (m, 3); an edge is known by its two vertices, whichever way it is run through."""
    keys = np.empty(3 * len(faces), dtype=np.int64)
    for k in range(3):
        tail, head = faces[:, k], faces[:, (k + 1) % 3]
        keys[k::3] = np.minimum(tail, head) * vertex_count + np.maximum(tail, head)
    is_twice = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    if is_twice.any():
        kept = np.flatnonzero(np.repeat(~is_twice, 3))
        order = kept[np.argsort(keys[kept], kind="stable")]
    else:
        order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    is_new = np.ones(len(order), dtype=bool)
    is_new[1:] = ordered[1:] != ordered[:-1]
    return EdgeTable(faces, order, np.flatnonzero(is_new))


def double_area_vectors(vertices: Array, faces: IntArray) -> Array:
    """(m, 3) normals of faces, as long as twice their area."""
    a, b, c = corners_of(vertices, faces)
    u, v = b - a, c - a
    normals = np.empty_like(u)
    normals[:, 0] = u[:, 1] * v[:, 2] - u[:, 2] * v[:, 1]
    normals[:, 1] = u[:, 2] * v[:, 0] - u[:, 0] * v[:, 2]
    normals[:, 2] = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    return normals
