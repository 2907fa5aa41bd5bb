"""STL, binary and text. The format states no unit and repeats every corner."""

from __future__ import annotations

import re

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import merge_equal_vertices
from dryfit.files.mesh.check import check_coordinates
from dryfit.files.mesh.names import decode_name
from dryfit.files.mesh.numbers import NotNumbersError, is_number, parse_tokens
from dryfit.files.mesh.record import MERGED_NOTE, RawFile, RawObject
from dryfit.files.mesh.source import COPY_AGAIN, Source

_HEADER_BYTES = 84
_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])

# The tokens of a facet; None stands for a number. The normal is not used: the winding says where
# outwards is.
_FACET: tuple[bytes | None, ...] = (
    *(b"facet", b"normal", None, None, None, b"outer", b"loop"),
    *(b"vertex", None, None, None) * 3,
    *(b"endloop", b"endfacet"),
)
_BLOCK = 1 << 22  # bytes of text taken at a time: a token costs ten times its length in memory
_SOLID = re.compile(rb"[ \t]*solid(?:[ \t]+([^\r\n]*))?[ \t]*(?:[\r\n]|$)", re.IGNORECASE)
_ENDSOLID = re.compile(rb"\bendsolid(?!\S)[^\r\n]*", re.IGNORECASE)
_TEXT = re.compile(rb"(\xef\xbb\xbf)?\s*solid\b", re.IGNORECASE)
_ENDFACET = re.compile(rb"\bendfacet(?!\S)", re.IGNORECASE)
_BLANK = re.compile(rb"\s*")


def fits_binary_stl(data: bytes) -> bool:
    """Whether the size is exactly that of the declared number of triangles."""
    return len(data) >= _HEADER_BYTES and len(data) == _HEADER_BYTES + _RECORD.itemsize * _declared(data)


def parse_stl(source: Source) -> RawFile:
    """One object of a binary file, one per solid of a text file.

    A binary file is known by its size, never by its first word: many begin with "solid" too.
    Raises MeshRefused naming declared and held triangles, or the line, object and facet at fault.
    """
    is_text = _TEXT.match(source.data) is not None and b"\x00" not in source.data[:1024]
    if fits_binary_stl(source.data) or not is_text:
        return _parse_binary(source)
    return _parse_text(source)


def _declared(data: bytes) -> int:
    return int.from_bytes(data[80:84], "little")


def _parse_binary(source: Source) -> RawFile:
    data = source.data
    if len(data) < _HEADER_BYTES:
        what = f"truncated: a binary STL begins with {_HEADER_BYTES} bytes, the file holds {len(data)}"
        raise source.refuse(what, do=COPY_AGAIN)
    declared, held = _declared(data), (len(data) - _HEADER_BYTES) // _RECORD.itemsize
    if not fits_binary_stl(data):
        raise _size_fault(source, declared, held)
    records = np.frombuffer(data, dtype=_RECORD, offset=_HEADER_BYTES)
    # Here -0.0 becomes 0.0, in the one copy that has to be made anyway.
    corners = (records["corners"] + np.float32(0.0)).reshape(-1, 3)
    check_coordinates(source, corners, "triangle corners")
    vertices, index = merge_equal_vertices(corners)
    notes: tuple[str, ...] = (MERGED_NOTE,)
    if records["attribute"].any():
        notes += ("the attribute bytes (colours, usually) are left out",)
    return RawFile("stl", None, (RawObject("", vertices, index.reshape(-1, 3), notes),))


def _size_fault(source: Source, declared: int, held: int) -> MeshRefused:
    surplus = len(source.data) - _HEADER_BYTES - _RECORD.itemsize * declared
    if surplus < 0:
        what = f"truncated: the header declares {declared} triangles, the file holds {held}"
        return source.refuse(what, f"byte {len(source.data)}", COPY_AGAIN)
    what = f"{surplus} surplus bytes follow the {declared} triangles that the header declares"
    return source.refuse(what, f"byte {len(source.data) - surplus}")


