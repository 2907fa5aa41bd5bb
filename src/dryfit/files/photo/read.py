"""Reading a picture: the header alone for its size and data; the pixels only to see that they are all there."""

from __future__ import annotations

import errno
import hashlib
import io
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dryfit.calc.picture import upright_size
from dryfit.files.photo.detect import detect_format
from dryfit.files.photo.exif import CAMERA, find_orientation, find_taken, is_private
from dryfit.files.photo.record import PhotoRefused, Picture, PictureFormat

if TYPE_CHECKING:
    from PIL.Image import Image

LARGEST_BYTES = 512 * 1024**2
# A JPEG can be decoded reduced; a progressive one, and the other formats, only whole, at 3 bytes a pixel or more.
LARGEST_PIXELS = 250_000_000
LARGEST_WHOLE_PIXELS = 120_000_000
# What it logs of damaged files is said in our refusals.
logging.getLogger("PIL").addHandler(logging.NullHandler())
COPY_AGAIN = "copy or export the file again: it was cut short or damaged on the way"
# Pixels of a reduced decoding that only proves that the data is whole.
_PROOF_PX = 512


def read_picture(path: Path) -> tuple[Picture, bytes]:
    """The header of a picture file, and the file's bytes.

    Raises PhotoRefused where it cannot be read, is no picture that is read, or is too large.
    """
    data = _read_bytes(path)
    return parse_picture(data, path.name, str(path)), data


def parse_picture(data: bytes, name: str, where: str) -> Picture:
    """The header of a picture's bytes. Raises PhotoRefused; where: named in it."""
    with _naming(where):
        format = detect_format(data, name)
    with open_image(data, format, where) as image:
        stored = _stored_size(image, format, where)
        _check_size(image, stored, format, where)
        notes = _check_frames(image, where)
        tags, camera, faults = _read_exif(image, format, data)
    orientation, fault = find_orientation(tags)
    width, height = upright_size(*stored, orientation)
    if faults and orientation == 1:
        faults = [f"{faults[0]}: the picture is taken as it is stored, whichever way it stands"]
    return Picture(
        name=name,
        format=format,
        sha256=hashlib.sha256(data).hexdigest(),
        bytes=len(data),
        width_px=width,
        height_px=height,
        stored_width_px=stored[0],
        stored_height_px=stored[1],
        orientation=orientation,
        taken=find_taken(camera),
        is_private=is_private(tags, camera) or _has_private_text(data, format),
        notes=tuple(note for note in (*notes, *faults, fault) if note),
    )


def check_pixels(picture: Picture, data: bytes, where: str) -> None:
    """Decode all of the picture's data, reduced where that can be. Raises PhotoRefused where it is not whole."""
    with open_image(data, picture.format, where) as image:
        draft(image, picture, _PROOF_PX)
        load(image, where)


def draft(image: Image, picture: Picture, longest_px: int) -> None:
    """Let a JPEG be decoded at a fraction of its size that still has longest_px along its longer side."""
    if picture.format == "JPEG":
        longer = max(picture.width_px, picture.height_px)
        share = min(1.0, longest_px / longer)
        image.draft(None, (int(image.width * share) or 1, int(image.height * share) or 1))


