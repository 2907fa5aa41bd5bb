"""A camera: lens, pose, and how points come to lie on the picture, with derivatives.

A point in camera axes (x right, y down, z forward) is rotation @ (point - position). Distortion is radial with
k1, k2, k3 and tangential with p1, p2, on coordinates divided by depth, as most calibration software has it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.records import block_diagonal, checked_marks, floats, full_covariance, refusal

LENS_NAMES = ("focal_px", "centre_x_px", "centre_y_px", "k1", "k2", "p1", "p2", "k3")
_MOST_STEPS = 50


@dataclass(frozen=True, slots=True, eq=False)
class Lens:
    """focal_px: focal length; centre_px (2,): principal point; k1, k2, k3 radial, p1, p2 tangential distortion [-]."""

    focal_px: float
    centre_px: Array
    k1: float = 0.0
    k2: float = 0.0
    p1: float = 0.0
    p2: float = 0.0
    k3: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "centre_px", locked(self.centre_px, (2,), "centre_px"))
        if not np.isfinite(self.vector).all() or self.focal_px <= 0.0:
            raise ValueError("a lens needs finite figures and a focal length above zero, in pixels")

    @property
    def distortion(self) -> tuple[float, float, float, float, float]:
        """k1, k2, p1, p2, k3, the order that OpenCV has."""
        return self.k1, self.k2, self.p1, self.p2, self.k3

    @property
    def vector(self) -> Array:
        """(8,) in the order of LENS_NAMES."""
        return np.array([self.focal_px, *self.centre_px, *self.distortion], dtype=np.float64)


def lens_of(vector: Array) -> Lens:
    """The lens of a vector (8,) in the order of LENS_NAMES."""
    focal, x, y, k1, k2, p1, p2, k3 = (float(value) for value in vector)
    return Lens(focal, np.array([x, y]), k1, k2, p1, p2, k3)


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """rotation (3, 3): from object axes to camera axes; position_mm (3,): centre of projection."""

    rotation: Array
    position_mm: Array

    def __post_init__(self) -> None:
        rotation = locked(self.rotation, (3, 3), "rotation")
        if np.abs(rotation @ rotation.T - np.eye(3)).max() > 1e-6 or np.linalg.det(rotation) < 0.0:
            raise ValueError("a pose needs a right-handed rotation")
        object.__setattr__(self, "rotation", rotation)
        object.__setattr__(self, "position_mm", locked(self.position_mm, (3,), "position_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class Projection:
    """Points on pictures.

    marks_px  (n, 2)
    by_lens   (n, 2, 8) derivatives by the figures of LENS_NAMES
    by_pose   (n, 2, 6) by a turn of the camera (rad, about its own axes) and a shift of its position [mm]
    by_point  (n, 2, 3) by the point [mm]
    depth_mm  (n,)      along the camera's axis; not positive where the point lies behind it
    """

    marks_px: Array
    by_lens: Array
    by_pose: Array
    by_point: Array
    depth_mm: Array


def project(lens: Lens, pose: Pose, points_mm: Array) -> Projection:
    """Where points lie on the picture, with derivatives.

    points_mm : (n, 3)
    Raises ComputationRefused where a point lies behind the camera.
    Source: pinhole camera with Brown's distortion, Photogrammetric Engineering 37 (1971) 855 (memory; checked against
    OpenCV's projectPoints).
    """
    points = locked(points_mm, (None, 3), "points_mm")
    count = len(points)
    rows = (np.tile(lens.vector, (count, 1)), np.tile(pose.rotation, (count, 1, 1)))
    result = project_rows(*rows, np.tile(pose.position_mm, (count, 1)), points)
    behind = np.flatnonzero(result.depth_mm <= 0.0)
    if len(behind):
        raise refusal(
            f"point {behind[0] + 1} lies behind the camera",
            f"projection of {count} points",
            "turn the camera's pose round, or leave the point out",
        )
    return result


def project_rows(lenses: Array, rotations: Array, positions: Array, points: Array) -> Projection:
    """The same with a lens (n, 8), a rotation (n, 3, 3) and a position (n, 3) for each point; depths unchecked."""
    seen = np.einsum("nij,nj->ni", rotations, points - positions)
    depth = seen[:, 2]
    inverse = 1.0 / np.where(np.abs(depth) < 1e-12, 1e-12, depth)
    xy = seen[:, :2] * inverse[:, None]
    marks, by_xy, by_lens = _through_lens(lenses, xy)
    by_seen = np.zeros((len(points), 2, 3))
    by_seen[:, 0, 0] = by_seen[:, 1, 1] = inverse
    by_seen[:, :, 2] = -xy * inverse[:, None]
    by_seen = by_xy @ by_seen
    by_point = by_seen @ rotations
    by_pose = np.empty((len(points), 2, 6))
    # turning by w adds w x seen; so the derivative of the mark is seen x its own gradient
    by_pose[:, :, :3] = np.cross(seen[:, None, :], by_seen)
    by_pose[:, :, 3:] = -by_point
    return Projection(marks, by_lens, by_pose, by_point, depth)


def _through_lens(lenses: Array, xy: Array) -> tuple[Array, Array, Array]:
    """Marks (n, 2) of directions (n, 2), with derivatives by the directions (n, 2, 2) and the lens (n, 2, 8)."""
    focal, k1, k2, p1, p2, k3 = (lenses[:, index] for index in (0, 3, 4, 5, 6, 7))
    x, y = xy[:, 0], xy[:, 1]
    square = x * x + y * y
    gain = 1.0 + square * (k1 + square * (k2 + square * k3))
    bent = np.stack(
        [
            x * gain + 2.0 * p1 * x * y + p2 * (square + 2.0 * x * x),
            y * gain + p1 * (square + 2.0 * y * y) + 2.0 * p2 * x * y,
        ],
        axis=1,
    )
    rise = 2.0 * (k1 + square * (2.0 * k2 + 3.0 * k3 * square))
    by_xy = np.empty((len(xy), 2, 2))
    by_xy[:, 0, 0] = gain + x * x * rise + 2.0 * p1 * y + 6.0 * p2 * x
    by_xy[:, 0, 1] = by_xy[:, 1, 0] = x * y * rise + 2.0 * p1 * x + 2.0 * p2 * y
    by_xy[:, 1, 1] = gain + y * y * rise + 6.0 * p1 * y + 2.0 * p2 * x
    by_lens = np.zeros((len(xy), 2, 8))
    by_lens[:, :, 0] = bent
    by_lens[:, 0, 1] = by_lens[:, 1, 2] = 1.0
    by_lens[:, :, 3] = (focal * square)[:, None] * xy
    by_lens[:, :, 4] = (focal * square**2)[:, None] * xy
    by_lens[:, :, 7] = (focal * square**3)[:, None] * xy
    by_lens[:, 0, 5] = by_lens[:, 1, 6] = 2.0 * focal * x * y
    by_lens[:, 1, 5] = focal * (square + 2.0 * y * y)
    by_lens[:, 0, 6] = focal * (square + 2.0 * x * x)
    return lenses[:, 1:3] + focal[:, None] * bent, focal[:, None, None] * by_xy, by_lens


@dataclass(frozen=True, slots=True, eq=False)
class Directions:
    """Directions of marks, free of distortion.

    xy       (n, 2)    right and down per unit of depth [-]
    by_mark  (n, 2, 2) derivatives by the mark [1/px]
    by_lens  (n, 2, 8) by the figures of LENS_NAMES
    """

    xy: Array
    by_mark: Array
    by_lens: Array


def undistort(lens: Lens, marks_px: Array) -> Directions:
    """Directions in which marks lie.

    marks_px : (n, 2)
    Raises ComputationRefused where a mark lies outside the circle that this distortion can reach.
    Source: Newton's method on the model of project.
    """
    marks = checked_marks(marks_px)
    lenses = np.tile(lens.vector, (len(marks), 1))
    xy = (marks - lens.centre_px) / lens.focal_px
    for _ in range(_MOST_STEPS):
        reached, by_xy, by_lens = _through_lens(lenses, xy)
        missing = marks - reached
        fine = np.abs(missing).max(axis=1, initial=0.0) < 1e-9 * lens.focal_px
        folded = (np.linalg.det(by_xy) <= 0.0) | (by_xy[:, 0, 0] + by_xy[:, 1, 1] <= 0.0)
        if folded.any() or fine.all():
            break
        xy = xy + np.linalg.solve(by_xy, missing[:, :, None])[:, :, 0]
    wrong = np.flatnonzero(folded if folded.any() else ~fine)
    if len(wrong):
        raise refusal(
            f"mark {wrong[0] + 1} lies farther out than this lens distortion can reach",
            f"undistortion of {len(marks)} marks",
            "check k1 and k2 of the lens, or whether the mark belongs to this picture",
        )
    by_mark = floats(np.linalg.inv(by_xy))
    return Directions(xy, by_mark, -by_mark @ by_lens)


def straighten(
    lens: Lens, marks_px: Array, std_px: float | Array, lens_covariance: Array | None = None
) -> tuple[Array, Array]:
    """Marks as the same lens without distortion would show them (n, 2), and their covariance (2n, 2n) [px2].

    marks_px : (n, 2)   std_px : as for full_covariance
    lens_covariance : (8, 8) in the order of LENS_NAMES; its distortion moves all marks together
    Raises ComputationRefused as undistort does.
    """
    found = undistort(lens, marks_px)
    count = len(found.xy)
    gain = block_diagonal(lens.focal_px * found.by_mark)
    covariance = gain @ full_covariance(std_px, count) @ gain.T
    if lens_covariance is not None:
        shared = locked(lens_covariance, (8, 8), "lens_covariance")
        by_lens = (lens.focal_px * found.by_lens).reshape(-1, 8)
        by_lens[:, 0] += found.xy.ravel()
        by_lens[0::2, 1] += 1.0
        by_lens[1::2, 2] += 1.0
        covariance += by_lens @ shared @ by_lens.T
    return lens.focal_px * found.xy + lens.centre_px, covariance
