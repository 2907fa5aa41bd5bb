"""The chessboard photographs of OpenCV's examples through the command, beside OpenCV's own calibration.

From Debian's opencv-doc (left01..left14.jpg, no 10; 9 x 6, 25 mm). The package is not part of the project: without it
these tests are left out, and say so.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from dryfit.calc.picture import find_board
from published.registry import check
from support.command import run, run_json

FOLDER = Path("/usr/share/doc/opencv-doc/examples/data")
FILES = tuple(FOLDER / f"left{number:02d}.jpg" for number in (1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14))
LIBRARY = "OpenCV 5, calibrateCameraExtended on the pictures that the command read"
NAMES = ("focal length", "centre, x", "centre, y", "k1", "k2", "p1", "p2", "k3")
BOARD = ("--columns", 9, "--rows", 6, "--square", "25mm", "--name", "left")
pytestmark = pytest.mark.skipif(
    not FILES[0].exists(),
    reason="the chessboard photographs are not installed (apt-get install opencv-doc): not checked",
)


def theirs(files: tuple[Path, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Figures and standard uncertainties in our order, and residuals of the views."""
    flat = np.zeros((54, 3), np.float32)
    flat[:, :2] = np.mgrid[0:9, 0:6].T.reshape(-1, 2) * 25.0
    marks = []
    for file in files:
        seen = find_board(cv2.imread(str(file), cv2.IMREAD_GRAYSCALE), 9, 6)
        assert seen is not None
        marks.append(seen.corners_px.astype(np.float32).reshape(-1, 1, 2))
    flags = cv2.CALIB_FIX_ASPECT_RATIO
    answer = cv2.calibrateCameraExtended([flat] * len(marks), marks, (640, 480), np.eye(3), None, flags=flags)
    inner, bent = answer[1], answer[2].ravel()
    figures = np.array([inner[1, 1], inner[0, 2], inner[1, 2], *bent[:5]])
    return figures, answer[5].ravel()[1:9], answer[7].ravel()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run("new", tmp_path / "p", "--scale", "1:20")
    return tmp_path / "p"


def test_bad_second_view_is_named_and_the_lens_is_that_of_the_library(folder: Path) -> None:
    status, plain = run_json("photo", "lens", *FILES, *BOARD, "--k3", "-p", folder)
    assert status == 1
    assert not plain["is_written"]
    worst = plain["bad"][0]
    assert worst["file"] == "left02.jpg"
    assert 3.0 < worst["ratio"] < 7.0
    figures, std, rms = theirs(FILES)
    ours = {item["name"]: item for item in plain["figures"]}
    for name, one, spread in zip(NAMES, figures, std, strict=True):
        check(LIBRARY, name, one, ours[name]["value"], 1e-4 * max(abs(one), 0.1), seen=True)
        check(LIBRARY, f"std of {name}", spread, ours[name]["std"], 1e-3 * spread, seen=True)
    for line, one in zip(plain["boards"], rms, strict=True):
        check(LIBRARY, f"residual of {line['file']}", one, line["rms_px"], 1e-4, seen=True, unit="px")
    rest = tuple(file for file in FILES if file.name != "left02.jpg")
    without, without_std, _ = theirs(rest)
    check(LIBRARY, "focal length without left02", without[0], worst["focal_px"], 1e-3, seen=True, unit="px")
    check(LIBRARY, "its std", without_std[0], worst["focal_std_px"], 1e-3, seen=True, unit="px")


def test_lens_is_written_once_the_bad_views_are_decided(folder: Path) -> None:
    reason = ("--because", "far corners nearer than the window")
    decided = ("--without", "left02.jpg", "--keep", "left13.jpg", *reason)
    status, plain = run_json("photo", "lens", *FILES, *BOARD, *decided, "-p", folder)
    assert status == 0
    assert plain["is_written"]
    assert plain["rms_px"] < 0.25
    assert plain["state"] == "caution"  # no board reaches two corners of the picture
    assert [item["place"] for item in plain["corners"] if not item["is_reached"]] == [
        "upper left",
        "lower left",
    ]
