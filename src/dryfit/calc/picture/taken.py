"""How a picture was taken, as its own data has it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Taken:
    """Figures that the camera wrote; None where it wrote none.

    focal_mm       focal length of the lens
    focal_35_mm    focal length that gives the same view on 35 mm film
    px_per_mm      pixels to a millimetre of the sensor, along its width
    width_px, height_px  of the picture when it was taken
    zoom           digital zoom, 1 or more
    """

    focal_mm: float | None = None
    focal_35_mm: float | None = None
    px_per_mm: float | None = None
    width_px: int | None = None
    height_px: int | None = None
    zoom: float | None = None
