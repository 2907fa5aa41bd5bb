"""Pixels to be computed with: the picture in grey, as the camera stored it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dryfit.files.photo.read import load, open_image
from dryfit.files.photo.record import PhotoRefused, Picture
from dryfit.files.photo.show import check_full, eight_bit


def stored_grey(picture: Picture, data: bytes, where: str) -> npt.NDArray[np.uint8]:
    """(h, w) of the stored picture, not turned upright.

    Raises PhotoRefused where the data is damaged or too large, and for a TIFF that is to be turned, whose stored
    pixels the decoder does not give.
    """
    check_full(picture, where)
    if picture.format == "TIFF" and picture.orientation != 1:
        raise PhotoRefused(
            "the TIFF picture is stored turned", where, "take the picture as the camera wrote it"
        )
    with open_image(data, picture.format, where) as image:
        load(image, where)
        try:
            return np.array(eight_bit(image).convert("L"))
        except (OSError, ValueError, MemoryError) as fault:
            what = f"the colours of the picture are not understood ({image.mode})"
            raise PhotoRefused(what, where, "save it with 8 bits a colour") from fault
