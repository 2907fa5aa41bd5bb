"""The corners of a board on several photographs, or every photograph that gives none."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.lens_records import LensAsked, LensRefused
from dryfit.base.errors import DryfitError, Fault, RowsRefused
from dryfit.calc.photo import BoardView, board_corners
from dryfit.calc.picture import BoardSeen, find_board
from dryfit.files.photo import Picture, read_picture, stored_grey

Progress = Callable[[int, int], None]
LEAST_CORNERS = 3
_MOST_CORNERS = 100
# Zoom positions are written to a tenth of a millimetre or so (common practice, no source).
_SAME_FOCAL = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class BoardPicture:
    """One photograph of a board, with its corners as asked and with a window that is fitted to them."""

    file: str
    picture: Picture
    seen: BoardSeen
    fitted: BoardSeen

    def view(self, asked: LensAsked, is_fitted: bool = False) -> BoardView:
        corners = board_corners(asked.columns, asked.rows, asked.square_mm)
        return BoardView((self.fitted if is_fitted else self.seen).corners_px, corners)


def read_boards(
    files: Sequence[Path], asked: LensAsked, progress: Progress | None = None
) -> tuple[BoardPicture, ...]:
    """Every photograph with its board. Raises RowsRefused with each that gives none, LensRefused where they differ."""
    _check(files, asked)
    found: list[BoardPicture] = []
    faults: list[Fault] = []
    for done, file in enumerate(files):
        try:
            found.append(_read(file, asked))
        except DryfitError as refusal:
            faults.append(Fault(str(file), refusal.what, refusal.do))
        if progress is not None:
            progress(done + 1, len(files))
    if faults:
        raise RowsRefused("photographs of the board", faults)
    _check_alike(found)
    return tuple(found)


def focal_mm_of(boards: Sequence[BoardPicture]) -> float | None:
    """As the camera wrote it in any of them."""
    return next((item.picture.taken.focal_mm for item in boards if item.picture.taken.focal_mm), None)


def _read(file: Path, asked: LensAsked) -> BoardPicture:
    picture, data = read_picture(file)
    grey = stored_grey(picture, data, str(file))
    seen = find_board(grey, asked.columns, asked.rows, asked.window_px)
    if seen is None:
        raise LensRefused(*_not_seen(grey, file, asked))
    fitted = find_board(grey, asked.columns, asked.rows, 0) or seen
    return BoardPicture(file.name, picture, seen, fitted)


def _not_seen(grey: np.ndarray, file: Path, asked: LensAsked) -> tuple[str, str, str]:
    """What, where and do; boards of nearly that size are looked for, since squares are easily counted for corners."""
    here = f"{asked.columns} x {asked.rows}"
    steps = ((-1, -1), (1, 1), (-1, 0), (0, -1), (1, 0), (0, 1))
    for across, down in steps:
        columns, rows = asked.columns + across, asked.rows + down
        if min(columns, rows) >= LEAST_CORNERS and find_board(grey, columns, rows) is not None:
            what = f"no board of {here} inner corners is seen on it, but one of {columns} x {rows}"
            do = f"count the corners where four squares meet, not the squares: --columns {columns} --rows {rows}"
            return what, str(file), do
    what = f"no board of {here} inner corners is seen on it"
    do = "show the whole board with a light margin, in focus and evenly lit; or leave the picture out"
    return what, str(file), do


def _check(files: Sequence[Path], asked: LensAsked) -> None:
    for option, count in (("--columns", asked.columns), ("--rows", asked.rows)):
        if not LEAST_CORNERS <= count <= _MOST_CORNERS:
            what = f"a board is found by {LEAST_CORNERS} to {_MOST_CORNERS} inner corners a side, not {count}"
            raise LensRefused(what, option, "count the corners where four squares meet, such as 9 and 6")
    names = [file.name for file in files]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        what = f"{twice[0]} is given twice"
        raise LensRefused(what, "the command line", "give each photograph once, each under a name of its own")
    if asked.window_px is not None and not 0 <= asked.window_px <= 200:
        raise LensRefused(f"{asked.window_px} px is no window", "--window", "give 2 to 200, or 0 to fit it")


def _check_alike(boards: Sequence[BoardPicture]) -> None:
    """One camera at one setting: pictures of one size, taken at one focal length, none of them twice."""
    sizes = {(item.picture.stored_width_px, item.picture.stored_height_px) for item in boards}
    if len(sizes) > 1:
        listed = "; ".join(
            f"{item.file} {item.picture.stored_width_px} x {item.picture.stored_height_px}" for item in boards
        )
        what = f"the photographs have {len(sizes)} sizes: {listed}"
        do = "give those of one camera as it wrote them, none cropped, reduced or turned by hand"
        raise LensRefused(what, "photographs of the board", do)
    focal = {item.file: item.picture.taken.focal_mm for item in boards if item.picture.taken.focal_mm}
    if focal and max(focal.values()) > (1.0 + _SAME_FOCAL) * min(focal.values()):
        low, high = (pick(focal, key=lambda name: focal[name]) for pick in (min, max))
        what = f"{low} was taken at {focal[low]:g} mm and {high} at {focal[high]:g} mm: two settings are two lenses"
        raise LensRefused(
            what, "photographs of the board", "give those of one setting; do not touch the zoom"
        )
    hashes = [item.picture.sha256 for item in boards]
    for place, item in enumerate(boards):
        if item.picture.sha256 in hashes[:place]:
            first = boards[hashes.index(item.picture.sha256)].file
            what = f"{item.file} is the same picture as {first}"
            raise LensRefused(
                what, "photographs of the board", "give each once: a picture counted twice counts for two"
            )
