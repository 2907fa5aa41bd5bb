"""Directions that the axis of a curved face may have: where the searches start."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import numpy as np

from dryfit.base.arrays import Array, cross
from dryfit.calc.elements.arcs import frame_along
from dryfit.calc.elements.solving import thinned
from dryfit.calc.elements.surfaces import Pose

# Singular value over the largest, below which a direction of a start is rounding.
_NONE = 1e-10
_ALIKE = 0.9998  # cosine of about a degree: searches from both end at the same place


def axes_across_normals(normals: Array) -> Iterator[Array]:
    """The direction most nearly square to all normals (n, 3): the axis of a cylinder."""
    yield np.linalg.eigh(normals.T @ normals)[1][:, 0]


def axes_at_one_angle(normals: Array) -> Iterator[Array]:
    """The direction that has the most nearly equal angle with all normals (n, 3): the axis of a cone."""
    offset = normals - normals.mean(axis=0)
    yield np.linalg.eigh(offset.T @ offset)[1][:, 0]


def axes_met_by_normals(points: Array, normals: Array) -> Iterator[Array]:
    """Direction of the line that all normals meet: the axis of any surface of revolution.

    The normal through p along n meets the line of direction a and moment b where a . (p x n) + b . n = 0.
    Source: Pottmann and Wallner, Computational Line Geometry, 2001 (memory).
    """
    local = points - points.mean(axis=0)
    scale = np.sqrt((local**2).sum(axis=1).mean())
    lines = np.hstack([cross(local / scale, normals), normals])
    direction = np.linalg.eigh(lines.T @ lines)[1][:3, 0]
    length = np.linalg.norm(direction)
    if length > 1e-6:
        yield direction / length


def principal_axes(points: Array) -> Iterator[Array]:
    """The three principal axes of points (n, 3), the shortest first."""
    local = points - points.mean(axis=0)
    yield from np.linalg.eigh(local.T @ local)[1].T


def axes_of_least_bend(points: Array, normals: Array) -> Iterator[Array]:
    """Along which a shallow patch is straight: by a quadratic height field over its mean normal.

    It does not rest on the single normals, which are rough on a noisy mesh.
    """
    mean = normals.mean(axis=0)
    length = np.linalg.norm(mean)
    if length < 0.5:  # the patch reaches too far round to be a height field
        return
    frame = frame_along(mean / length)
    local = (points - points.mean(axis=0)) @ frame
    x, y = local[:, 0], local[:, 1]
    design = np.column_stack([np.ones(len(x)), x, y, 0.5 * x * x, x * y, 0.5 * y * y])
    if len(x) < 6:
        return
    _, _, _, xx, xy, yy = np.linalg.lstsq(design, local[:, 2], rcond=None)[0]
    bends, directions = np.linalg.eigh(np.array([[xx, xy], [xy, yy]]))
    yield frame[:, :2] @ directions[:, np.argmin(np.abs(bends))]


def axes_to_try(points: Array, normals: Array) -> list[Array]:
    """Directions of an axis worth a search, the likeliest first."""
    few = thinned(len(points))
    places, outward = points[few], normals[few]
    found: list[Array] = []
    for axis in chain(
        axes_across_normals(outward),
        axes_at_one_angle(outward),
        axes_met_by_normals(places, outward),
        axes_of_least_bend(places, outward),
        principal_axes(places),
    ):
        if all(abs(axis @ other) < _ALIKE for other in found):
            found.append(axis)
    return found


def revolved(points: Array, axis: Array, columns: int) -> tuple[Array, Array] | None:
    """Frame (3, 3) and least-squares coefficients of a round about an axis through points (n, 3).

    Solves x^2 + y^2 = 2 cx x + 2 cy y + alpha (+ beta z + gamma z^2), which holds on a cylinder (columns 3)
    and on a cone (columns 5), in the frame of the axis about the centroid; None where it is singular.
    """
    frame = frame_along(axis)
    x, y, z = ((points - points.mean(axis=0)) @ frame).T
    design = np.column_stack([2.0 * x, 2.0 * y, np.ones(len(x)), z, z * z])[:, :columns]
    lengths = np.linalg.norm(design, axis=0)
    if not (lengths > 0.0).all():
        return None
    solution, _, rank, _ = np.linalg.lstsq(design / lengths, x * x + y * y, rcond=_NONE)
    return (frame, solution / lengths) if rank == columns else None


def round_start(points: Array, axis: Array) -> Pose | None:
    """A cylinder about points (n, 3) with an axis of that direction; None where there is none."""
    found = revolved(points, axis, 3)
    if found is None:
        return None
    frame, (x, y, alpha) = found
    square = alpha + x * x + y * y
    if not square > 0.0:
        return None
    origin = points.mean(axis=0) + frame @ np.array([x, y, 0.0])
    return Pose(frame, origin, np.array([np.sqrt(square)]))
