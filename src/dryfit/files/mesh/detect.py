"""Which format a file is in: by its content first, by its extension where the content does not tell."""

from __future__ import annotations

import re
from dataclasses import dataclass

from dryfit.files.mesh.record import MeshFormat
from dryfit.files.mesh.source import COPY_AGAIN, Source
from dryfit.files.mesh.stl import fits_binary_stl

_EXTENSIONS: dict[str, MeshFormat] = {
    ".stl": "stl",
    ".3mf": "3mf",
    ".obj": "obj",
    ".ply": "ply",
    ".gltf": "gltf",
    ".glb": "glb",
}
_READABLE = "give the mesh as STL, 3MF, OBJ, PLY, glTF or GLB"
# First bytes of files that people offer as meshes and that hold something else.
_OTHERS: tuple[tuple[bytes, str], ...] = (
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ\x00", "an xz archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!", "a rar archive"),
    (b"ISO-10303-21", "a STEP file (surfaces, not triangles)"),
    (b"OFF", "an OFF file"),
    (b"Kaydara FBX", "an FBX file"),
    (b"%PDF", "a PDF document"),
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"version https://git-lfs", "a pointer to large-file storage, not the file itself"),
)
_OBJ_LINE = re.compile(rb"[ \t]*(v|vn|vt|f|o|g|s|mtllib|usemtl)[ \t]+[^\r\n]")
_STL_TEXT = re.compile(rb"\s*solid\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Detected:
    format: MeshFormat
    notes: tuple[str, ...] = ()


def detect_format(source: Source) -> Detected:
    """The format, with a note where the extension says another one.

    Raises MeshRefused for content of another kind, unknown content, and text in UTF-16 or UTF-32.
    """
    extension = source.path.suffix.lower()
    expected = _EXTENSIONS.get(extension)
    found = _format_of_content(source)
    if found is None:
        _refuse_others(source)
        if expected is None:
            what = f"the format is not known: neither the content nor the extension {extension!r} tells it"
            raise source.refuse(what, do=_READABLE)
        return Detected(expected)
    if expected is None or expected == found:
        return Detected(found)
    note = f"the file is called {extension} but its content is {found.upper()}: read as such"
    return Detected(found, (note,))


def _format_of_content(source: Source) -> MeshFormat | None:
    data = source.data
    if data[:4] in (b"PK\x03\x04", b"PK\x05\x06"):
        return "3mf"
    if data[:4] == b"glTF":
        return "glb"
    # Before the text formats: a binary STL may begin with any 80 bytes, "solid" and "ply" among them.
    if fits_binary_stl(data):
        return "stl"
    head = data[:65536].removeprefix(b"\xef\xbb\xbf")
    if re.match(rb"ply[ \t]*[\r\n]", head):
        return "ply"
    if head.lstrip()[:1] == b"{":
        return "gltf"
    if _STL_TEXT.match(head):
        return "stl"
    return "obj" if _looks_like_obj(head) else None


def _looks_like_obj(head: bytes) -> bool:
    """Whether the first line that is neither empty nor a comment is one of OBJ's."""
    for line in re.split(rb"[\r\n]+", head):
        text = line.strip()
        if text and not text.startswith(b"#"):
            return _OBJ_LINE.match(line + b" ") is not None
    return False


def _refuse_others(source: Source) -> None:
    for magic, words in _OTHERS:
        if source.data.startswith(magic):
            raise source.refuse(f"this is {words}", do=_READABLE)
    if source.data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise source.refuse("the text encoding is not supported: UTF-16 or UTF-32", do="save it as UTF-8")
    if source.data.lstrip()[:1] == b"<":
        raise source.refuse("this is an XML or HTML document, not a mesh", do=_READABLE)
    if not source.data.strip(b"\x00"):
        raise source.refuse("the file holds nothing but zero bytes", do=COPY_AGAIN)
