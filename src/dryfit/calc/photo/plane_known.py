"""What is known of a plane on a photograph, and a first view of the plane from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo.homography import carry, check_spread, linear_homography
from dryfit.calc.photo.records import homogeneous, refusal

Axis = Literal["x", "y"]
WHERE = "the view of a plane"


@dataclass(frozen=True, slots=True)
class PlanePoint:
    """A mark whose place in the plane is known: x_mm, y_mm, and the standard uncertainty of each."""

    mark: int
    x_mm: float
    y_mm: float
    std_mm: float


@dataclass(frozen=True, slots=True)
class PlaneLength:
    """A known length between two marks; along: the axis of the plane that the segment follows, if any."""

    first: int
    second: int
    length_mm: float
    std_mm: float
    along: Axis | None = None


@dataclass(frozen=True, slots=True)
class PlaneDirection:
    """A segment that follows an axis of the plane, as courses of bricks and edges of windows do."""

    first: int
    second: int
    along: Axis
    std_deg: float = 0.05


def begin_plane(
    scaled: Array,
    points: Sequence[PlanePoint],
    lengths: Sequence[PlaneLength],
    directions: Sequence[PlaneDirection],
) -> Array:
    if len(points) >= 4 or (points and not lengths):
        known = np.array([[point.x_mm, point.y_mm] for point in points])
        marked = scaled[[point.mark for point in points]]
        check_spread(known, WHERE)
        check_spread(marked, WHERE)
        matrix = linear_homography(marked, known)
        return matrix / np.linalg.norm(matrix[2])
    return _start_from_directions(scaled, lengths, directions)


def _start_from_directions(
    scaled: Array, lengths: Sequence[PlaneLength], directions: Sequence[PlaneDirection]
) -> Array:
    """Two vanishing points give the view up to one scale along each axis; the lengths give those."""
    segments: list[PlaneDirection | PlaneLength] = [
        *directions,
        *(row for row in lengths if row.along is not None),
    ]
    vanishing = []
    for axis in ("x", "y"):
        lines = [
            np.cross(*homogeneous(scaled[[row.first, row.second]])) for row in segments if row.along == axis
        ]
        if len(lines) < 2:
            raise refusal(
                f"{len(lines)} marked segments along {axis}: two are needed to see where they converge",
                WHERE,
                f"mark two segments along {axis}, or give four known points",
            )
        lines = [line / np.linalg.norm(line[:2]) for line in lines]
        vanishing.append(np.linalg.svd(np.array(lines))[2][-1])
    horizon = np.cross(vanishing[0], vanishing[1])
    sides = homogeneous(scaled) @ horizon
    horizon = horizon * np.sign(np.median(sides))
    # rows that vanish at the other axis' vanishing point, and so do not move along that axis
    rows = [np.cross(vanishing[1], [0.0, 0.0, 1.0]), np.cross(vanishing[0], [0.0, 0.0, 1.0])]
    matrix = np.vstack([*rows, horizon])
    if abs(np.linalg.det(matrix)) < 1e-12 or np.abs(sides).min() < 1e-9:
        raise refusal(
            "the two directions are seen as one", WHERE, "mark segments along two directions that cross"
        )
    place = carry(matrix, scaled)
    squares = np.array([(place[row.second] - place[row.first]) ** 2 for row in lengths]).reshape(-1, 2)
    wanted = np.array([row.length_mm**2 for row in lengths])
    gains = _axis_gains(squares, wanted)
    scaled_up: Array = np.diag([gains[0], gains[1], 1.0]) @ matrix / np.linalg.norm(matrix[2])
    return scaled_up


def _axis_gains(squares: Array, wanted: Array) -> Array:
    weights = 1.0 / np.maximum(wanted, 1e-300)
    if len(wanted) >= 2:
        found, _, rank, _ = np.linalg.lstsq(squares * weights[:, None], wanted * weights, rcond=1e-8)
        if rank == 2 and (found > 0.0).all():
            gains: Array = np.sqrt(found)
            return gains
    raise refusal(
        "the known lengths lie along one direction only",
        WHERE,
        "give at least one known length along each of two directions",
    )
