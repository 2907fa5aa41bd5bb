"""A copy of a picture without place, names, serial numbers and comments, its pixels as they were.

Nothing is decoded: the blocks beside the pixels are left out, and one with the figures of the camera is put in their
place. A TIFF is laid out so that this cannot be done without writing it anew; it stays as it is.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from dryfit.calc.picture import Taken
from dryfit.files.photo import exif
from dryfit.files.photo.record import Picture

# Frame header and tables, application data that decoding needs (JFIF, colour profile, colour transform).
_SOS, _EOI = 0xDA, 0xD9
# Within a scan FF is followed by 00, by a restart or by a fill byte; anything else ends it.
_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_LEFT_OUT_PNG = frozenset({b"tEXt", b"zTXt", b"iTXt", b"eXIf", b"tIME"})


@dataclass(frozen=True, slots=True)
class Cleaned:
    """The bytes to keep. is_clean: nothing private is in them; is_changed: something was left out."""

    data: bytes
    is_clean: bool
    is_changed: bool


def cleaned(picture: Picture, data: bytes) -> Cleaned:
    """The picture's bytes without what is private; as they are where nothing is, or where it cannot be taken out."""
    if not picture.is_private:
        return Cleaned(data, True, False)
    if picture.format == "JPEG":
        return Cleaned(_clean_jpeg(data, _figures(picture)), True, True)
    if picture.format == "PNG":
        return Cleaned(_clean_png(data, _figures(picture)), True, True)
    return Cleaned(data, False, False)


def jpeg_segments(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and content of each segment before the pixels; ends early where the data does."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        if marker == 0xFF:  # fill
            at += 1
            continue
        if marker in (_SOS, _EOI):
            return
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        if length < 2:
            return
        yield marker, data[at + 4 : at + 2 + length]
        at += 2 + length


def _clean_jpeg(data: bytes, figures: bytes) -> bytes:
    kept = [b"\xff\xd8"]
    length = 2
    is_placed = False
    for marker, body in jpeg_segments(data):
        while data[length : length + 2] == b"\xff\xff":
            length += 1
        length += 4 + len(body)
        if not is_placed and marker != 0xE0:
            kept.append(_segment(0xE1, b"Exif\0\0" + figures))
            is_placed = True
        if _is_needed(marker, body):
            kept.append(_segment(marker, body))
    return b"".join(kept) + _scans(data[length:])


def _scans(rest: bytes) -> bytes:
    """From the first scan to the end of the picture; what lies behind it goes, and comments between scans."""
    kept: list[bytes] = []
    at = start = 0
    while at + 2 <= len(rest):
        marker = rest[at + 1]
        if marker == _EOI:
            return b"".join([*kept, rest[start : at + 2]])
        length = 2 + int.from_bytes(rest[at + 2 : at + 4], "big")
        if not _is_needed(marker, rest[at + 4 : at + length]):
            kept.append(rest[start:at])
            start = at + length
        at += length
        if marker == _SOS:
            match = _MARKER.search(rest, at)
            at = match.start() if match else len(rest)
    return b"".join([*kept, rest[start:]])


def _is_needed(marker: int, body: bytes) -> bool:
    if 0xE0 <= marker <= 0xEF:
        # JFIF; the colour profile; the colour transform
        return marker == 0xE0 or (marker == 0xE2 and body.startswith(b"ICC_PROFILE\0")) or marker == 0xEE
    return marker != 0xFE


def _segment(marker: int, body: bytes) -> bytes:
    return bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body


def _clean_png(data: bytes, figures: bytes) -> bytes:
    from dryfit.files.photo.read import png_chunks

    kept = [data[:8]]
    for kind, chunk in png_chunks(data):
        if kind not in _LEFT_OUT_PNG:
            kept.append(chunk)
        if kind == b"IHDR":
            body = b"eXIf" + figures
            kept.append(len(figures).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big"))
    return b"".join(kept)


def _figures(picture: Picture) -> bytes:
    return figures_block(picture.orientation, picture.taken)


def figures_block(orientation: int, taken: Taken) -> bytes:
    """Exif data with orientation and camera figures alone, byte order mark first."""
    from PIL.Image import Exif
    from PIL.TiffImagePlugin import IFDRational

    tags = Exif()
    if orientation != 1:
        tags[exif.ORIENTATION] = orientation
    camera: dict[int, int | IFDRational] = {}
    for tag, value in ((exif.FOCAL, taken.focal_mm), (exif.ZOOM, taken.zoom)):
        if value is not None:
            camera[tag] = IFDRational(round(value * 1000), 1000)
    if taken.focal_35_mm is not None:
        camera[exif.FOCAL_35] = round(taken.focal_35_mm)
    if taken.px_per_mm is not None:
        camera[exif.PLANE_RESOLUTION] = IFDRational(round(taken.px_per_mm * 10_000), 1000)
        camera[exif.PLANE_UNIT] = 3  # per centimetre
    if taken.width_px is not None and taken.height_px is not None:
        camera[exif.WIDTH], camera[exif.HEIGHT] = taken.width_px, taken.height_px
    tags.get_ifd(exif.CAMERA).update(camera)
    return tags.tobytes().removeprefix(b"Exif\0\0")
