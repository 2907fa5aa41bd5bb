"""Projection, undistortion, homographies, resection and pose of a plane against OpenCV 5 on the same marks."""

from __future__ import annotations

import cv2
import numpy as np

from dryfit.calc.photo import (
    LENS_NAMES,
    Lens,
    carry,
    fit_homography,
    plane_pose,
    project,
    resect,
    undistort,
)
from published.registry import check
from support.photographs import BUILDING, PLAIN_LENS, POSES

SOURCE = "OpenCV 5 on the same marks"
BENT = Lens(3300.0, np.array([2010.0, 1490.0]), -0.11, 0.05, 1e-3, -2e-3, 0.01)


def inner(lens: Lens) -> np.ndarray:
    x, y = lens.centre_px
    return np.array([[lens.focal_px, 0.0, x], [0.0, lens.focal_px, y], [0.0, 0.0, 1.0]])


def test_projection_and_its_derivatives() -> None:
    for pose in POSES:
        turn = cv2.Rodrigues(pose.rotation)[0]
        shift = -pose.rotation @ pose.position_mm
        theirs, slopes = cv2.projectPoints(BUILDING, turn, shift, inner(BENT), np.array(BENT.distortion))
        ours = project(BENT, pose, BUILDING)
        check(SOURCE, "projected marks, farthest apart", 0.0, np.abs(ours.marks_px - theirs.reshape(-1, 2)).max(),
              1e-8, seen=True, unit="px")  # fmt: skip
        # their columns: turn, shift, fx, fy, cx, cy, k1, k2, p1, p2, k3
        by_lens = slopes.reshape(-1, 2, slopes.shape[1])[:, :, 6:15]
        joined = np.concatenate([by_lens[:, :, :1] + by_lens[:, :, 1:2], by_lens[:, :, 2:]], axis=2)
        away = np.abs(joined - ours.by_lens).max()
        check(SOURCE, "derivatives by the lens, farthest apart", 0.0, away, 1e-6, seen=True)
        by_shift = slopes.reshape(-1, 2, slopes.shape[1])[:, :, 3:6] @ -pose.rotation
        away = np.abs(by_shift - ours.by_pose[:, :, 3:]).max()
        check(SOURCE, "derivatives by the position, farthest apart", 0.0, away, 1e-9, seen=True)


def test_undistortion() -> None:
    marks = project(BENT, POSES[0], BUILDING).marks_px
    theirs = cv2.undistortPoints(
        marks.reshape(-1, 1, 2), inner(BENT), np.array(BENT.distortion), criteria=(3, 200, 1e-14)
    ).reshape(-1, 2)
    away = np.abs(undistort(BENT, marks).xy - theirs).max()
    check(SOURCE, "directions of marks, farthest apart", 0.0, away, 1e-8, seen=True)


def test_homography() -> None:
    draw = np.random.default_rng(0)
    first = draw.uniform(0.0, 1000.0, (12, 2))
    matrix = np.array([[1.0, 0.2, 30.0], [0.1, 0.9, -20.0], [2e-4, 1e-4, 1.0]])
    second = carry(matrix, first) + draw.normal(size=(12, 2))
    ours = fit_homography(first, second, 1.0)
    theirs = cv2.findHomography(first, second, 0)[0]
    for row in range(3):
        for column in range(3):
            value = theirs[row, column]
            check(SOURCE, f"homography {row + 1}, {column + 1}", value,
                  (ours.matrix / ours.matrix[2, 2])[row, column], 2e-6 * abs(value), seen=True)  # fmt: skip


def test_resection() -> None:
    draw = np.random.default_rng(2)
    marks = project(PLAIN_LENS, POSES[1], BUILDING).marks_px + draw.normal(size=(len(BUILDING), 2)) * 0.7
    ours = resect(marks, 0.7, BUILDING, estimated=(), lens=PLAIN_LENS)
    _, turn, shift = cv2.solvePnP(BUILDING, marks, inner(PLAIN_LENS), None, flags=cv2.SOLVEPNP_ITERATIVE)
    turn, shift = cv2.solvePnPRefineLM(
        BUILDING, marks, inner(PLAIN_LENS), None, turn, shift, criteria=(3, 200, 1e-15)
    )
    position = (-cv2.Rodrigues(turn)[0].T @ shift).ravel()
    for axis, one, other in zip("xyz", position, ours.pose.position_mm, strict=True):
        check(SOURCE, f"camera {axis} by resection", one, other, 1e-3, seen=True, unit="mm")


def test_resection_with_all_figures_of_the_lens() -> None:
    draw = np.random.default_rng(3)
    marks = project(BENT, POSES[2], BUILDING).marks_px + draw.normal(size=(len(BUILDING), 2)) * 0.3
    names = LENS_NAMES[:4]
    ours = resect(marks, 0.3, BUILDING, estimated=names, lens=BENT)
    start = np.array([*BENT.distortion])
    flags = (cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
             | cv2.CALIB_FIX_TANGENT_DIST)  # fmt: skip
    _, matrix, bent, _, _ = cv2.calibrateCamera(
        [BUILDING.astype(np.float32)], [marks.astype(np.float32).reshape(-1, 1, 2)], (4000, 3000),
        inner(BENT), start, flags=flags, criteria=(3, 500, 1e-15),
    )  # fmt: skip
    theirs = [matrix[0, 0], matrix[0, 2], matrix[1, 2], bent.ravel()[0]]
    # their marks are single precision: 2e-4 px
    for name, one, other, room in zip(
        names, theirs, ours.lens.vector, (0.02, 0.02, 0.02, 1e-5), strict=False
    ):
        check(SOURCE, f"{name} by resection", one, other, room, seen=True)


def test_pose_of_a_plane() -> None:
    flat = BUILDING[BUILDING[:, 1] == 0.0]
    plane = flat[:, [0, 2]]
    pose = POSES[0]
    marks = project(PLAIN_LENS, pose, flat).marks_px
    matrix = fit_homography(plane, marks, 1.0).matrix
    found = plane_pose(matrix, PLAIN_LENS.focal_px, PLAIN_LENS.centre_px)
    lifted = np.column_stack([plane, np.zeros(len(plane))])
    _, turn, shift = cv2.solvePnP(lifted, marks, inner(PLAIN_LENS), None, flags=cv2.SOLVEPNP_IPPE)
    position = (-cv2.Rodrigues(turn)[0].T @ shift).ravel()
    for axis, one, other in zip("xyz", position, found.position_mm, strict=True):
        check(SOURCE, f"camera {axis} from a plane", one, other, 1e-3, seen=True, unit="mm")
