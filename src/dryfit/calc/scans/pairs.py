"""Candidate poses from pairs of points with normals that the scan and the part have alike.

A pair of points is known by their distance and by three angles: between the normals, and between each normal and
the line from one to the other. Two like pairs give one pose. Source of the pair and its four figures: Drost and
others, CVPR 2010 (memory); the search with consensus is this project's own.
"""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray

_DISTANCE_STEPS = 24  # to the diagonal of the part
_ANGLE_STEP = 0.25  # of a cosine
_LEAST_SHARE, _MOST_SHARE = 0.12, 1.0  # distance of a pair, as a share of the diagonal


class PairTable:
    """Pairs of samples of the part, ordered by their figures.

    points (s, 3) [mm], normals (s, 3); diagonal_mm of the part
    """

    def __init__(self, points: Array, normals: Array, diagonal_mm: float) -> None:
        self.points, self.normals, self.diagonal_mm = points, normals, diagonal_mm
        first, second = (axis.ravel() for axis in np.meshgrid(*[np.arange(len(points))] * 2, indexing="ij"))
        apart = first != second
        first, second = first[apart], second[apart]
        figures, distance = _figures(points[first], normals[first], points[second], normals[second])
        keep = (distance > _LEAST_SHARE * diagonal_mm) & _is_telling(figures)
        code = self._code(figures[keep], distance[keep], np.zeros(int(keep.sum()), dtype=np.int64))
        order = np.argsort(code, kind="stable")
        self._codes = code[order]
        self._first, self._second = first[keep][order], second[keep][order]

    def _code(self, figures: Array, distance: Array, shift: IntArray) -> IntArray:
        step = np.floor(distance / self.diagonal_mm * _DISTANCE_STEPS).astype(np.int64) + shift
        angles = np.floor((figures + 1.0) / _ANGLE_STEP).astype(np.int64)
        code: IntArray = ((step * 16 + angles[:, 0]) * 16 + angles[:, 1]) * 16 + angles[:, 2]
        return code

    def poses(
        self, points: Array, normals: Array, is_oriented: bool, pairs: int, per_pair: int, seed: int
    ) -> tuple[Array, Array]:
        """Rotations (p, 3, 3) and shifts (p, 3) that lay pairs of the scan on like pairs of the part."""
        draw = np.random.default_rng(seed)
        first, second = self._choose(points, normals, pairs, draw)
        signs = [(1.0, 1.0)] if is_oriented else [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)]
        turns, shifts = [], []
        for one, two in signs:
            a, na, b, nb = points[first], one * normals[first], points[second], two * normals[second]
            figures, distance = _figures(a, na, b, nb)
            code = self._code(figures, distance, np.zeros(len(a), dtype=np.int64))
            low, high = np.searchsorted(self._codes, code), np.searchsorted(self._codes, code, side="right")
            held = high - low
            scan = np.flatnonzero(held)
            scan = np.repeat(scan, per_pair)
            match = low[scan] + (draw.random(len(scan)) * held[scan]).astype(np.int64)
            turn, shift = self._lay(a[scan], na[scan], b[scan], nb[scan], match)
            turns.append(turn)
            shifts.append(shift)
        return np.concatenate(turns), np.concatenate(shifts)

    def _choose(
        self, points: Array, normals: Array, pairs: int, draw: np.random.Generator
    ) -> tuple[IntArray, IntArray]:
        """Pairs whose distance a part can have and whose normals tell much, out of twelve times as many."""
        first, second = draw.integers(0, len(points), (2, 12 * pairs))
        figures, distance = _figures(points[first], normals[first], points[second], normals[second])
        share = distance / self.diagonal_mm
        fits = (share > _LEAST_SHARE) & (share < _MOST_SHARE) & _is_telling(figures)
        first, second = first[fits], second[fits]
        # Normals that stand square to one another hold five motions, parallel ones only three.
        telling = 1.05 - np.abs(figures[fits, 0])
        if len(first) > pairs:
            chosen = draw.choice(len(first), pairs, replace=False, p=telling / telling.sum())
            first, second = first[chosen], second[chosen]
        return first, second

    def _lay(self, a: Array, na: Array, b: Array, nb: Array, match: IntArray) -> tuple[Array, Array]:
        one, two = self._first[match], self._second[match]
        from_scan = _frames(a, na, b, nb)
        p, q = self.points[one], self.points[two]
        on_part = _frames(p, self.normals[one], q, self.normals[two])
        turn = on_part @ from_scan.transpose(0, 2, 1)
        middle = 0.5 * (a + b)
        shift = 0.5 * (p + q) - np.einsum("pij,pj->pi", turn, middle)
        return turn, shift


def _figures(a: Array, na: Array, b: Array, nb: Array) -> tuple[Array, Array]:
    """Cosines (n, 3) between the normals, and of each with the line; distance (n,)."""
    line = b - a
    distance = np.linalg.norm(line, axis=1)
    unit = line / np.maximum(distance, 1e-300)[:, None]
    cosines = np.stack([(na * nb).sum(axis=1), (na * unit).sum(axis=1), (nb * unit).sum(axis=1)], axis=1)
    return np.clip(cosines, -1.0, 1.0), distance


def _is_telling(figures: Array) -> BoolArray:
    """Whether the turn about the line is told: a normal stands off the line."""
    told: BoolArray = np.minimum(np.abs(figures[:, 1]), np.abs(figures[:, 2])) < 0.94
    return told


def _frames(a: Array, na: Array, b: Array, nb: Array) -> Array:
    """Axes (n, 3, 3) as columns: the line, the normal that stands farther off it, and across both."""
    line = b - a
    line = line / np.maximum(np.linalg.norm(line, axis=1), 1e-300)[:, None]
    first = na - (na * line).sum(axis=1)[:, None] * line
    second = nb - (nb * line).sum(axis=1)[:, None] * line
    # The sum steadies both; where they oppose one another the difference does.
    together = first + np.where(((first * second).sum(axis=1) >= 0)[:, None], second, -second)
    side = together / np.maximum(np.linalg.norm(together, axis=1), 1e-300)[:, None]
    return np.stack([line, side, np.cross(line, side)], axis=2)
