"""Read-only arrays: records keep their own locked copy."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


def locked(values: Any, shape: tuple[int | None, ...], name: str) -> Array:
    """A read-only float64 copy of values, its shape checked.

    shape : expected shape; None stands for any length
    Raises ValueError on another shape, or where a value is not finite.
    """
    array = np.array(values, dtype=np.float64)
    fits = array.ndim == len(shape) and all(
        want is None or have == want for have, want in zip(array.shape, shape, strict=True)
    )
    if not fits:
        raise ValueError(f"{name} has shape {array.shape}, expected {shape}")
    if not np.isfinite(array).all():
        raise ValueError(f"{name} holds a value that is not finite")
    array.setflags(write=False)
    return array


def bounds_of(points: Array) -> Array:
    """Least and greatest coordinates (2, k) of points (n, k): column by column, many times quicker than by rows.

    Raises ValueError for no points.
    """
    columns = [points[:, k] for k in range(points.shape[1])]
    return np.array([[column.min() for column in columns], [column.max() for column in columns]])


def corners_of(vertices: Array, faces: IntArray) -> tuple[Array, Array, Array]:
    """First, second and third corners (m, 3) of faces (m, 3); several times quicker than by an index of rows."""
    a, b, c = (vertices.take(faces[:, k], axis=0) for k in range(3))
    return a, b, c


def cross(a: Array, b: Array) -> Array:
    """Cross products (n, 3) of rows; several times quicker than the general one for small arrays."""
    result = np.empty((len(a), 3))
    result[:, 0] = a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1]
    result[:, 1] = a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2]
    result[:, 2] = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    return result
