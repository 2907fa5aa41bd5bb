"""How wrong one scale for a whole picture would be: the reason for refusing it."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.camera import Lens
from dryfit.calc.photo.homography import carry, local_gain
from dryfit.calc.photo.records import checked_marks, homogeneous, refusal


def one_scale_departure(matrix: Array, reference_px: Array, targets_px: Array) -> Array:
    """Relative departure (n,) of sizes read with the scale of one segment: 0.1 is read 10 % too large.

    matrix : (3, 3) from the picture to the plane, up to the plane's scale: of a PlaneView or plane_from_vanishing
    reference_px : (2, 2) ends of the segment that gives the scale   targets_px : (n, 2, 2) of those measured with it
    Raises ComputationRefused where a segment has no length or crosses the horizon.
    Source: pixels of the target over pixels of the reference, against the same ratio in the plane.
    """
    segments = np.concatenate(
        [locked(reference_px, (2, 2), "reference_px")[None], locked(targets_px, (None, 2, 2), "targets_px")]
    )
    seen = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    flat = segments.reshape(-1, 2)
    _check_one_side(matrix, flat)
    place = carry(matrix, flat).reshape(-1, 2, 2)
    true = np.linalg.norm(place[:, 1] - place[:, 0], axis=1)
    if (seen == 0.0).any():
        raise refusal("a segment has no length", "one scale for a picture", "mark two different points")
    departure: Array = (seen[1:] / seen[0]) / (true[1:] / true[0]) - 1.0
    return departure


def one_scale_bound(matrix: Array, outline_px: Array) -> float:
    """Greatest relative departure that one scale can make within an outline: largest over smallest scale, less 1.

    matrix : (3, 3) from the picture to the plane, up to the plane's scale   outline_px : (n, 2) corners of a region
    Raises ComputationRefused where the region crosses the horizon.
    Source: singular values of the derivative of the homography along the outline, where they have their extremes for
    a region that does not reach the horizon (checked against a dense grid in the tests).
    """
    corners = checked_marks(outline_px, "outline_px")
    share = np.linspace(0.0, 1.0, 33)[:, None, None]
    along = (corners * (1.0 - share) + np.roll(corners, -1, axis=0) * share).reshape(-1, 2)
    _check_one_side(matrix, along)
    values = np.linalg.svd(local_gain(matrix, along), compute_uv=False)
    return float(values[:, 0].max() / values[:, 1].min() - 1.0)


def depth_departure(offset_mm: float, distance_mm: float) -> float:
    """Relative departure of a size read with the scale of a plane, for something nearer by an offset.

    offset_mm : towards the camera   distance_mm : of the plane from the camera
    Raises ValueError where the offset reaches the camera.
    Source: similar triangles: d / (h - d), about offset over distance.
    """
    if not (distance_mm > 0.0 and offset_mm < distance_mm):
        raise ValueError("the offset reaches the camera")
    return offset_mm / (distance_mm - offset_mm)


def refuse_one_scale(departure: float | Array, allowed: float, view: str) -> None:
    """Raise ComputationRefused where one scale would depart by more than allowed, saying by how much.

    departure : relative, of one or several sizes   allowed : relative   view : what the user calls the photograph
    """
    worst = float(np.abs(np.asarray(departure)).max(initial=0.0))
    if worst > allowed:
        raise refusal(
            f"one scale would be wrong by {100.0 * worst:.3g} % across this view",
            view,
            "mark the plane's known points or lengths, or vanishing points with a known height",
        )


def plane_from_vanishing(first: Array, second: Array, lens: Lens) -> Array:
    """(3, 3) from the picture to a plane, up to its scale, from the vanishing points of two of its directions.

    first, second : (3,) homogeneous; the plane's x axis follows the first, the second need not be square to it
    lens : focal length and principal point; marks are free of distortion
    Raises ComputationRefused where both are the same direction.
    Source: rays of vanishing points are directions, Hartley and Zisserman, Multiple View Geometry, 8.6 (memory).
    """
    rays = np.array(
        [[1.0, 0.0, -lens.centre_px[0]], [0.0, 1.0, -lens.centre_px[1]], [0.0, 0.0, lens.focal_px]]
    )
    along, other = rays @ np.asarray(first, dtype=float), rays @ np.asarray(second, dtype=float)
    along /= np.linalg.norm(along)
    normal = np.cross(along, other / np.linalg.norm(other))
    if np.linalg.norm(normal) < 1e-6:
        raise refusal(
            "the two vanishing points are one direction", "a plane from vanishing points", "mark other lines"
        )
    normal /= np.linalg.norm(normal)
    matrix: Array = np.array([along, np.cross(normal, along), normal]) @ rays
    return matrix


def _check_one_side(matrix: Array, points: Array) -> None:
    depth = homogeneous(points) @ np.asarray(matrix, dtype=float)[2]
    if not ((depth > 0.0).all() or (depth < 0.0).all()):
        raise refusal(
            "the plane's horizon runs through what is marked",
            "one scale for a picture",
            "keep to one side of the horizon, and check which marks belong to the plane",
        )