def _parse_text(source: Source) -> RawFile:
    text = source.data.removeprefix(b"\xef\xbb\xbf")
    objects: list[RawObject] = []
    position = _next_word(text, 0)
    while position < len(text):
        opening = _SOLID.match(text, position)
        if opening is None:
            place = f"line {_line_of(text, position)}"
            raise source.refuse("text other than a solid stands between or after the solids", place)
        name = decode_name(opening.group(1) or b"")
        closing = _ENDSOLID.search(text, opening.end())
        if closing is None:
            raise _unclosed(source, text, opening.end(), name)
        objects.append(_parse_solid(source, text, opening.end(), closing.start(), name))
        position = _next_word(text, closing.end())
    return RawFile("stl", None, tuple(objects))


def _next_word(text: bytes, position: int) -> int:
    """The first position from the given one on that is not white space."""
    blank = _BLANK.match(text, position)
    return blank.end() if blank else position


def _line_of(text: bytes, position: int) -> int:
    """Line number, counted from 1, of a byte position."""
    return text.count(b"\n", 0, position) + 1


def _unclosed(source: Source, text: bytes, start: int, name: str) -> MeshRefused:
    complete = len(re.findall(rb"endfacet", text[start:], re.IGNORECASE))
    what = f"truncated: solid {name!r} has no endsolid after {complete} complete triangles"
    return source.refuse(what, f"line {_line_of(text, len(text))}", COPY_AGAIN)


def _parse_solid(source: Source, text: bytes, start: int, stop: int, name: str) -> RawObject:
    blocks = []
    position = start
    while position < stop:
        found = _ENDFACET.search(text, position + _BLOCK, stop)
        end = found.end() if found else stop
        corners = _parse_facets(text[position:end].lower().split())
        if corners is None:
            raise _structure_fault(source, text, start, stop, name)
        blocks.append(corners)
        position = end
    corners = np.concatenate(blocks) if blocks else np.zeros((0, 3))
    check_coordinates(source, corners, f"solid {name!r}, triangle corners")
    vertices, index = merge_equal_vertices(corners)
    return RawObject(name, vertices, index.reshape(-1, 3), (MERGED_NOTE,))


def _parse_facets(tokens: list[bytes]) -> Array | None:
    """Corners (3 n, 3) of n facets, or None where a token is not what it should be."""
    width = len(_FACET)
    count, rest = divmod(len(tokens), width)
    if rest:
        return None
    numbers = np.empty((count, 12))
    column = 0
    for place, word in enumerate(_FACET):
        chosen = tokens[place::width]
        if word is not None:
            if chosen.count(word) != count:
                return None
            continue
        try:
            numbers[:, column] = parse_tokens(chosen)
        except NotNumbersError:
            return None
        column += 1
    return numbers[:, 3:].reshape(-1, 3)


def _structure_fault(source: Source, text: bytes, start: int, stop: int, name: str) -> MeshRefused:
    """Walks the tokens one by one to say where the fault lies: only reached when there is one."""
    count = 0
    for token in re.finditer(rb"\S+", text[start:stop]):
        want = _FACET[count % len(_FACET)]
        have = token.group().lower()
        if (want is None and not is_number(have)) or (want is not None and have != want):
            wanted = "a number" if want is None else repr(want.decode())
            shown = decode_name(token.group())[:40]
            what = f"{wanted} is expected, {shown!r} is found"
            if b"," in have:
                what += " (a decimal comma?)"
            place = f"line {_line_of(text, start + token.start())}, solid {name!r}"
            return source.refuse(what, f"{place}, facet {count // len(_FACET)} (counted from 0)")
        count += 1
    what = f"truncated: solid {name!r} ends within facet {count // len(_FACET)} (counted from 0)"
    return source.refuse(what, f"line {_line_of(text, stop)}", COPY_AGAIN)
