"""Cutting a mesh at a height, so that its first layers can be moved apart from the rest."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray

_ON_CUT_MM = 1e-7  # a vertex this near to the height lies on it


def cut_at_height(vertices: Array, faces: IntArray, height_mm: float) -> tuple[Array, IntArray]:
    """The same surface with an edge wherever it crosses a height: vertices (n, k), faces (m, 3).

    No face reaches from below the height to above it; the given vertices come first, unchanged. Each edge
    that crosses is cut in one point, which both its faces share, so that a closed mesh stays closed.

    vertices : (n, k) [mm] x, y, z, and whatever else varies evenly along an edge
    """
    above = vertices[:, 2] - height_mm
    side = np.where(np.abs(above) <= _ON_CUT_MM, 0, np.sign(above)).astype(np.int64)
    of_face = side[faces]
    crosses = (of_face.min(axis=1) < 0) & (of_face.max(axis=1) > 0)
    if not crosses.any():
        return vertices, faces
    cut = _Cut.of(vertices, faces[crosses], side, height_mm)
    pieces = [faces[~crosses], *cut.pieces(faces[crosses], side)]
    return np.vstack([vertices, cut.points]), np.vstack(pieces)


class _Cut:
    """The points in which edges cross the height, found by their edge."""

    def __init__(self, points: Array, keys: IntArray, count: int) -> None:
        self.points = points
        self._keys = keys
        self._count = count

    @classmethod
    def of(cls, vertices: Array, faces: IntArray, side: IntArray, height_mm: float) -> _Cut:
        ends = np.sort(np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
        ends = ends[side[ends[:, 0]] * side[ends[:, 1]] < 0]
        keys = np.unique(ends[:, 0] * len(vertices) + ends[:, 1])
        low, high = vertices[keys // len(vertices)], vertices[keys % len(vertices)]
        share = (height_mm - low[:, 2]) / (high[:, 2] - low[:, 2])
        points = low + share[:, None] * (high - low)
        points[:, 2] = height_mm
        return cls(points, keys, len(vertices))

    def find(self, one: IntArray, other: IntArray) -> IntArray:
        """Numbers of the points on the edges between two vertices each."""
        keys = np.minimum(one, other) * self._count + np.maximum(one, other)
        found: IntArray = self._count + np.searchsorted(self._keys, keys)
        return found

    def pieces(self, faces: IntArray, side: IntArray) -> list[IntArray]:
        """The faces that cross, cut: into two where a corner lies on the height, else into three."""
        through = (side[faces] == 0).any(axis=1)
        return [*self._halves(faces[through], side), *self._thirds(faces[~through], side)]

    def _halves(self, faces: IntArray, side: IntArray) -> list[IntArray]:
        a, b, c = _turn(faces, side[faces] == 0).T
        middle = self.find(b, c)
        return [np.column_stack([a, b, middle]), np.column_stack([a, middle, c])]

    def _thirds(self, faces: IntArray, side: IntArray) -> list[IntArray]:
        of_face = side[faces]
        alone = of_face != np.sign(of_face.sum(axis=1))[:, None]
        a, b, c = _turn(faces, alone).T
        first, last = self.find(a, b), self.find(a, c)
        return [
            np.column_stack([a, first, last]),
            np.column_stack([first, b, c]),
            np.column_stack([first, c, last]),
        ]


def _turn(faces: IntArray, is_first: BoolArray) -> IntArray:
    """The same faces, each beginning with its marked corner."""
    start = is_first.argmax(axis=1)
    columns = (start[:, None] + np.arange(3)) % 3
    turned: IntArray = np.take_along_axis(faces, columns, axis=1)
    return turned
