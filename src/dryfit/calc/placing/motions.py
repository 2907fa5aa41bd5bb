"""The motions that no contact holds, in words."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.placing.gains import free_basis

_SMALL = 1e-9


def describe_motions(free: Array, centroid: Array, size_mm: float) -> tuple[str, ...]:
    """One sentence per free motion: the slides first, then the turns.

    free : (6, k) basis of the free motions about the centroid, translations [mm], rotations [rad]
    centroid : (3,) [mm]
    size_mm : length that makes a rotation comparable with a translation
    """
    if free.shape[1] == 0:
        return ()
    scaled = free * np.array([1.0, 1.0, 1.0, size_mm, size_mm, size_mm])[:, None]
    _, values, right = np.linalg.svd(scaled[3:], full_matrices=True)
    turning = np.zeros(free.shape[1], dtype=bool)
    turning[: len(values)] = values > 1e-6
    slides = scaled[:3] @ right[~turning].T
    words = [f"slides along {_vector(axis)}" for axis in _plain_basis(slides)]
    turns = scaled[3:] @ right[turning].T / size_mm
    shifts = scaled[:3] @ right[turning].T
    for axis in _plain_basis(turns):
        mix, *_ = np.linalg.lstsq(turns, axis, rcond=None)
        shift = shifts @ mix
        point = centroid + np.cross(axis, shift)
        words.append(f"turns about {_vector(axis)} through {_vector(point, 1)} mm")
    return tuple(words)


def _plain_basis(columns: Array) -> list[Array]:
    """An orthonormal basis of the column space that follows the assembly axes as nearly as it can."""
    if columns.shape[1] == 0:
        return []
    left, values, _ = np.linalg.svd(columns, full_matrices=False)
    space = left[:, values > 1e-9 * values[0]]
    basis: list[Array] = []
    for _ in range(space.shape[1]):
        projector = space @ space.T - sum((np.outer(b, b) for b in basis), np.zeros((3, 3)))
        lengths = np.linalg.norm(projector, axis=0)
        pick = int(np.argmax(np.round(lengths, 9)))
        basis.append(projector[:, pick] / lengths[pick])
    return basis


def _vector(values: Array, digits: int = 3) -> str:
    cleaned = np.where(np.abs(values) < _SMALL, 0.0, values)
    return "(" + ", ".join(f"{value + 0.0:.{digits}f}" for value in cleaned) + ")"


def motions_left_free(points: Array, directions: Array, centroid: Array, size_mm: float) -> Array:
    """Basis (6, k) of the motions of a part that contacts at points (n, 3) along directions (n, 3) leave free.

    centroid : (3,) about which rotations turn; size_mm makes a rotation comparable with a translation
    """
    jacobian = np.hstack([directions, np.cross(points - centroid, directions)])
    return free_basis(jacobian, size_mm)
