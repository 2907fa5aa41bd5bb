"""Rows that are exactly equal: which is the first of each kind."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

_CHUNK = 1 << 16
# Odd 64-bit multipliers of a multiply-and-shift hash. Their only duty is to spread; equality is always
# decided on the coordinates themselves, so a bad spread costs time and never correctness.
_MULTIPLIERS = (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xD6E8FEB86659FD93)

_Rows = npt.NDArray[np.unsignedinteger]
_Index = npt.NDArray[np.integer]


def without_negative_zeros(points: npt.NDArray[np.floating]) -> npt.NDArray[np.floating]:
    """Adding zero turns -0.0 into 0.0, after which equal numbers have equal bits.

    A large array is copied only where there is something to change.
    """
    for start in range(0, len(points), _CHUNK):
        block = points[start : start + _CHUNK]
        if (np.signbit(block) & (block == 0)).any():
            return points + points.dtype.type(0.0)
    return points


def first_equal_rows(values: npt.NDArray[Any]) -> _Index:
    """For each row the index of the first row equal to it.

    values : (n, 3) finite numbers of 4 or 8 bytes, floating ones without -0.0 (see without_negative_zeros)
    Returns (n,) of the narrowest of int32 and int64 that holds it.
    Sorting whole numbers is several times faster than sorting rows: a key holds the hash of a row above
    its index, so that equal rows come to stand together with the earliest in front. Then every row is
    compared with its leader, and the few that only share a hash are sorted themselves.
    """
    values = np.ascontiguousarray(values)
    rows: _Rows = values.view(np.uint32 if values.dtype.itemsize == 4 else np.uint64)
    if len(rows) == 0:
        return np.zeros(0, dtype=np.int64)
    first: _Index = np.empty(len(rows), dtype=np.int32 if len(rows) < 2**31 else np.int64)
    index_bits = np.uint64(max(1, int(len(rows) - 1).bit_length()))
    keys = _sorted_keys(rows, index_bits)
    lead, last_hash = 0, None
    for start in range(0, len(keys), _CHUNK):
        key = keys[start : start + _CHUNK]
        index = (key & ((np.uint64(1) << index_bits) - np.uint64(1))).astype(np.int64)
        hashed = key >> index_bits
        is_new = np.ones(len(key), dtype=bool)
        is_new[1:] = hashed[1:] != hashed[:-1]
        is_new[0] = last_hash is None or hashed[0] != last_hash
        begins = np.flatnonzero(is_new)
        leaders = index[begins]
        if not is_new[0]:  # the run goes on from the chunk before
            begins, leaders = np.append(0, begins), np.append(lead, leaders)
        first[index] = np.repeat(leaders, np.diff(np.append(begins, len(key))))
        lead, last_hash = int(leaders[-1]), hashed[-1]
    del keys
    strangers = [
        np.flatnonzero(_differ(rows[start : start + _CHUNK], rows[first[start : start + _CHUNK]])) + start
        for start in range(0, len(rows), _CHUNK)
    ]
    _settle_by_sorting(rows, first, np.concatenate(strangers))
    return first


def _sorted_keys(rows: _Rows, index_bits: np.uint64) -> npt.NDArray[np.uint64]:
    """Hash of each row in the upper bits, its index in the lower ones, ascending."""
    keys = np.empty(len(rows), dtype=np.uint64)
    for start in range(0, len(rows), _CHUNK):
        stop = min(start + _CHUNK, len(rows))
        key = _hash_rows(rows[start:stop]) >> index_bits << index_bits
        keys[start:stop] = key | np.arange(start, stop, dtype=np.uint64)
    keys.sort()
    return keys


def _differ(mine: _Rows, theirs: _Rows) -> npt.NDArray[np.bool_]:
    """Whether any of the three columns differs, row by row."""
    differs: npt.NDArray[np.bool_] = mine[:, 0] != theirs[:, 0]
    differs |= mine[:, 1] != theirs[:, 1]
    differs |= mine[:, 2] != theirs[:, 2]
    return differs


def _hash_rows(rows: _Rows) -> npt.NDArray[np.uint64]:
    """A 64-bit hash of each row, its upper bits the best spread."""
    mix = [np.uint64(factor) for factor in _MULTIPLIERS]
    key = rows[:, 0].astype(np.uint64) * mix[0]
    key ^= key >> np.uint64(29)
    key += rows[:, 1]
    key *= mix[1]
    key ^= key >> np.uint64(32)
    key += rows[:, 2]
    key *= mix[2]
    key ^= key >> np.uint64(31)
    key *= mix[3]
    return key


def _settle_by_sorting(rows: _Rows, first: _Index, waiting: _Index) -> None:
    """The same answer by sorting whole rows. waiting : ascending; rows equal to a waiting one wait too."""
    if len(waiting) == 0:
        return
    chosen = rows[waiting]
    order = np.lexsort((chosen[:, 2], chosen[:, 1], chosen[:, 0]))
    ordered = chosen[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    # lexsort is stable: the first of each run of equal rows is the earliest.
    leaders = order[new][np.cumsum(new) - 1]
    first[waiting[order]] = waiting[leaders]
