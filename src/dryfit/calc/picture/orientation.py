"""The eight ways in which a stored picture can be turned and flipped."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

# What is done to the stored picture to make it upright. Exif 2.3, tag 0x0112 (memory; checked against Pillow).
ORIENTATIONS: Mapping[int, str] = MappingProxyType(
    {
        1: "as stored",
        2: "flipped left to right",
        3: "turned by half a turn",
        4: "flipped top to bottom",
        5: "flipped over its falling diagonal",
        6: "turned a quarter clockwise",
        7: "flipped over its rising diagonal",
        8: "turned a quarter anticlockwise",
    }
)


def upright_size(width_px: int, height_px: int, orientation: int) -> tuple[int, int]:
    """Width and height of the upright picture. Raises ValueError for an orientation that does not exist."""
    if orientation not in ORIENTATIONS:
        raise ValueError(f"there is no orientation {orientation}")
    return (height_px, width_px) if orientation >= 5 else (width_px, height_px)


def upright_point(
    x_px: float, y_px: float, width_px: int, height_px: int, orientation: int
) -> tuple[float, float]:
    """Where a point of the stored picture lies on the upright one; the centre of the first pixel is (0, 0).

    width_px, height_px : of the stored picture
    Raises ValueError for an orientation that does not exist.
    Source: Exif 2.3, tag 0x0112 (memory; checked against Pillow's exif_transpose).
    """
    across, down = width_px - 1 - x_px, height_px - 1 - y_px
    places = {
        1: (x_px, y_px),
        2: (across, y_px),
        3: (across, down),
        4: (x_px, down),
        5: (y_px, x_px),
        6: (down, x_px),
        7: (down, across),
        8: (y_px, across),
    }
    if orientation not in places:
        raise ValueError(f"there is no orientation {orientation}")
    return places[orientation]
