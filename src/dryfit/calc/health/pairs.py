"""Which boxes overlap which: a tree over boxes in Morton order, walked level by level in whole arrays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, IntArray, bounds_of

_FAN = 4  # children of a node
_CHUNK = 1 << 15  # pairs of nodes that are opened at a time
_BITS = 21  # of a Morton code, per axis
_Index = npt.NDArray[np.int64]
_Bounds = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class PairChunk:
    """Pairs of boxes that overlap, first[i] < second[i] not promised; done: share of the search so far."""

    first: IntArray
    second: IntArray
    done: float


def overlapping_pairs(low: Array, high: Array) -> Iterator[PairChunk]:
    """All pairs of closed boxes low, high (n, 3) that overlap or touch, each once, some at a time.

    Boxes are rounded outwards to single precision, so that some pairs more may come, none less.
    """
    if len(low) < 2:
        return
    order = morton_order((low + high) / 2.0)
    levels = _build_levels(low[order], high[order])
    zero = np.zeros(1, dtype=np.int64)
    stack: list[tuple[int, _Index, _Index, float]] = [(len(levels), zero, zero, 1.0)]
    done = 0.0
    while stack:
        level, first, second, weight = stack.pop()
        if len(first) > _CHUNK:
            pieces = -(-len(first) // _CHUNK)
            for a, b in zip(np.array_split(first, pieces), np.array_split(second, pieces), strict=True):
                stack.append((level, a, b, weight / pieces))
            continue
        first, second = _open(levels[level - 1], first, second, is_last=level == 1)
        if level > 1 and len(first):
            stack.append((level - 1, first, second, weight))
            continue
        done += weight
        if len(first):
            yield PairChunk(order[first], order[second], min(done, 1.0))


def morton_order(points: Array) -> IntArray:
    """Indices that put points (n, 3) in the order of a Z-shaped curve through space: near ones stay near."""
    low, high = bounds_of(points)
    extent = float((high - low).max())
    scale = (2**_BITS - 1) / extent if extent > 0 else 0.0
    if not np.isfinite(scale):
        scale = 0.0
    code = np.zeros(len(points), dtype=np.uint64)
    for axis in range(3):
        cells = ((points[:, axis] - low[axis]) * scale).astype(np.uint64)
        code |= _spread(cells) << np.uint64(axis)
    return np.argsort(code, kind="stable")


def _spread(cells: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Two empty bits between any two bits of a 21-bit number."""
    for shift, mask in (
        (32, 0x1F00000000FFFF),
        (16, 0x1F0000FF0000FF),
        (8, 0x100F00F00F00F00F),
        (4, 0x10C30C30C30C30C3),
        (2, 0x1249249249249249),
    ):
        cells = (cells | (cells << np.uint64(shift))) & np.uint64(mask)
    return cells


def _build_levels(low: Array, high: Array) -> list[_Bounds]:
    """Bounds (6, 4, n) of every level: six bounds of four neighbours, the boxes themselves first.

    Padded with boxes that overlap nothing.
    """
    middle = (bounds_of(low)[0] + bounds_of(high)[1]) / 2.0
    bounds = np.empty((6, len(low)), dtype=np.float32)
    # The shift and the rounding together stay within one step of single precision, so one step more outwards
    # is on the safe side.
    bounds[:3] = np.nextafter((low - middle).astype(np.float32), np.float32(-np.inf)).T
    bounds[3:] = np.nextafter((high - middle).astype(np.float32), np.float32(np.inf)).T
    levels = []
    while True:
        missing = -bounds.shape[1] % _FAN
        if missing:
            empty = np.full((6, missing), np.inf, dtype=np.float32)
            empty[3:] = -np.inf
            bounds = np.concatenate([bounds, empty], axis=1)
        grouped = np.ascontiguousarray(bounds.reshape(6, -1, _FAN).transpose(0, 2, 1))
        levels.append(grouped)
        if grouped.shape[2] == 1:
            return levels
        bounds = np.concatenate([grouped[:3].min(axis=1), grouped[3:].max(axis=1)])


def _open(bounds: _Bounds, first: _Index, second: _Index, is_last: bool) -> tuple[_Index, _Index]:
    """Pairs of children that overlap; of a node with itself, each pair once."""
    # (bound, child, pair): the long axis last, so that whole rows are compared at once.
    one, other = bounds.take(first, axis=2), bounds.take(second, axis=2)
    meets = np.empty((len(first), _FAN, _FAN), dtype=bool)
    for i in range(_FAN):
        for j in range(_FAN):
            is_met = one[0, i] <= other[3, j]
            is_met &= one[3, i] >= other[0, j]
            for axis in (1, 2):
                is_met &= one[axis, i] <= other[axis + 3, j]
                is_met &= one[axis + 3, i] >= other[axis, j]
            meets[:, i, j] = is_met
    own = np.flatnonzero(first == second)
    meets[own] &= np.triu(np.ones((_FAN, _FAN), dtype=bool), 1 if is_last else 0)
    flat = np.flatnonzero(meets)
    node, child = flat >> 4, flat & 15
    return first[node] * _FAN + (child >> 2), second[node] * _FAN + (child & 3)
