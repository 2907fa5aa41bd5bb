"""Equal vertices become one: exact equality of coordinates, nothing nearer than that."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, IntArray
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros

_CHUNK = 1 << 16


def merge_equal_vertices(points: npt.NDArray[np.floating]) -> tuple[Array, IntArray]:
    """Distinct rows of points, in order of first appearance, and which of them each row is.

    points : (n, 3) float32 or float64, finite; -0.0 equals 0.0
    Returns (k, 3) float64 and (n,) indices into it.
    """
    if len(points) == 0:
        return np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    clean = without_negative_zeros(np.ascontiguousarray(points))
    first = first_equal_rows(clean)
    is_first = first == np.arange(len(first), dtype=first.dtype)
    vertices = clean[is_first].astype(np.float64)
    rank = np.cumsum(is_first, dtype=first.dtype)
    rank -= 1
    merged = np.empty(len(first), dtype=np.int64)
    for start in range(0, len(first), _CHUNK):
        merged[start : start + _CHUNK] = rank[first[start : start + _CHUNK]]
    return vertices, merged
