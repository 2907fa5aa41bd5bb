"""Which kind of picture a file is: by its content, never by its name alone."""

from __future__ import annotations

from pathlib import PurePath

from dryfit.files.photo.record import PhotoRefused, PictureFormat

_READ: tuple[tuple[bytes, PictureFormat], ...] = (
    (b"\xff\xd8\xff", "JPEG"),
    (b"\x89PNG\r\n\x1a\n", "PNG"),
    (b"II*\x00", "TIFF"),
    (b"MM\x00*", "TIFF"),
    (b"II+\x00", "TIFF"),
    (b"MM\x00+", "TIFF"),
)
_NOT_READ = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\x00\x00\x01\x00", "an icon"),
    (b"8BPS", "a layered picture"),
    (b"\xff\x4f\xff\x51", "a JPEG 2000 picture"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000 picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\x00\x00\x00\x0cJXL", "a JPEG XL picture"),
)
ENDINGS: dict[str, PictureFormat] = {
    ".jpg": "JPEG",
    ".jpeg": "JPEG",
    ".jpe": "JPEG",
    ".png": "PNG",
    ".tif": "TIFF",
    ".tiff": "TIFF",
}
# Raw files of cameras: some of them begin as a TIFF does, and hold a small preview that is not the picture.
RAW = frozenset(
    (".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dng", ".nef", ".nrw", ".orf", ".pef", ".raf", ".rw2", ".srw")
)
DEVELOP = "develop it without straightening or cropping, save it as JPEG or TIFF, and add that"
CONVERT = "save it as JPEG, PNG or TIFF and add that"


def detect_format(data: bytes, name: str) -> PictureFormat:
    """The format of a file's content, which its name must not contradict.

    Raises PhotoRefused for other content, and where the name's ending says another format.
    """
    found = next((kind for mark, kind in _READ if data.startswith(mark)), None)
    ending = PurePath(name).suffix.lower()
    if ending in RAW and found in (None, "TIFF"):
        raise PhotoRefused(f"this is a camera's raw file ({ending}), which is not read", name, DEVELOP)
    if found is None:
        named = f" although it is named {ending}" if ending in ENDINGS else ""
        raise PhotoRefused(f"this is {_describe(data)}, not a picture that is read{named}", name, CONVERT)
    if ENDINGS.get(ending) != found:
        says = f"its name ends in {ending}" if ending else "its name has no ending"
        right = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif"}[found]
        what = f"the file is a {found} picture but {says}"
        raise PhotoRefused(
            what, name, f"name it {right} if the content is what you meant, or take the right file"
        )
    return found


def _describe(data: bytes) -> str:
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "a WebP picture"
    if data[4:8] == b"ftyp":
        kind = data[8:12].decode("ascii", "replace")
        return "a HEIF picture" if kind[:3] in ("hei", "mif", "hev", "msf", "avi") else "a film"
    for mark, words in _NOT_READ:
        if data.startswith(mark):
            return words
    head = data[:512]
    if head.lstrip()[:1] == b"<":
        return "a text of markup"
    is_text = all(byte in b"\t\r\n\x0c" or 32 <= byte < 127 or byte >= 128 for byte in head)
    return "a text" if is_text else "something else"
