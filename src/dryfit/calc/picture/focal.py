"""The focal length in pixels, from what the camera wrote."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from dryfit.calc.picture.crop import Crop
from dryfit.calc.picture.taken import Taken

FocalFrom = Literal["sensor width", "focal plane", "35 mm equivalent"]

# Diagonal of a 36 mm x 24 mm frame.
FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
# A focal length as engraved or written departs from the true one by up to 5 %, and changes with the distance that is
# focused: taken as a rectangular distribution of that half width (common practice, no source).
NOMINAL_STD = 0.05 / math.sqrt(3.0)
# Equivalents are written in whole millimetres.
_STEP_35_MM = 1.0
# Two ways that differ by more than this share contradict one another (common practice, no source).
_CONTRADICT = 0.12


@dataclass(frozen=True, slots=True)
class FocalFigure:
    """A focal length with its standard uncertainty [px].

    whence  how it was found;  other_px  by the other way, where there is one;  is_contradicted  they disagree
    """

    focal_px: float
    std_px: float
    whence: FocalFrom
    other_px: float | None = None
    is_contradicted: bool = False


def focal_from_data(
    width_px: int, height_px: int, taken: Taken, crop: Crop, sensor_width_mm: float | None = None
) -> FocalFigure | None:
    """Focal length in pixels of the picture as it is now; None where the data does not tell.

    width_px, height_px : now   sensor_width_mm : of the camera, where the user states it
    Of a cropped picture nothing is said: how many pixels the sensor's width had is then not known.
    Source: similar triangles in the camera; the 35 mm equivalent goes by the diagonal, CIPA DCG-001 (memory).
    """
    if crop.kind == "cropped":
        return None
    longer, shorter = max(width_px, height_px), min(width_px, height_px)
    zoom = max(taken.zoom or 1.0, 1.0)
    found: list[tuple[FocalFrom, float, float]] = []
    if taken.focal_mm and sensor_width_mm:
        found.append(("sensor width", taken.focal_mm / sensor_width_mm * longer * zoom, 0.0))
    if taken.focal_mm and taken.px_per_mm and zoom == 1.0:
        found.append(("focal plane", taken.focal_mm * taken.px_per_mm * crop.factor, 0.0))
    if taken.focal_35_mm:
        rounding = _STEP_35_MM / math.sqrt(12.0) / taken.focal_35_mm
        pixels = taken.focal_35_mm / FILM_DIAGONAL_MM * math.hypot(longer, shorter)
        found.append(("35 mm equivalent", pixels, rounding))
    if not found:
        return None
    whence, focal, rounding = found[0]
    relative = math.hypot(NOMINAL_STD, rounding)
    if len(found) == 1:
        return FocalFigure(focal, relative * focal, whence)
    other = found[1][1]
    apart = abs(focal - other)
    is_contradicted = apart > _CONTRADICT * focal
    # Two figures that contradict one another bound nothing better than their distance.
    std = max(relative * focal, apart) if is_contradicted else relative * focal
    return FocalFigure(focal, std, whence, other, is_contradicted)
