"""Figures of the camera out of a picture's Exif data; places, names and serial numbers are never read out."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from dryfit.calc.picture import ORIENTATIONS, Taken

# Tags of Exif 2.3.
ORIENTATION = 0x0112
CAMERA = 0x8769
PLACE = 0x8825
FOCAL, FOCAL_35 = 0x920A, 0xA405
WIDTH, HEIGHT = 0xA002, 0xA003
PLANE_RESOLUTION, PLANE_UNIT = 0xA20E, 0xA210
ZOOM = 0xA404
# Artist, copyright, description, maker's note, comment, owner, serial numbers, unique id, editor's fields.
PRIVATE = frozenset(
    {0x010E, 0x013B, 0x8298, 0x927C, 0x9286, 0xA420, 0xA430, 0xA431, 0xA435}
    | {0x9C9B, 0x9C9C, 0x9C9D, 0x9C9E, 0x9C9F}
)
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
# Beyond these a figure is damaged or a placeholder.
_LONGEST_MM, _MOST_PX_PER_MM, _LARGEST_PX = 10_000.0, 5_000.0, 1_000_000


def find_orientation(tags: Mapping[int, Any]) -> tuple[int, str]:
    """The orientation, and what is wrong with it; one that does not exist is taken as stored."""
    value = tags.get(ORIENTATION)
    if value is None:
        return 1, ""
    if isinstance(value, int) and value in ORIENTATIONS:
        return value, ""
    return 1, f"its orientation {str(value)[:20]!r} does not exist: taken as stored"


def find_taken(camera: Mapping[int, Any]) -> Taken:
    """Figures of the camera; those that are missing or senseless are None."""
    resolution = _number(camera.get(PLANE_RESOLUTION))
    unit = _MM_PER_UNIT.get(_whole(camera.get(PLANE_UNIT)) or 2)
    per_mm = resolution / unit if resolution is not None and unit is not None else None
    width, height = _whole(camera.get(WIDTH)), _whole(camera.get(HEIGHT))
    has_size = _fits(width, _LARGEST_PX) and _fits(height, _LARGEST_PX)
    zoom = _number(camera.get(ZOOM))
    return Taken(
        focal_mm=_kept(_number(camera.get(FOCAL)), _LONGEST_MM),
        focal_35_mm=_kept(_number(camera.get(FOCAL_35)), _LONGEST_MM),
        px_per_mm=_kept(per_mm, _MOST_PX_PER_MM),
        width_px=width if has_size else None,
        height_px=height if has_size else None,
        zoom=zoom if zoom is not None and 1.0 <= zoom <= 100.0 else None,
    )


def is_private(tags: Mapping[int, Any], camera: Mapping[int, Any]) -> bool:
    """Whether the data holds a place, a name, a serial number or a comment."""
    return PLACE in tags or any(tag in PRIVATE for tag in (*tags, *camera))


def _number(value: Any) -> float | None:
    if isinstance(value, tuple) and len(value) == 1:
        value = value[0]
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) else None


def _whole(value: Any) -> int | None:
    number = _number(value)
    return int(number) if number is not None and number == int(number) else None


def _fits(value: float | None, most: float) -> bool:
    return value is not None and 0 < value <= most


def _kept(value: float | None, most: float) -> float | None:
    return value if _fits(value, most) else None
