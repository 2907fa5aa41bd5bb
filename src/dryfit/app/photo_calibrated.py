"""The calibrated lens of a photograph, in the pixels of its upright picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.calc.photo import LENS_NAMES, Lens, move_lens
from dryfit.calc.picture import Crop, upright_point
from dryfit.files.photo import Picture
from dryfit.model.photo import CalibratedLens, Photo

# Zoom positions are written to a tenth of a millimetre or so (common practice, no source).
_SAME_FOCAL = 0.01
_STATE = "state focal_px, centre_px and distortion of this photograph instead of its lens"


class LensUnfit(DryfitError):
    """A lens that was calibrated on other pictures than this photograph is."""


@dataclass(frozen=True, slots=True, eq=False)
class SeenLens:
    """A calibrated lens on one photograph.

    covariance (8, 8)  in the order of LENS_NAMES
    causes             what moves its figures, independent of one another, each by one standard uncertainty (8,); named
                       alike on every photograph that was taken with the lens, however it is turned
    note               how it was brought onto the picture
    """

    lens: Lens
    covariance: Array
    causes: tuple[tuple[str, Array], ...]
    note: str


def lens_on(photo: Photo, picture: Picture, crop: Crop) -> SeenLens | None:
    """The calibrated lens in upright pixels of the picture as it lies there; None where there is none.

    A picture that the camera stored turned is turned here too, and one that its own data shows to be reduced as a
    whole has its lens reduced. Raises LensUnfit where the picture is no picture of the sensor that was calibrated, or
    was taken with another focal length.
    """
    own = photo.calibrated
    if own is None:
        return None
    factor = _factor(own, photo, picture, crop)
    _check_focal(own, photo, picture)
    matrix, shift = _to_upright(picture)
    shift = shift + matrix @ np.full(2, (factor - 1.0) / 2.0)
    matrix = matrix * factor
    if photo.is_mirrored:
        flip = np.diag([-1.0, 1.0])
        matrix, shift = flip @ matrix, flip @ shift + [picture.width_px - 1.0, 0.0]
    covariance = np.array(own.covariance)
    lens, moved, slope = move_lens(_record(own), covariance, matrix, shift)
    root = root_of(covariance)
    label = f"lens {own.id}"
    causes = tuple((f"{label}: {name} and what goes with it", slope @ column) for name, column in root)
    note = f'lens "{own.id}" as calibrated'
    if factor != 1.0:
        note += f", on a picture reduced to {factor:.4g} of its pixels"
    return SeenLens(lens, moved, causes, note)


def unflipped(lens: Lens, covariance: Array, width_px: int) -> tuple[Lens, Array]:
    """A lens on a picture that was flipped left to right, as it is on the picture flipped back."""
    moved = move_lens(lens, covariance, np.diag([-1.0, 1.0]), np.array([width_px - 1.0, 0.0]))
    return moved[0], moved[1]


def root_of(covariance: Array) -> list[tuple[str, Array]]:
    """Independent causes (8,) whose squares add up to a covariance (8, 8), each by the first figure that it moves."""
    free = np.flatnonzero(np.diag(covariance) > 0.0)
    std = np.sqrt(np.diag(covariance)[free])
    part = covariance[np.ix_(free, free)] / np.outer(std, std)
    root = np.linalg.cholesky(part + 1e-10 * np.eye(len(free))) * std[:, None]
    found = []
    for place, figure in enumerate(free):
        column = np.zeros(8)
        column[free] = root[:, place]
        found.append((LENS_NAMES[figure], column))
    return found


def _record(own: CalibratedLens) -> Lens:
    focal, x, y, k1, k2, p1, p2, k3 = own.figures
    return Lens(focal, np.array([x, y]), k1, k2, p1, p2, k3)


def _factor(own: CalibratedLens, photo: Photo, picture: Picture, crop: Crop) -> float:
    """Pixels of the picture over pixels of the calibration, along a side. Raises LensUnfit."""
    where = f'photo "{photo.id}"'
    size = (picture.stored_width_px, picture.stored_height_px)
    board = (own.width_px, own.height_px)
    if photo.is_cropped or (photo.is_cropped is None and crop.kind == "cropped"):
        what = f'it was cropped: where the middle of the lens "{own.id}" lies on it is not known'
        raise LensUnfit(what, where, f"take the whole picture, or {_STATE}")
    if size == board:
        return 1.0
    has = f'it has {size[0]} x {size[1]} pixels, and the lens "{own.id}" was calibrated on {board[0]} x {board[1]}'
    if size == board[::-1]:
        do = f"take the picture as the camera wrote it: turned by hand, it may have been turned either way; or {_STATE}"
        raise LensUnfit(f"{has}: it lies the other way", where, do)
    was = crop.was_px
    if (
        crop.kind == "reduced"
        and was == (max(board), min(board))
        and (size[0] > size[1]) == (board[0] > board[1])
    ):
        return size[0] / board[0]
    what = f"{has}: nothing in the picture says that it is the same sensor at another pixel size"
    raise LensUnfit(what, where, f"take the picture as the camera wrote it, or {_STATE}")


def _check_focal(own: CalibratedLens, photo: Photo, picture: Picture) -> None:
    here = picture.taken.focal_mm
    if own.focal_mm is None or here is None or abs(here - own.focal_mm) <= _SAME_FOCAL * own.focal_mm:
        return
    what = f'it was taken at {here:g} mm, and the lens "{own.id}" was calibrated at {own.focal_mm:g} mm'
    raise LensUnfit(
        what, f'photo "{photo.id}"', "calibrate the lens at that setting under another name, or remove lens"
    )


def _to_upright(picture: Picture) -> tuple[Array, Array]:
    """matrix (2, 2) and shift (2,) from stored to upright pixels."""

    def at(x: float, y: float) -> Array:
        return np.array(
            upright_point(x, y, picture.stored_width_px, picture.stored_height_px, picture.orientation)
        )

    shift = at(0.0, 0.0)
    return np.column_stack([at(1.0, 0.0) - shift, at(0.0, 1.0) - shift]), shift
