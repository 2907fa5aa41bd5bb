"""Small invented pictures with the data that a camera writes beside the pixels."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import PIL.Image
from PIL.TiffImagePlugin import IFDRational

ENDING = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif"}


def pixels(width: int = 120, height: int = 80, seed: int = 1) -> np.ndarray:
    """A slope of grey from left to right with a white corner at the first pixel, and a little noise."""
    rng = np.random.default_rng(seed)
    values = np.linspace(30, 200, width)[None, :, None] + rng.normal(0, 4, (height, width, 3))
    values[:16, :16] = 255
    return values.clip(0, 255).astype(np.uint8)


def camera_data(orientation: int | None = None, private: bool = False, **figures: Any) -> PIL.Image.Exif:
    """Exif data; figures: focal_mm, focal_35_mm, size (width, height), per_cm, zoom."""
    exif = PIL.Image.Exif()
    if orientation is not None:
        exif[0x0112] = orientation
    camera = exif.get_ifd(0x8769)
    if "focal_mm" in figures:
        camera[0x920A] = IFDRational(round(figures["focal_mm"] * 100), 100)
    if "focal_35_mm" in figures:
        camera[0xA405] = figures["focal_35_mm"]
    if "size" in figures:
        camera[0xA002], camera[0xA003] = figures["size"]
    if "per_cm" in figures:
        camera[0xA20E], camera[0xA210] = IFDRational(round(figures["per_cm"] * 100), 100), 3
    if "zoom" in figures:
        camera[0xA404] = IFDRational(round(figures["zoom"] * 100), 100)
    if private:
        exif[0x013B] = "Invented Person"
        camera[0xA431] = "SERIAL-12345"
        place = exif.get_ifd(0x8825)
        place[1], place[2] = "N", (51.0, 2.0, 3.0)
    return exif


def picture_bytes(
    format: str = "JPEG", array: np.ndarray | None = None, exif: PIL.Image.Exif | None = None, **options: Any
) -> bytes:
    """A picture file's content."""
    buffer = io.BytesIO()
    image = PIL.Image.fromarray(pixels() if array is None else array)
    image.save(buffer, format, **({} if exif is None else {"exif": exif.tobytes()}), **options)
    return buffer.getvalue()


def write_picture(path: Path, **options: Any) -> Path:
    """A picture file, its format by the ending of its name."""
    format = next(kind for kind, ending in ENDING.items() if path.suffix == ending)
    path.write_bytes(picture_bytes(format, **options))
    return path
