"""Wall thickness for the eye: a surface coloured by it, the scale of the colours, the area by thickness."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.view_meshes import Floats, Indices
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.thickness import ThicknessMap

# All of these are choices of drawing, no source.
WALL_BUDGET = 150_000  # triangles of all coloured surfaces together
MOST_OF_ONE = 20_000
LEAST_OF_ONE = 1_000
SPACING = 0.7  # edge that is aimed at, of the distance between samples
SIDE = 4.0  # a sample that looks the other way counts as so many spacings farther off
BINS = 28
NONE_MM = -1.0  # in the buffer: nothing faces the surface there
MOST_SHOWN = 0.75  # of the surface: thicker walls all look alike
_MULTIPLES = (1, 2, 4)  # of the extrusion width, marked on the scale


@dataclass(frozen=True, slots=True)
class WallScale:
    """The scale from thin to thick; equal ratios are equally far apart.

    high_mm   and more
    ticks_mm  round values, each twice to two and a half times the one before
    """

    low_mm: float
    high_mm: float
    ticks_mm: tuple[float, ...]

    def share(self, wall_mm: float) -> float:
        """Where a thickness lies on it, 0 to 1."""
        inside = min(max(wall_mm, self.low_mm), self.high_mm)
        return math.log(inside / self.low_mm) / math.log(self.high_mm / self.low_mm)


@dataclass(frozen=True, slots=True)
class WidthMark:
    """So many times the width of one printed line."""

    multiple: int
    width_mm: float

    @property
    def wall_mm(self) -> float:
        return self.multiple * self.width_mm


@dataclass(frozen=True, slots=True, eq=False)
class WallBars:
    """Area by thickness.

    edges_mm (b + 1,), area_mm2 (b,) of walls in each interval of the scale, what lies beyond it in the outermost
    open_mm2  area that nothing faces: it bounds no wall
    """

    edges_mm: Array
    area_mm2: Array
    open_mm2: float


def scale_walls(maps: Iterable[ThicknessMap], widths_mm: Sequence[float]) -> WallScale | None:
    """The scale that shows the walls of some parts together with the widths that they are held against.

    None where no wall was measured.
    """
    kept = [(item.wall_mm[is_wall(item)], item.area_mm2[is_wall(item)]) for item in maps]
    if not any(len(wall) for wall, _ in kept):
        return None
    wall, area = (np.concatenate(column) for column in zip(*kept, strict=True))
    order = np.argsort(wall)
    filled = np.cumsum(area[order])
    least = min(float(wall.min()), *widths_mm, math.inf)
    most = float(wall[order][np.searchsorted(filled, MOST_SHOWN * filled[-1])])
    most = max(most, *(_MULTIPLES[-1] * width for width in widths_mm), 2.0 * least)
    ticks = _round_values(max(least, most / 1000.0), most)
    return WallScale(ticks[0], ticks[-1], ticks)


def mark_widths(width_mm: float | None) -> tuple[WidthMark, ...]:
    """The multiples that are marked of one extrusion width; none where it is not stated."""
    return () if width_mm is None else tuple(WidthMark(multiple, width_mm) for multiple in _MULTIPLES)


def is_wall(measured: ThicknessMap) -> BoolArray:
    """(k,) whether a sample bounds a wall: something faces it."""
    return np.asarray(measured.thickness.is_wall & np.isfinite(measured.wall_mm))


def bar_walls(maps: Iterable[ThicknessMap], scale: WallScale) -> WallBars:
    """Area by thickness over the whole scale, of some parts together."""
    edges = np.geomspace(scale.low_mm, scale.high_mm, BINS + 1)
    area, open_mm2 = np.zeros(BINS), 0.0
    for item in maps:
        known = is_wall(item)
        inside = np.clip(item.wall_mm[known], scale.low_mm, scale.high_mm * (1.0 - 1e-12))
        number = np.clip(np.searchsorted(edges, inside, side="right") - 1, 0, BINS - 1)
        np.add.at(area, number, item.area_mm2[known])
        open_mm2 += float(item.area_mm2[~known].sum())
    return WallBars(edges, area, open_mm2)


def share_wall_budget(parts: int) -> int:
    """Triangles of the coloured surface of one of so many parts."""
    return int(np.clip(WALL_BUDGET // max(parts, 1), LEAST_OF_ONE, MOST_OF_ONE))


def pack_walls(positions: Floats, indices: Indices, measured: ThicknessMap, most: int) -> bytes:
    """A surface divided finely enough to be coloured, with the thickness at each corner.

    positions : (n, 3) [mm], indices : (m, 3) of the copy that the view shows
    Twelve little-endian float32 a triangle: x, y, z [mm] and thickness [mm] of each corner, by the nearest sample
    that looks the same way; NONE_MM where nothing faces the surface.
    """
    spacing = math.sqrt(float(measured.area_mm2.sum()) / len(measured.points))
    corners = divide(np.asarray(positions, dtype=np.float64)[indices], SPACING * spacing, most)
    wall = _even_out(_nearest_walls(corners, measured, spacing))
    packed = np.concatenate([corners, wall[:, :, None]], axis=2)
    return packed.astype("<f4").tobytes()


def divide(corners: Array, edge_mm: float, most: int) -> Array:
    """Triangles (m, 3, 3) halved across their longest edge until none is longer than edge_mm, or most are there."""
    while True:
        edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
        longest = edges.max(axis=1)
        room = most - len(corners)
        chosen = np.flatnonzero(longest > edge_mm)
        if not len(chosen) or room <= 0:
            return corners
        if len(chosen) > room:
            chosen = chosen[np.argsort(-longest[chosen], kind="stable")[:room]]
        corners = _halve(corners, chosen, edges[chosen].argmax(axis=1))


def _halve(corners: Array, chosen: IntArray, edge: IntArray) -> Array:
    rows = np.arange(len(chosen))
    start, end, apex = (corners[chosen][rows, (edge + k) % 3] for k in range(3))
    middle = 0.5 * (start + end)
    halves = [np.stack([start, middle, apex], axis=1), np.stack([middle, end, apex], axis=1)]
    kept = np.delete(corners, chosen, axis=0)
    return np.concatenate([kept, *halves])


def _nearest_walls(corners: Array, measured: ThicknessMap, spacing: float) -> Array:
    """(m, 3) thickness of the sample nearest to each corner; nan where that sample bounds no wall."""
    from scipy.spatial import cKDTree

    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    unit = normal / np.where(size > 0, size, 1.0)
    tree = cKDTree(np.hstack([measured.points / spacing, SIDE * measured.normals]))
    sides = np.repeat(SIDE * unit, 3, axis=0)
    _, nearest = tree.query(np.hstack([corners.reshape(-1, 3) / spacing, sides]))
    wall = np.where(is_wall(measured), measured.wall_mm, np.nan)
    return np.asarray(wall[nearest].reshape(-1, 3))


def _even_out(wall: Array) -> Array:
    """Triangles with and without walls at their corners made the one or the other: nothing lies between."""
    known = np.isfinite(wall)
    count = known.sum(axis=1)
    mean = np.where(known, wall, 0.0).sum(axis=1) / np.maximum(count, 1)
    filled = np.where(known, wall, mean[:, None])
    return np.where((count >= 2)[:, None], filled, NONE_MM)


def _round_values(low: float, high: float) -> tuple[float, ...]:
    """1, 2 and 5 times powers of ten, from the last below low to the first above high."""
    first, last = math.floor(math.log10(low)) - 1, math.ceil(math.log10(high)) + 1
    values = [factor * 10.0**power for power in range(first, last + 1) for factor in (1, 2, 5)]
    start = max(index for index, value in enumerate(values) if value <= low * (1 + 1e-9))
    end = min(index for index, value in enumerate(values) if value >= high * (1 - 1e-9))
    return tuple(float(f"{value:.6g}") for value in values[start : max(end, start + 1) + 1])
