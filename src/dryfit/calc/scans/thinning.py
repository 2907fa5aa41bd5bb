"""Fewer points of a scan, evenly spread, and their normals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, bounds_of

NEIGHBOURS = 16
# Share of the scatter of a neighbourhood that lies across it; above this it is no surface: an outlier, or an
# edge (common practice, no source).
MOST_THICKNESS = 0.09

# A cell with less than this share of the usual number of points is an outlier's (common practice, no source).
LEAST_CROWD = 0.15
_MOST_CELLS = 1 << 23  # of a grid that is counted out in full; a larger one is sorted


@dataclass(frozen=True, slots=True, eq=False)
class ThinScan:
    """Some points of a scan.

    points (n, 3) [mm]    normals (n, 3) unit; outward where is_oriented, else of either sign
    is_sound (n,) the neighbourhood is a surface
    """

    points: Array
    normals: Array
    is_sound: BoolArray
    is_oriented: bool


def voxel_keys(points: Array, cell_mm: float, low: Array) -> IntArray:
    """Number (n,) of the cell of a grid that each point lies in."""
    cell = np.floor((points - low) / cell_mm).astype(np.int64)
    size = cell.max(axis=0) + 1
    key: IntArray = (cell[:, 0] * size[1] + cell[:, 1]) * size[2] + cell[:, 2]
    return key


def drop_sparse(points: Array, cell_mm: float) -> IntArray:
    """Indices of points in cells of a grid that hold no far fewer points than the one a usual point lies in.

    On a surface points stand dense, outliers in the room stand alone; picked evenly they would outnumber the
    surface. Where the whole scan is sparse nothing is dropped.
    """
    key = voxel_keys(points, cell_mm, bounds_of(points)[0])
    if int(key.max(initial=0)) >= _MOST_CELLS:
        key = np.unique(key, return_inverse=True)[1].reshape(-1)
    held = np.bincount(key)[key]
    kept: IntArray = np.flatnonzero(held >= LEAST_CROWD * np.median(held))
    return kept


def pick_even(points: Array, cell_mm: float, seed: int = 1) -> IntArray:
    """Indices of one point per cell of a grid, chosen at random but the same each time."""
    order = np.random.default_rng(seed).permutation(len(points))
    key = voxel_keys(points, cell_mm, bounds_of(points)[0])[order]
    if int(key.max(initial=0)) >= _MOST_CELLS:
        _, first = np.unique(key, return_index=True)
        return np.sort(order[first])
    # Written backwards, so that the first of each cell stays.
    taken = np.full(int(key.max(initial=0)) + 1, -1, dtype=np.int64)
    taken[key[::-1]] = order[::-1]
    return np.sort(taken[taken >= 0])


def pick_about(points: Array, count: int, cell_mm: float, seed: int = 1) -> IntArray:
    """Indices of about `count` points, evenly spread; all where there are no more. cell_mm: a first try."""
    if len(points) <= count:
        return np.arange(len(points))
    few = points
    if len(points) > 8 * count:
        few = points[np.random.default_rng(seed).choice(len(points), 8 * count, replace=False)]
    cell = cell_mm
    for _ in range(12):
        held = _count_cells(voxel_keys(few, cell, bounds_of(few)[0]))
        if 0.7 * count <= held <= 1.4 * count or held >= 0.95 * len(few):
            break
        cell *= float(np.clip(np.sqrt(held / count), 0.25, 4.0))
    kept = pick_even(points, cell, seed)
    if len(kept) > 1.5 * count:
        kept = np.sort(np.random.default_rng(seed).choice(kept, count, replace=False))
    return kept


def _count_cells(key: IntArray) -> int:
    if int(key.max(initial=0)) < _MOST_CELLS:
        return int(np.count_nonzero(np.bincount(key)))
    ranked = np.sort(key)
    return 1 + int(np.count_nonzero(ranked[1:] != ranked[:-1]))


def thin_scan(points: Array, normals: Array | None, count: int, cell_mm: float, seed: int = 1) -> ThinScan:
    """About `count` points with normals, from those of their neighbours where none are given.

    points (n, 3) [mm]; normals (n, 3) outward, or None
    Source of the normals: least principal axis of the neighbours, Hoppe and others 1992 (memory).
    """
    chosen = pick_about(points, count, cell_mm, seed)
    kept = points[chosen]
    found, thickness = _principal(kept, points)
    if normals is None:
        return ThinScan(kept, found, thickness < MOST_THICKNESS, False)
    given = normals[chosen]
    return ThinScan(kept, given, np.ones(len(kept), dtype=np.bool_), True)


def _principal(kept: Array, points: Array) -> tuple[Array, Array]:
    """Least principal axes of neighbourhoods among points up to some times as many, and their thickness."""
    from scipy.spatial import cKDTree

    among = points
    if len(points) > 6 * len(kept):
        draw = np.random.default_rng(2).choice(len(points), 6 * len(kept), replace=False)
        among = points[draw]
    tree = cKDTree(among)
    near = min(NEIGHBOURS, len(among))
    _, index = tree.query(kept, k=near, workers=2)
    local = among[np.atleast_2d(index)]
    # The median stands where the mean would run after an outlier.
    local = local - np.median(local, axis=1, keepdims=True)
    spread = np.einsum("nki,nkj->nij", local, local)
    values, vectors = np.linalg.eigh(spread)
    thickness = values[:, 0] / np.maximum(values.sum(axis=1), 1e-300)
    return np.ascontiguousarray(vectors[:, :, 0]), thickness
