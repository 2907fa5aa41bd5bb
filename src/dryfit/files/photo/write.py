"""Writing a picture as a camera would store it."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray

from dryfit.calc.picture import ORIENTATIONS, Taken
from dryfit.files.photo.cleaning import figures_block

JPEG_QUALITY = 82


def encode_photograph(upright: NDArray[np.uint8], orientation: int = 1, taken: Taken | None = None) -> bytes:
    """A JPEG file, the same bytes each time.

    upright     : (height, width, 3) red, green and blue, 0 to 255, as the picture is looked at
    orientation : as Exif counts it, 1 to 8: the picture is stored so that it stands upright when turned accordingly
    taken       : figures of the camera that go into its Exif data
    Raises ValueError for an array that is no such picture, or another orientation.
    """
    import PIL.Image

    if upright.ndim != 3 or upright.shape[2] != 3 or upright.dtype != np.uint8:
        raise ValueError("a picture is an array of (height, width, 3) bytes")
    stored = PIL.Image.fromarray(np.ascontiguousarray(_stored(upright, orientation)))
    buffer = io.BytesIO()
    figures = figures_block(orientation, taken or Taken())
    stored.save(buffer, "JPEG", quality=JPEG_QUALITY, exif=b"Exif\0\0" + figures)
    return buffer.getvalue()


def _stored(upright: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """The picture as it lies in the file: the turn that the orientation asks for, taken back."""
    if orientation not in ORIENTATIONS:
        raise ValueError(f"there is no orientation {orientation}")
    across = upright.transpose(1, 0, 2)
    turned = {
        1: upright,
        2: upright[:, ::-1],
        3: upright[::-1, ::-1],
        4: upright[::-1],
        5: across,
        6: across[::-1],
        7: across[::-1, ::-1],
        8: across[:, ::-1],
    }
    return turned[orientation]
