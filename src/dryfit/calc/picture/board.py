"""The inner corners of a chessboard on a picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array

Grey = npt.NDArray[np.uint8]

# The board is looked for on a picture of at most this many pixels along its longer side, and its corners are then
# refined on the whole one: the search takes minutes on the full picture of a modern camera.
_SEARCH_PX = 1600
# Half the side of the window around a corner, on a picture of at most _SEARCH_PX: as OpenCV's calibration example has.
USUAL_WINDOW_PX = 11
# A window must hold one corner only: at most this share of the least distance between neighbours.
_FITTING_SHARE, _LEAST_WINDOW = 0.45, 2


@dataclass(frozen=True, slots=True, eq=False)
class BoardSeen:
    """corners_px (columns * rows, 2), along the rows of the board.

    window_px  half the side of the window in which each was refined
    apart_px   least distance between neighbours
    """

    corners_px: Array
    window_px: int
    apart_px: float

    @property
    def is_window_wide(self) -> bool:
        """Whether windows of neighbours reach into one another."""
        return self.window_px > 0.5 * self.apart_px


def find_board(grey: Grey, columns: int, rows: int, window_px: int | None = None) -> BoardSeen | None:
    """Inner corners (columns * rows, 2) [px], along the rows of the board; None where no such board is seen.

    grey : (h, w)   columns, rows : of inner corners, 3 or more each
    window_px : 0 fits it to the board; 11 where it is not given, and more on pictures above 1600 px
    Pixels count from the centre of the first one.
    Raises ValueError for fewer corners.
    Source: OpenCV's findChessboardCorners and, where that sees nothing, findChessboardCornersSB; cornerSubPix.
    """
    import cv2

    if columns < 3 or rows < 3:
        raise ValueError("a board is looked for by 3 x 3 inner corners or more")
    picture = np.ascontiguousarray(grey)
    factor = min(1.0, _SEARCH_PX / max(picture.shape))
    small = (
        picture
        if factor == 1.0
        else cv2.resize(picture, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    )
    flags = cv2.CALIB_CB_ADAPTIVE_THRESH + cv2.CALIB_CB_NORMALIZE_IMAGE + cv2.CALIB_CB_FAST_CHECK
    is_seen, corners = cv2.findChessboardCorners(small, (columns, rows), flags=flags)
    if not is_seen:
        is_seen, corners = cv2.findChessboardCornersSB(
            small, (columns, rows), flags=cv2.CALIB_CB_NORMALIZE_IMAGE
        )
    if not is_seen or corners is None:
        return None
    # The centre of the first pixel of both is (0, 0), so that the middles of the pictures do not fall together.
    rough = (np.asarray(corners, dtype=np.float64).reshape(-1, 2) + 0.5) / factor - 0.5
    apart = _least_apart(rough.reshape(rows, columns, 2))
    half = round(USUAL_WINDOW_PX / factor) if window_px is None else window_px
    if half == 0:
        half = max(_LEAST_WINDOW, int(_FITTING_SHARE * apart))
    start = rough.astype(np.float32).reshape(-1, 1, 2).copy()
    fine = cv2.cornerSubPix(picture, start, (half, half), (-1, -1), (3, 40, 0.01))
    return BoardSeen(np.asarray(fine, dtype=np.float64).reshape(-1, 2), half, apart)


def _least_apart(grid: Array) -> float:
    across = np.linalg.norm(np.diff(grid, axis=1), axis=2).min()
    down = np.linalg.norm(np.diff(grid, axis=0), axis=2).min()
    return float(min(across, down))
