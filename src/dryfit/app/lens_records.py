"""A lens that was found from photographs of a board: what was asked, what was found."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.base.errors import DryfitError
from dryfit.model.finding import State


class LensRefused(DryfitError):
    """Photographs of a board that give no lens, or one that cannot be taken as asked."""


@dataclass(frozen=True, slots=True)
class LensAsked:
    """What is asked of a lens.

    columns, rows  of inner corners, where four squares meet
    square_mm      side of a square
    without, keep  files that are left out, or kept although they fit badly; because: why
    used_by        ids of photographs that were taken with it
    window_px      half the window around a corner; 0 fits it to each board, None is usual
    is_k3_found    whether k3 is found; None: where the photographs ask for it
    """

    columns: int
    rows: int
    square_mm: float
    name: str
    without: tuple[str, ...] = ()
    keep: tuple[str, ...] = ()
    because: str = ""
    used_by: tuple[str, ...] = ()
    window_px: int | None = None
    is_k3_found: bool | None = None
    again: bool = False
    look: bool = False


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One photograph of the board. Figures are None where it was left out.

    rms_px       root mean square distance of its corners from where the lens puts them
    tilt_deg     of the board out of the plane of the picture;  distance_mm: of its middle from the camera
    apart_px     least distance between neighbouring corners;  window_px: half the window around each
    """

    file: str
    state: State
    rms_px: float | None
    tilt_deg: float | None
    distance_mm: float | None
    apart_px: float | None
    window_px: int | None
    why: str


@dataclass(frozen=True, slots=True)
class BadView:
    """A photograph that fits badly, and what the lens is without it.

    ratio        how many times worse than the median of the others;  p_value: of so large a ratio by chance
    without_px   root mean square of the others then;  focal_px, focal_std_px: then
    change_std   change of the focal length over its standard uncertainty [-]
    fitting_px   its own root mean square where the window is fitted to its corners; None where that is no narrower
    fitting_window_px  that window
    is_decided   whether the user keeps it
    """

    file: str
    rms_px: float
    others_px: float
    ratio: float
    p_value: float
    without_px: float
    focal_px: float
    focal_std_px: float
    change_std: float
    fitting_px: float | None
    fitting_window_px: int | None
    is_decided: bool


@dataclass(frozen=True, slots=True)
class LensFigure:
    """One figure with its standard uncertainty, both in its unit: px, or - for a number."""

    name: str
    value: float
    std: float
    unit: str


@dataclass(frozen=True, slots=True)
class PictureCorner:
    """One corner of the picture: how far the distortion moves it; None where it cannot be told."""

    place: str
    moved_px: float | None
    std_px: float | None
    is_reached: bool


@dataclass(frozen=True, slots=True)
class LensReport:
    """A lens, and whether it was written.

    boards       every photograph that was given
    bad          those that fit badly, the worst first
    rms_px       root mean square distance of all corners;  mark_std_px: of one coordinate, as the residuals have it
    covered      share of the picture inside the hull of all corners [-]
    spread_deg   largest angle between two boards
    row          keys of the [[lens]] as written, or to be written
    used_by      photographs that use it then
    """

    project: str
    name: str
    state: State
    width_px: int
    height_px: int
    columns: int
    rows: int
    square_mm: float
    boards: tuple[BoardLine, ...]
    bad: tuple[BadView, ...]
    figures: tuple[LensFigure, ...]
    rms_px: float
    mark_std_px: float
    covered: float
    spread_deg: float
    corners: tuple[PictureCorner, ...]
    notes: tuple[str, ...]
    is_written: bool
    used_by: tuple[str, ...]
    diff: str
