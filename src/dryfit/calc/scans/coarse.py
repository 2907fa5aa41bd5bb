"""Where a scan may lie on a part, without a first guess: poses by consensus, best first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.scans.grid import DistanceGrid
from dryfit.calc.scans.pairs import PairTable
from dryfit.calc.scans.rigid import RigidMotion
from dryfit.calc.scans.sampled import ClosestSurface, quick_surface
from dryfit.calc.scans.surface import NominalSurface
from dryfit.calc.scans.thinning import ThinScan

_TABLE_POINTS = 700  # samples of the part whose pairs are tabled
_GRID_POINTS = 30_000  # samples of the part in the grid
REACH_SHARE = 0.045  # of the diagonal, within which a point counts as on the part at first
_PAIRS, _PER_PAIR = 1600, 12
# Points by which poses are scored, and how many of the poses go on to the next score.
_FIRST_POINTS, _THEN_POINTS, _LAST_POINTS = 56, 200, 600
_FIRST_KEPT, _THEN_KEPT = 8000, 1500
_SPREAD = 80  # poses drawn closer
SAME_TURN, SAME_SHIFT = math.radians(12.0), 0.05  # nearer poses than this (share of the diagonal) are one


@dataclass(frozen=True, slots=True, eq=False)
class PartModel:
    """What the coarse search needs of a part, made once: grid, table of pairs, and a surface quick to look up."""

    surface: NominalSurface
    quick: ClosestSurface
    grid: DistanceGrid
    table: PairTable


def prepare_part(surface: NominalSurface) -> PartModel:
    """Grid and table of pairs of a part."""
    points, normals, triangle = surface.sample(_GRID_POINTS)
    grid = DistanceGrid(points, normals, REACH_SHARE * surface.diagonal_mm)
    chosen = even_over_normals(normals, _TABLE_POINTS, seed=3)
    table = PairTable(points[chosen], normals[chosen], surface.diagonal_mm)
    return PartModel(surface, quick_surface(surface, grid, triangle), grid, table)


def find_poses(model: PartModel, scan: ThinScan, most: int = 24, seed: int = 1) -> tuple[RigidMotion, ...]:
    """Up to `most` poses (scan to part) that lay the scan on the part, best first, none alike.

    Pairs of the scan are laid on like pairs of the part; the poses are scored by how many points come near
    the part with a normal that agrees, and the best are drawn closer by least squares.
    """
    sound = np.flatnonzero(scan.is_sound)
    if len(sound) < 50:
        sound = np.arange(len(scan.points))
    points, normals = scan.points[sound], scan.normals[sound]
    some = even_over_normals(normals, min(len(points), 900), seed)
    turns, shifts = model.table.poses(points[some], normals[some], scan.is_oriented, _PAIRS, _PER_PAIR, seed)
    axes = _axes_poses(model, points, normals)
    turns, shifts = np.concatenate([turns, axes[0]]), np.concatenate([shifts, axes[1]])
    return _best(model, turns, shifts, scan, points, normals, most, seed)


def _best(
    model: PartModel,
    turns: Array,
    shifts: Array,
    scan: ThinScan,
    points: Array,
    normals: Array,
    most: int,
    seed: int,
) -> tuple[RigidMotion, ...]:
    draw = np.random.default_rng(seed)
    order = draw.permutation(len(points))
    # Half of the points even over the surface, half over the normals: small faces tell much.
    even = even_over_normals(normals, min(len(points), _LAST_POINTS // 2), seed + 1)
    more = np.concatenate([order[: _LAST_POINTS // 2], even])
    grid, is_oriented = model.grid, scan.is_oriented
    kept = np.arange(len(turns))
    for few, most_kept in (
        (order[:_FIRST_POINTS], _FIRST_KEPT),
        (order[:_THEN_POINTS], _THEN_KEPT),
        (more, _THEN_KEPT),
    ):
        score = grid.score(turns[kept], shifts[kept], points[few], normals[few], is_oriented)
        kept = kept[np.argsort(-score, kind="stable")[:most_kept]]
    centre = points.mean(axis=0)
    spread = distinct_poses(turns[kept], shifts[kept], centre, model.surface.diagonal_mm, _SPREAD)
    turn, shift = grid.draw_closer(
        turns[kept][spread], shifts[kept][spread], points[more], normals[more], is_oriented
    )
    final = grid.score(turn, shift, points[more], normals[more], is_oriented)
    order = np.argsort(-final)
    last = distinct_poses(turn[order], shift[order], centre, model.surface.diagonal_mm, most, 0.5)
    return tuple(RigidMotion(_square(turn[k]), shift[k]) for k in order[last])


def distinct_poses(
    turns: Array, shifts: Array, centre: Array, diagonal_mm: float, most: int, factor: float = 1.0
) -> Sequence[int]:
    """Indices of poses, in their order, none nearer to an earlier one than a given turn and shift of the centre."""
    places = turns @ centre + shifts
    kept: list[int] = []
    cosine = math.cos(factor * SAME_TURN)
    for k in range(len(turns)):
        if kept:
            trace = np.einsum("pij,ij->p", turns[kept], turns[k])
            near = (0.5 * (trace - 1.0) > cosine) & (
                np.linalg.norm(places[kept] - places[k], axis=1) < factor * SAME_SHIFT * diagonal_mm
            )
            if near.any():
                continue
        kept.append(k)
        if len(kept) == most:
            break
    return kept


def even_over_normals(normals: Array, count: int, seed: int) -> IntArray:
    """Indices of points drawn so that rare directions of the normal come as often as common ones.

    Source: Rusinkiewicz and Levoy 2001, normal-space sampling (memory). Half is drawn plainly.
    """
    draw = np.random.default_rng(seed)
    bins = np.floor((normals + 1.0) * 2.0).astype(np.int64).clip(0, 3) @ np.array([16, 4, 1])
    held = np.bincount(bins, minlength=64)[bins]
    share = 0.5 / len(normals) + 0.5 / (held * len(np.unique(bins)))
    return np.asarray(
        draw.choice(len(normals), min(count, len(normals)), replace=False, p=share / share.sum()),
        dtype=np.int64,
    )


def _axes_poses(model: PartModel, points: Array, normals: Array) -> tuple[Array, Array]:
    """The 24 ways to lay principal axes and middle of the scan on those of the part: good for whole scans."""
    goal = model.grid.points
    ours, theirs = _axes(points), _axes(goal)
    quarter = [
        np.eye(3)[:, list(order)]
        for order in ((0, 1, 2), (1, 2, 0), (2, 0, 1), (0, 2, 1), (2, 1, 0), (1, 0, 2))
    ]
    turns = []
    for base in quarter:
        for signs in ((1, 1), (1, -1), (-1, 1), (-1, -1)):
            turn = base * np.array([*signs, 1.0])
            turn = turn * np.array([1.0, 1.0, np.sign(np.linalg.det(turn))])
            turns.append(theirs @ turn @ ours.T)
    stacked = np.array(turns)
    middle = np.median(points, axis=0)
    return stacked, np.median(goal, axis=0) - stacked @ middle


def _axes(points: Array) -> Array:
    local = points - np.median(points, axis=0)
    far = np.linalg.norm(local, axis=1)
    local = local[far <= np.quantile(far, 0.9)]
    _, vectors = np.linalg.eigh(local.T @ local)
    if np.linalg.det(vectors) < 0:
        vectors[:, 0] *= -1.0
    return np.asarray(vectors)


def _square(turn: Array) -> Array:
    """The nearest rotation: many small steps leave rounding."""
    left, _, right = np.linalg.svd(turn)
    return np.asarray(left @ np.diag([1.0, 1.0, np.linalg.det(left @ right)]) @ right)
