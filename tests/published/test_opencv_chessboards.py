"""Chessboard photographs of OpenCV's examples, from Debian's opencv-doc (left01..left14.jpg, no 10; 9 x 6, 25 mm).

Their own file left_intrinsics.yml, made by OpenCV's calibration example, has f 535.9, c 342.3 235.57, k1 -0.266,
k3 0.238 and 0.39 px (seen). Corners are found by OpenCV as that example does. The package is not part of the
project: without it these tests are left out, and say so.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from dryfit.calc.photo import LENS_NAMES, BoardCalibration, BoardView, board_corners, calibrate_board
from published.registry import check

FOLDER = Path("/usr/share/doc/opencv-doc/examples/data")
SOURCE = "OpenCV example, left_intrinsics.yml"
LIBRARY = "OpenCV 5, calibrateCameraExtended on the same corners"
NUMBERS = (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14)
pytestmark = pytest.mark.skipif(
    not (FOLDER / "left01.jpg").exists(),
    reason="the chessboard photographs are not installed (apt-get install opencv-doc): not checked",
)


@cache
def views() -> tuple[BoardView, ...]:
    import cv2

    found = []
    for number in NUMBERS:
        picture = cv2.imread(str(FOLDER / f"left{number:02d}.jpg"), cv2.IMREAD_GRAYSCALE)
        _, corners = cv2.findChessboardCorners(picture, (9, 6))
        rough = np.asarray(corners, dtype=np.float32).reshape(-1, 1, 2).copy()
        fine = cv2.cornerSubPix(picture, rough, (11, 11), (-1, -1), (3, 30, 0.1))
        found.append(BoardView(np.asarray(fine, dtype=float).reshape(-1, 2), board_corners(9, 6, 25.0)))
    return tuple(found)


@cache
def calibration() -> BoardCalibration:
    return calibrate_board(views(), 640, 480, LENS_NAMES)


def test_lens_as_published() -> None:
    lens = calibration().lens
    check(SOURCE, "focal length", 535.9, lens.focal_px, 0.05, seen=True, unit="px")
    check(SOURCE, "principal point x", 342.3, lens.centre_px[0], 0.05, seen=True, unit="px")
    check(SOURCE, "principal point y", 235.57, lens.centre_px[1], 0.01, seen=True, unit="px")
    check(SOURCE, "k1", -0.266, lens.k1, 5e-4, seen=True)
    check(SOURCE, "k3", 0.238, lens.k3, 1e-3, seen=True)
    check(SOURCE, "residual", 0.393, calibration().overall_px, 5e-4, seen=True, unit="px")


def test_lens_covariance_and_views_as_the_library_has_them() -> None:
    import cv2

    corners = board_corners(9, 6, 25.0)
    flat = np.column_stack([corners, np.zeros(len(corners))]).astype(np.float32)
    marks = [view.marks_px.astype(np.float32).reshape(-1, 1, 2) for view in views()]
    answer = cv2.calibrateCameraExtended(
        [flat] * len(marks), marks, (640, 480), np.eye(3), None, flags=cv2.CALIB_FIX_ASPECT_RATIO
    )
    inner, bent, spread, rms = answer[1], answer[2].ravel(), answer[5].ravel(), answer[7].ravel()
    ours = calibration()
    theirs = [inner[1, 1], inner[0, 2], inner[1, 2], *bent[:5]]
    for name, one, other in zip(LENS_NAMES, theirs, ours.lens.vector, strict=True):
        check(LIBRARY, name, one, other, 1e-5 * max(abs(one), 1.0), seen=True)
    for name, one, other in zip(LENS_NAMES, spread[1:9], ours.std, strict=True):
        check(LIBRARY, f"std of {name}", one, other, 1e-5 * one, seen=True)
    for number, one, other in zip(NUMBERS, rms, ours.rms_px, strict=True):
        check(LIBRARY, f"residual of left{number:02d}", one, other, 1e-5, seen=True, unit="px")


def test_the_second_view_is_named_and_nothing_is_left_out() -> None:
    worst = calibration().suspects[0]
    assert worst.view == 1
    assert 3.0 < worst.ratio < 7.0
    assert len(calibration().rms_px) == len(NUMBERS)


def test_without_the_second_view_the_rest_fits_twice_as_well() -> None:
    rest = tuple(view for index, view in enumerate(views()) if index != 1)
    without = calibrate_board(rest, 640, 480, LENS_NAMES)
    assert without.overall_px < 0.6 * calibration().overall_px
    assert all(each.ratio < 3.0 for each in without.suspects)
