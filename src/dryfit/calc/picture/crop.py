"""Whether a picture is smaller than it was taken: reduced as a whole, or cut."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.calc.picture.taken import Taken

CropKind = Literal["none seen", "reduced", "cropped", "doubtful"]

# Sides that cameras and films have, longer over shorter (common practice, no source): sensors keep to them within
# 0.8 %, as 4928 x 3264 for 3:2.
USUAL_RATIOS = (1.0, 7 / 6, 5 / 4, 4 / 3, 7 / 5, 3 / 2, 16 / 9, 2.0)
_RATIO_SLACK = 0.008
# Rounding to whole pixels moves each side by half a pixel, at both sizes.
_SIDE_SLACK_PX = 1.0


@dataclass(frozen=True, slots=True)
class Crop:
    """What the sizes say. factor: pixels now over pixels when taken, 1 where the picture was not reduced.

    was_px  longer and shorter side when it was taken; None where the picture does not say
    ratio   longer over shorter side now
    """

    kind: CropKind
    factor: float
    was_px: tuple[int, int] | None
    ratio: float


def find_crop(width_px: int, height_px: int, taken: Taken) -> Crop:
    """Compare the size with the one at which the picture was taken, and its sides with usual ones.

    Where the picture says nothing of its size when taken, unusual sides make a crop doubtful, and usual ones prove
    nothing. An editor may write its own size into the picture: equal sizes prove nothing either.
    Raises ValueError for a side without pixels.
    Source: common practice, no source.
    """
    if width_px < 1 or height_px < 1:
        raise ValueError("a picture has pixels")
    longer, shorter = max(width_px, height_px), min(width_px, height_px)
    ratio = longer / shorter
    if taken.width_px and taken.height_px:
        was = (max(taken.width_px, taken.height_px), min(taken.width_px, taken.height_px))
        factor = longer / was[0]
        if abs(was[1] * factor - shorter) > _SIDE_SLACK_PX * max(1.0, factor):
            return Crop("cropped", 1.0, was, ratio)
        if (longer, shorter) != was:
            return Crop("reduced", factor, was, ratio)
        return Crop(_by_sides(ratio), 1.0, was, ratio)
    return Crop(_by_sides(ratio), 1.0, None, ratio)


def _by_sides(ratio: float) -> CropKind:
    is_usual = any(abs(ratio / usual - 1.0) <= _RATIO_SLACK for usual in USUAL_RATIOS)
    return "none seen" if is_usual else "doubtful"