def load(image: Image, where: str) -> None:
    """Decode the pixels. Raises PhotoRefused where the data ends early or is damaged."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # doubtful data beside the pixels; damaged pixels raise
            image.load()
    except MemoryError as fault:
        what = "the picture needs more memory than there is"
        raise PhotoRefused(what, where, "save it smaller, or close other programs") from fault
    except Exception as fault:  # a damaged file can raise anything inside the decoder
        what = f"the picture's data is cut short or damaged ({_why(fault)})"
        raise PhotoRefused(what, where, COPY_AGAIN) from fault


@contextmanager
def open_image(data: bytes, format: PictureFormat, where: str) -> Iterator[Image]:
    """The picture with its header read and no pixel decoded. Raises PhotoRefused where the header is damaged."""
    import PIL.Image

    # Pillow's own limit warns at 90 megapixels and raises at 180: ours stands in _check_size.
    PIL.Image.MAX_IMAGE_PIXELS = None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = PIL.Image.open(io.BytesIO(data), formats=[format])
    except Exception as fault:  # a damaged file can raise anything inside the parser
        what = f"the header of the {format} picture is cut short or damaged ({_why(fault)})"
        raise PhotoRefused(what, where, COPY_AGAIN) from fault
    with image:
        yield image


def _read_bytes(path: Path) -> bytes:
    where = str(path)
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise PhotoRefused("there is no such picture", where, "check the name and the folder") from None
    except IsADirectoryError:
        raise PhotoRefused("this is a folder, not a picture", where, "name a file in it") from None
    except OSError as fault:
        reason = errno.errorcode.get(fault.errno or 0, "no code")
        what = f"the picture cannot be read ({reason}: {fault.strerror})"
        raise PhotoRefused(what, where, "check that it is a file and who may read it") from fault
    except ValueError as fault:  # a zero byte in the name
        raise PhotoRefused(f"this is no file name ({fault})", repr(where), "name a file") from fault
    if not data:
        raise PhotoRefused("the picture is empty (0 bytes)", where, COPY_AGAIN)
    if len(data) > LARGEST_BYTES:
        what = f"the picture is larger than {LARGEST_BYTES // 1024**2} MB"
        raise PhotoRefused(what, where, "save it as JPEG")
    return data


@contextmanager
def _naming(where: str) -> Iterator[None]:
    """The whole path in a refusal that knows the name only."""
    try:
        yield
    except PhotoRefused as refusal:
        raise PhotoRefused(refusal.what, where, refusal.do) from None


def _stored_size(image: Image, format: PictureFormat, where: str) -> tuple[int, int]:
    """Pillow already gives the upright size of a TIFF."""
    width, height = image.size
    if format != "TIFF":
        return width, height
    tags, _, faults = _read_exif(image, format, b"")
    if faults:
        raise PhotoRefused(f"the tags of the TIFF picture are damaged: {faults[0]}", where, COPY_AGAIN)
    return upright_size(width, height, find_orientation(tags)[0])


def _check_size(image: Image, stored: tuple[int, int], format: PictureFormat, where: str) -> None:
    width, height = stored
    if width < 16 or height < 16:
        what = f"the picture is {width} x {height} pixels: nothing can be marked on it"
        raise PhotoRefused(what, where, "take the photograph itself, not a small preview of it")
    is_reducible = format == "JPEG" and not image.info.get("progressive")
    most = LARGEST_PIXELS if is_reducible else LARGEST_WHOLE_PIXELS
    if width * height > most:
        kind = format if format != "JPEG" or is_reducible else "progressive JPEG"
        what = f"the picture has {width * height / 1e6:.0f} megapixels ({width} x {height}); of a {kind} picture "
        what += f"at most {most / 1e6:.0f} are read"
        do = (
            "save it smaller, as a JPEG that is not progressive"
            if most < LARGEST_PIXELS
            else "save it smaller"
        )
        raise PhotoRefused(what, where, f"{do}; marks count in the pixels of the file that is added")


def _check_frames(image: Image, where: str) -> list[str]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            count = int(getattr(image, "n_frames", 1))
    except Exception as fault:  # a damaged directory of pages
        what = f"the pages of the picture cannot be counted ({_why(fault)})"
        raise PhotoRefused(what, where, COPY_AGAIN) from fault
    if count == 1:
        return []
    if image.format == "MPO":
        return [f"the first of the {count} pictures in the file is taken; cameras write previews behind it"]
    raise PhotoRefused(
        f"the file holds {count} pictures", where, "save the one that is meant as a file of its own"
    )


def _read_exif(
    image: Image, format: PictureFormat, data: bytes
) -> tuple[dict[int, Any], dict[int, Any], list[str]]:
    """Tags of the picture and of the camera, and what is wrong with them."""
    import PIL.Image

    try:
        with warnings.catch_warnings(record=True) as said:
            warnings.simplefilter("always")
            if format == "PNG":
                # Pillow looks behind the pixels only after decoding them.
                exif = PIL.Image.Exif()
                exif.load(_png_exif(data))
            else:
                exif = image.getexif()
            tags, camera = dict(exif), dict(exif.get_ifd(CAMERA))
    except Exception as fault:  # damaged tags can raise anything; the pixels do not depend on them
        return {}, {}, [f"its Exif data is damaged and was left out ({_why(fault)})"]
    block = b"" if format == "TIFF" else image.info.get("exif", b"").removeprefix(b"Exif\0\0")
    if not tags and (said or (block and block[:4] not in (b"II*\0", b"MM\0*"))):
        return {}, {}, ["its Exif data is damaged and was left out"]
    return tags, camera, []


def png_chunks(data: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Kind and whole bytes of each chunk after the signature; ends where the data does."""
    at = 8
    while at + 12 <= len(data):
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        if end > len(data):
            return
        yield data[at + 4 : at + 8], data[at:end]
        at = end


def _png_exif(data: bytes) -> bytes:
    return next((chunk[8:-4] for kind, chunk in png_chunks(data) if kind == b"eXIf"), b"")


def _has_private_text(data: bytes, format: PictureFormat) -> bool:
    """Whether free texts lie beside the pixels: any of them may hold a name or a place."""
    if format == "PNG":
        return any(kind in (b"tEXt", b"zTXt", b"iTXt") for kind, _ in png_chunks(data))
    if format == "JPEG":
        from dryfit.files.photo.cleaning import jpeg_segments

        kinds = [(marker, body) for marker, body in jpeg_segments(data)]
        return any(
            marker in (0xFE, 0xED) or (marker == 0xE1 and not body.startswith(b"Exif\0\0"))
            for marker, body in kinds
        )
    return False


def _why(fault: BaseException) -> str:
    text = " ".join(str(fault).split())
    # Pillow names the object that it read from, which helps nobody.
    return text[:100] if text and "BytesIO" not in text else type(fault).__name__
