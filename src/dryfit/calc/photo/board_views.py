"""What photographs of a board tell of a lens: whether they differ enough, which figures they hold, what they cover."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo.calibration import BoardCalibration, BoardView, calibrate_board, plane_pose
from dryfit.calc.photo.camera import LENS_NAMES, straighten
from dryfit.calc.photo.homography import linear_homography
from dryfit.calc.photo.records import refusal

WHERE = "the calibration of a lens"
# Boards that all stand within this angle of one another do not tell the focal length from the distance, and a focal
# length less well known than this share serves no measurement (common practice, no source).
LEAST_SPREAD_DEG = 10.0
LARGEST_FOCAL_STD = 0.02
# k3 is taken where the views are this unlikely without it: F test of one further figure.
_LEVEL = 0.01
_PARTS = 4


@dataclass(frozen=True, slots=True, eq=False)
class BoardLens:
    """A lens from photographs of a board.

    has_k3       whether k3 was found; without_k3_px: root mean square residual without it
    spread_deg   largest angle between two boards, as the camera saw them
    tilt_deg     (v,) of each board out of the plane of the picture
    distance_mm  (v,) of the middle of each board from the camera
    """

    found: BoardCalibration
    has_k3: bool
    without_k3_px: float
    spread_deg: float
    tilt_deg: Array
    distance_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class FrameCorner:
    """What the lens does to one corner of the picture.

    moved_px  how far its distortion moves it, with its standard uncertainty; NaN where the distortion that was found
              cannot be undone there
    is_reached  whether corners of boards lie in that part of the picture
    """

    x_px: float
    y_px: float
    moved_px: float
    std_px: float
    is_reached: bool


def lens_from_boards(
    views: Sequence[BoardView], width_px: int, height_px: int, is_k3_found: bool | None = None
) -> BoardLens:
    """A lens with k1, k2, p1, p2, and with k3 where the views ask for it, or as is_k3_found says.

    Raises ComputationRefused as calibrate_board does, and where the views are too much alike or leave the focal length
    uncertain by more than 2 %.
    Source: F test of one further figure (memory); the limits are common practice, no source.
    """
    from scipy.special import fdtrc

    if len(views) < 3:
        what = f"{len(views)} view{'' if len(views) == 1 else 's'} of the board: a lens takes three or more"
        raise refusal(
            what, WHERE, "take ten to twenty, tilted differently, that reach into the corners of the picture"
        )
    try:
        plain = calibrate_board(views, width_px, height_px, LENS_NAMES[:7])
        full = calibrate_board(views, width_px, height_px, LENS_NAMES)
    except ComputationRefused:
        rough = _spread_deg(_rough_normals(views, width_px, height_px))
        if rough < LEAST_SPREAD_DEG:
            raise _too_alike(rough) from None
        raise
    left, right = (_squares(each) for each in (plain, full))
    dof = 2 * sum(len(view.marks_px) for view in views) - 8 - 6 * len(views)
    is_asked_for = float(fdtrc(1, dof, max(left - right, 0.0) / (right / dof))) < _LEVEL
    has_k3 = is_asked_for if is_k3_found is None else is_k3_found
    found = full if has_k3 else plain
    normals = np.array([pose.rotation[:, 2] for pose in found.poses])
    spread = _spread_deg(normals)
    if spread < LEAST_SPREAD_DEG:
        raise _too_alike(spread)
    share = float(found.std[0]) / found.lens.focal_px
    if share > LARGEST_FOCAL_STD:
        what = f"the views leave the focal length uncertain by {100.0 * share:.2g} % ({found.lens.focal_px:.0f} px)"
        raise refusal(
            what, WHERE, "tilt the board more, and by different directions; 30 to 45 degrees is best"
        )
    middles = [np.append(view.corners_mm.mean(axis=0), 0.0) for view in views]
    return BoardLens(
        found,
        has_k3,
        plain.overall_px,
        spread,
        np.degrees(np.arccos(np.clip(np.abs(normals[:, 2]), 0.0, 1.0))),
        np.array([np.linalg.norm(m - p.position_mm) for m, p in zip(middles, found.poses, strict=True)]),
    )


def covered_share(views: Sequence[BoardView], width_px: int, height_px: int) -> float:
    """Share of the picture's area inside the convex hull of all corners of all boards [-]."""
    from scipy.spatial import ConvexHull

    return float(ConvexHull(np.concatenate([view.marks_px for view in views])).volume) / (
        width_px * height_px
    )


def frame_corners(
    calibration: BoardCalibration, views: Sequence[BoardView], width_px: int, height_px: int
) -> tuple[FrameCorner, ...]:
    """The four corners of the picture, clockwise from the first pixel.

    One is reached where a board was seen in the outermost quarter of width and height.
    """
    marks = np.concatenate([view.marks_px for view in views])
    found = []
    for x, y in ((0, 0), (1, 0), (1, 1), (0, 1)):
        place = np.array([x * (width_px - 1.0), y * (height_px - 1.0)])
        near = np.abs(marks - place) <= np.array([width_px, height_px]) / _PARTS
        try:
            flat, covariance = straighten(calibration.lens, place[None], 1e-6, calibration.covariance)
            away = flat[0] - place
            moved = float(np.linalg.norm(away))
            along = away / moved if moved > 0.0 else np.array([1.0, 0.0])
            std = float(np.sqrt(along @ covariance.reshape(2, 2) @ along))
        except ComputationRefused:
            moved = std = float("nan")
        found.append(FrameCorner(float(place[0]), float(place[1]), moved, std, bool(near.all(axis=1).any())))
    return tuple(found)


def _squares(found: BoardCalibration) -> float:
    return float(sum((rows**2).sum() for rows in found.residual_px))


def _rough_normals(views: Sequence[BoardView], width_px: int, height_px: int) -> Array:
    """(v, 3) normals of the boards in camera axes for a usual focal length."""
    centre = np.array([(width_px - 1) / 2.0, (height_px - 1) / 2.0])
    focal = 1.2 * max(width_px, height_px)
    matrices = [linear_homography(view.corners_mm, view.marks_px) for view in views]
    return np.array([plane_pose(matrix, focal, centre).rotation[:, 2] for matrix in matrices])


def _spread_deg(normals: Array) -> float:
    return float(np.degrees(np.arccos(np.clip(np.abs(normals @ normals.T).min(), 0.0, 1.0))))


def _too_alike(spread_deg: float) -> ComputationRefused:
    what = (
        f"all boards stand within {spread_deg:.1f} degrees of one another, as the camera saw them: the focal length "
        "and the distance cannot be told apart"
    )
    do = "take views with the board tilted by 20 to 45 degrees, to the left, to the right, up and down"
    return refusal(what, WHERE, do)
