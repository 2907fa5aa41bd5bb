"""Bodies of a mesh under work: how faces hang together, and which body lies in which."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.topology import EdgeTable, double_area_vectors


def connect(size: int, first: IntArray, other: IntArray) -> tuple[int, IntArray]:
    """Number of connected groups among size nodes, and the group of each."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if size == 0:
        return 0, np.zeros(0, dtype=np.int64)
    graph = coo_array((np.ones(len(first), dtype=np.int8), (first, other)), shape=(size, size))
    count, label = connected_components(graph.tocsr(), directed=False)
    return int(count), label.astype(np.int64)


def label_bodies(table: EdgeTable) -> tuple[int, IntArray]:
    """Number of bodies joined along edges, and the body of each face."""
    first, other = table.links
    return connect(len(table.faces), first // 3, other // 3)


def body_areas(vertices: Array, faces: IntArray, label: IntArray, count: int) -> Array:
    """(count,) area of each body [mm2]."""
    areas = np.linalg.norm(double_area_vectors(vertices, faces), axis=1) / 2.0
    return np.asarray(np.bincount(label, areas, count), dtype=np.float64)


def signed_volumes(vertices: Array, faces: IntArray, label: IntArray, count: int) -> Array:
    """(count,) volume of each body [mm3], about one of its own corners; without meaning for an open one."""
    about = np.zeros((count, 3))
    about[label] = vertices[faces[:, 0]]
    normals = double_area_vectors(vertices, faces)
    six = np.einsum("ij,ij->i", vertices[faces[:, 0]] - about[label], normals)
    return np.asarray(np.bincount(label, six, count), dtype=np.float64) / 6.0


def are_closed(table: EdgeTable, label: IntArray, count: int) -> BoolArray:
    """(count,) whether every edge of a body borders two faces."""
    is_closed = np.ones(count, dtype=bool)
    is_closed[label[table.halves[table.starts[table.counts != 2]] // 3]] = False
    return is_closed


class Enclosures:
    """Which closed bodies others lie in, by how often they go round points of them."""

    def __init__(self, vertices: Array, faces: IntArray, label: IntArray, count: int) -> None:
        self._vertices = vertices
        order = np.argsort(label, kind="stable")
        self._faces = faces[order]
        self._ends = np.searchsorted(label[order], np.arange(count + 1))
        corners = vertices[self._faces]
        self._low = np.minimum.reduceat(corners.min(axis=1), self._ends[:-1])
        self._high = np.maximum.reduceat(corners.max(axis=1), self._ends[:-1])

    def around(self, inner: int, outers: IntArray) -> IntArray:
        """Those of the bodies in outers that the body inner lies in."""
        is_near = (self._low[outers] < self._low[inner]).all(axis=1)
        is_near &= (self._high[outers] > self._high[inner]).all(axis=1)
        own = self._faces[self._ends[inner] : self._ends[inner + 1]]
        points = self._vertices[own[[0, len(own) // 2, -1]]].mean(axis=1)
        found = [outer for outer in outers[is_near].tolist() if self._goes_round(outer, points)]
        return np.array(found, dtype=np.int64)

    def _goes_round(self, outer: int, points: Array) -> bool:
        import igl

        faces = self._faces[self._ends[outer] : self._ends[outer + 1]]
        names, index = np.unique(faces, return_inverse=True)
        # About a corner of its box, so that a part far from the origin loses no digits.
        low = self._low[outer]
        turns = igl.fast_winding_number(
            np.ascontiguousarray(self._vertices[names] - low), index.reshape(-1, 3), points - low
        )
        return bool(np.median(np.abs(turns)) > 0.5)
