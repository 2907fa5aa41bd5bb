"""Rigid registration of one shape to another."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, cross
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.likeness.shape import Shape

_STEPS = 30
SETTLED_MM = 1e-6


def fit_points(points: Array, targets: Array) -> tuple[Array, Array]:
    """Rotation (3, 3) and translation (3,) that bring points (n, 3) nearest to their targets (n, 3).

    Source: least squares by singular values (memory: Kabsch; Umeyama 1991 without the scale).
    """
    middle, aim = points.mean(axis=0), targets.mean(axis=0)
    u, _, vt = np.linalg.svd((targets - aim).T @ (points - middle))
    sign = np.sign(np.linalg.det(u @ vt))
    rotation = u @ np.diag([1.0, 1.0, sign]) @ vt
    return rotation, aim - rotation @ middle


def settle(
    points: Array, b: Shape, rotation: Array, translation: Array, settled_mm: float = SETTLED_MM
) -> tuple[Array, Array]:
    """Improve a rigid motion of points (n, 3) until they rest on the surface of b as well as they can.

    Each step minimises distances along the normals at the nearest points. Points that lie far off for
    the rest count little (Tukey's weights, memory), so that one changed corner does not shift the whole.
    settled_mm : a step that moves no point by more is the last
    """
    for _ in range(_STEPS):
        moved = points @ rotation.T + translation
        distances, triangles, nearest = b.nearest(moved)
        apart = moved - nearest
        # At edges and corners the offset itself is the direction; on faces it is along the normal anyway.
        normals = np.where(
            (distances > 1e-9)[:, None], apart / np.maximum(distances, 1e-9)[:, None], b.normals[triangles]
        )
        limit = 6.0 * max(float(np.median(distances)), 1e-4)
        weight = np.where(distances < limit, (1.0 - np.minimum(distances / limit, 1.0) ** 2) ** 2, 0.0)
        middle = moved.mean(axis=0)
        rows = np.hstack([cross(moved - middle, normals), normals])
        size = max(float(np.abs(moved - middle).max()), 1e-9)
        rows[:, :3] /= size
        # A little damping: a round body may turn freely about its axis.
        matrix = (rows * weight[:, None]).T @ rows + 1e-9 * len(rows) * np.eye(6)
        step = -np.linalg.solve(matrix, rows.T @ (weight * distances))
        turn = rotation_from_vector(step[:3] / size)
        rotation = turn @ rotation
        translation = turn @ (translation - middle) + middle + step[3:]
        if float(np.abs(step).max()) < settled_mm:
            break
    return rotation, translation
