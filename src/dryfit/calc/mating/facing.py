"""Which flat pieces of two parts face each other within the gap."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.mating.planes import FlatPieces
from dryfit.calc.mating.prepared import PreparedPart
from dryfit.calc.mating.surface import boxes_meet, lengths
from dryfit.model.project import Search

# A piece below this share of the least area is a crumb of the mesh, not a piece of a face.
CRUMB_SHARE = 0.01
# Pairs that are compared at once: bounds the memory.
CHUNK = 4_000_000
# All but this share of the pieces, the largest, are found by a tree; its reach is that of the rest.
LARGE_SHARE = 0.03


def facing_pieces(first: PreparedPart, second: PreparedPart, box: Array, search: Search) -> IntArray:
    """(k, 2) pieces whose normals oppose and whose planes and boxes lie within the gap."""
    rows, columns = (_candidates(part, box, search) for part in (first, second))
    limit = 2 * np.sin(np.radians(search.max_angle_deg) / 2) + 1e-9
    found = [np.zeros((0, 2), dtype=np.int64)]
    for pairs in _possible(first.pieces, rows, second.pieces, columns, search.max_gap_mm, limit):
        lean = lengths(first.pieces.normals[pairs[:, 0]] + second.pieces.normals[pairs[:, 1]])
        pairs = pairs[lean <= limit]
        found.append(pairs[_is_near(first, second, pairs, search)])
    return np.concatenate(found)


def rounding_mm(first: PreparedPart, second: PreparedPart) -> float:
    """By how much single precision may have moved two faces apart."""
    return 1e-6 + 2 * max(first.surface.noise_mm, second.surface.noise_mm)


def _possible(
    a: FlatPieces, rows: IntArray, b: FlatPieces, columns: IntArray, gap_mm: float, limit: float
) -> Iterator[IntArray]:
    """Every pair that may face each other, in portions (k, 2)."""
    if len(rows) * len(columns) <= CHUNK:
        yield from _opposed(a, rows, b, columns, limit)
        return
    sizes = [lengths(pieces.upper - pieces.lower) for pieces in (a, b)]
    reach = float(np.quantile(np.concatenate([sizes[0][rows], sizes[1][columns]]), 1 - LARGE_SHARE))
    small_rows, small_columns = rows[sizes[0][rows] <= reach], columns[sizes[1][columns] <= reach]
    yield from _opposed(a, np.setdiff1d(rows, small_rows), b, columns, limit)
    yield from _opposed(a, small_rows, b, np.setdiff1d(columns, small_columns), limit)
    yield from _close_and_opposed(a, small_rows, b, small_columns, 2 * reach + gap_mm, limit)


def _opposed(
    a: FlatPieces, rows: IntArray, b: FlatPieces, columns: IntArray, limit: float
) -> Iterator[IntArray]:
    step = max(1, CHUNK // max(1, len(columns)))
    for start in range(0, len(rows), step):
        some = rows[start : start + step]
        cosines = -(a.normals[some] @ b.normals[columns].T)
        i, j = np.nonzero(cosines >= 1 - limit**2 / 2 - 1e-9)
        yield np.column_stack([some[i], columns[j]])


def _close_and_opposed(
    a: FlatPieces, rows: IntArray, b: FlatPieces, columns: IntArray, reach_mm: float, limit: float
) -> Iterator[IntArray]:
    """Place and normal, each in units of what may lie between two pieces, in one tree of six dimensions."""
    from scipy.spatial import cKDTree

    tree = cKDTree(np.hstack([b.centroids[columns] / reach_mm, -b.normals[columns] / limit]))
    points = np.hstack([a.centroids[rows] / reach_mm, a.normals[rows] / limit])
    step = 1000
    for start in range(0, len(rows), step):
        lists = tree.query_ball_point(points[start : start + step], 1.0 + 1e-9, p=np.inf)
        counts = [len(near) for near in lists]
        near = np.concatenate([np.asarray(near, dtype=np.int64) for near in lists])
        yield np.column_stack([np.repeat(rows[start : start + step], counts), columns[near]])


def _candidates(part: PreparedPart, box: Array, search: Search) -> IntArray:
    """Pieces in the box that can be part of a flat face; a facet of a curve must make one by itself."""
    pieces = part.pieces
    is_facet = (part.convex >= 0) | (part.concave >= 0)
    least = np.where(is_facet, 1.0, CRUMB_SHARE) * search.min_area_mm2
    inside = boxes_meet(pieces.lower, pieces.upper, box)
    return np.flatnonzero(inside & (pieces.areas >= least))


def _is_near(first: PreparedPart, second: PreparedPart, pairs: IntArray, search: Search) -> BoolArray:
    """Boxes within the gap, gap at their middle within what tilt can make of it; not both of one curve."""
    a, b = first.pieces, second.pieces
    i, j = pairs.T
    lower, upper = np.maximum(a.lower[i], b.lower[j]), np.minimum(a.upper[i], b.upper[j])
    near: BoolArray = (lower - upper <= search.max_gap_mm + rounding_mm(first, second)).all(axis=1)
    middle = (lower + upper) / 2
    gap = np.einsum("kx,kx->k", middle - a.centroids[i], a.normals[i])
    gap += np.einsum("kx,kx->k", middle - b.centroids[j], b.normals[j])
    reach = np.sqrt((np.maximum(upper - lower, 0) ** 2).sum(axis=1)) / 2 + search.max_gap_mm
    tilt = np.sqrt(((a.normals[i] + b.normals[j]) ** 2).sum(axis=1))
    near &= np.abs(gap) <= search.max_gap_mm + rounding_mm(first, second) + tilt * reach
    # A shaft in a hole is one round joint, not dozens of strips.
    round_ = (first.convex[i] >= 0) & (second.concave[j] >= 0)
    round_ |= (first.concave[i] >= 0) & (second.convex[j] >= 0)
    near &= ~round_
    return near
