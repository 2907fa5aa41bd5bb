"""Pixels to be looked at: a reduced upright copy, and a piece at full size for a magnifier."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

from dryfit.files.photo.read import draft, load, open_image
from dryfit.files.photo.record import PhotoRefused, Picture

if TYPE_CHECKING:
    from PIL.Image import Image

JPEG_QUALITY = 88
TILE_QUALITY = 93  # a magnifier shows single pixels
# What is decoded at full size for a magnifier; larger pictures are magnified from a reduced copy only.
LARGEST_FULL_PIXELS = 120_000_000


def reduced_copy(picture: Picture, data: bytes, where: str, longest_px: int | None = None) -> bytes:
    """The upright picture as JPEG without any data beside the pixels.

    longest_px : most pixels along its longer side; None: as large as it is, where that can be decoded
    Raises PhotoRefused where the data is damaged, or too large for its full size.
    """
    if longest_px is None:
        check_full(picture, where)
    with open_image(data, picture.format, where) as image:
        if longest_px is not None:
            draft(image, picture, longest_px)
        upright = _upright(image, picture, where)
        if longest_px is not None and max(upright.size) > longest_px:
            share = longest_px / max(upright.size)
            size = (max(1, round(upright.width * share)), max(1, round(upright.height * share)))
            upright = upright.resize(size, reducing_gap=2.0)
        return _encode(upright, "JPEG", quality=JPEG_QUALITY)


def cut_out(
    picture: Picture, data: bytes, where: str, left_px: int, top_px: int, width_px: int, height_px: int
) -> bytes:
    """A rectangle of the upright picture at full size, as PNG; what lies beyond the edge is left out.

    Raises PhotoRefused as reduced_copy does, and where the rectangle lies outside the picture.
    """
    check_full(picture, where)
    right, bottom = min(left_px + width_px, picture.width_px), min(top_px + height_px, picture.height_px)
    left, top = max(left_px, 0), max(top_px, 0)
    if left >= right or top >= bottom:
        what = f"the rectangle lies outside the picture of {picture.width_px} x {picture.height_px} pixels"
        raise PhotoRefused(what, where, "ask for a rectangle in the picture")
    with open_image(data, picture.format, where) as image:
        return _encode(_upright(image, picture, where).crop((left, top, right, bottom)), "PNG")


def cut_tiles(picture: Picture, data: bytes, where: str, side_px: int) -> dict[tuple[int, int], bytes]:
    """The whole upright picture at full size in squares, as JPEG, by column and row; decoded once for all of them.

    Raises PhotoRefused as reduced_copy does.
    """
    check_full(picture, where)
    tiles: dict[tuple[int, int], bytes] = {}
    with open_image(data, picture.format, where) as image:
        upright = _upright(image, picture, where)
        for top in range(0, upright.height, side_px):
            for left in range(0, upright.width, side_px):
                right, bottom = min(left + side_px, upright.width), min(top + side_px, upright.height)
                piece = upright.crop((left, top, right, bottom))
                tiles[left // side_px, top // side_px] = _encode(piece, "JPEG", quality=TILE_QUALITY)
    return tiles


def check_full(picture: Picture, where: str) -> None:
    if picture.stored_width_px * picture.stored_height_px > LARGEST_FULL_PIXELS:
        what = f"the picture has {picture.megapixels:.0f} megapixels, too many to be decoded at full size"
        raise PhotoRefused(what, where, "look at a reduced copy; marks still count in its full pixels")


def _upright(image: Image, picture: Picture, where: str) -> Image:
    import PIL.Image

    load(image, where)
    turned = PIL.Image.Transpose
    turns = {
        2: turned.FLIP_LEFT_RIGHT,
        3: turned.ROTATE_180,
        4: turned.FLIP_TOP_BOTTOM,
        5: turned.TRANSPOSE,
        6: turned.ROTATE_270,
        7: turned.TRANSVERSE,
        8: turned.ROTATE_90,
    }
    # Pillow turns a TIFF by itself while it loads.
    turn = turns.get(picture.orientation) if picture.format != "TIFF" else None
    try:
        plain = eight_bit(image)
        return plain if turn is None else plain.transpose(turn)
    except (OSError, ValueError, MemoryError) as fault:
        what = f"the colours of the picture are not understood ({image.mode})"
        raise PhotoRefused(what, where, "save it with 8 bits a colour") from fault


def eight_bit(image: Image) -> Image:
    """Grey or RGB with 8 bits; on white where it is transparent."""
    import PIL.Image

    if image.mode in ("L", "RGB"):
        return image
    if image.mode.startswith("I"):
        import numpy as np

        values = np.asarray(image).astype(np.int64)
        # 16-bit grey; Pillow widens it to 32 for some files
        return PIL.Image.fromarray((np.clip(values, 0, 65535) >> 8).astype(np.uint8))
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        layered = image.convert("RGBA")
        white = PIL.Image.new("RGBA", layered.size, "white")
        return PIL.Image.alpha_composite(white, layered).convert("RGB")
    if image.mode == "F":
        raise ValueError("floating point")
    return image.convert("RGB")


def _encode(image: Image, format: str, **options: Any) -> bytes:
    buffer = io.BytesIO()
    image.info.clear()  # comments and profiles would be written along
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image.save(buffer, format, **options)
    return buffer.getvalue()
