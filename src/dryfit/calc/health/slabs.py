"""Pairs of triangles between which a plane of one of a few fixed directions passes: told by their extents alone."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, IntArray, bounds_of

# Directions beside the axes, along which boxes are compared already: those that meet one axis at a right
# angle, 45 degrees or 27 from the next. Finely meshed faces are parted well by them, and more add little.
_WAYS = tuple(
    way
    for size in (2, 5)
    for way in itertools.product(range(-2, 3), repeat=3)
    if sum(k * k for k in way) == size and next(k for k in way if k) > 0
)
# Rounding of a sum of three products is less than four times 2^-53 of their magnitudes; ample.
_ROUNDING = 16 * 2.0**-53
Extents = list[tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]]


def extents_along(vertices: Array, faces: IntArray) -> Extents:
    """Least and greatest coordinate (m,) of each face along each direction, rounded outwards."""
    middle = 0.5 * bounds_of(vertices).sum(axis=0)
    centred = vertices - middle
    unsure = _ROUNDING * float(np.abs(vertices).max() + np.abs(middle).max())
    found: Extents = []
    for way in _WAYS:
        along = centred @ np.array(way, dtype=np.float64)
        margin = unsure * sum(abs(k) for k in way)
        a, b, c = (along[faces[:, k]] for k in range(3))
        low, high = np.minimum(np.minimum(a, b), c) - margin, np.maximum(np.maximum(a, b), c) + margin
        found.append(
            (
                np.nextafter(low.astype(np.float32), np.float32(-np.inf)),
                np.nextafter(high.astype(np.float32), np.float32(np.inf)),
            )
        )
    return found


def leave_out_parted(extents: Extents, first: IntArray, second: IntArray) -> tuple[IntArray, IntArray]:
    """The pairs of faces that none of the directions parts."""
    for low, high in extents:
        meets = (low.take(first) <= high.take(second)) & (high.take(first) >= low.take(second))
        first, second = first[meets], second[meets]
    return first, second
