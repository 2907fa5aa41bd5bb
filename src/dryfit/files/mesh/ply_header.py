"""The header of a PLY file: elements, their counts and properties."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Literal

from dryfit.files.mesh.names import decode_name
from dryfit.files.mesh.source import COPY_AGAIN, Source

# Both spellings that are in use, as numpy types without byte order.
TYPES = {
    **dict.fromkeys((b"char", b"int8"), "i1"),
    **dict.fromkeys((b"uchar", b"uint8"), "u1"),
    **dict.fromkeys((b"short", b"int16"), "i2"),
    **dict.fromkeys((b"ushort", b"uint16"), "u2"),
    **dict.fromkeys((b"int", b"int32"), "i4"),
    **dict.fromkeys((b"uint", b"uint32"), "u4"),
    **dict.fromkeys((b"float", b"float32"), "f4"),
    **dict.fromkeys((b"double", b"float64"), "f8"),
}
Encoding = Literal["ascii", "binary_little_endian", "binary_big_endian"]
_ENCODINGS: dict[bytes, Encoding] = {
    b"ascii": "ascii",
    b"binary_little_endian": "binary_little_endian",
    b"binary_big_endian": "binary_big_endian",
}
_MOST_HEADER_BYTES = 1 << 20
_LINE_END = re.compile(rb"[\r\n]")


@dataclass(frozen=True, slots=True)
class Property:
    """count_type: of a list's length; None for a single value."""

    name: str
    type: str
    count_type: str | None = None


@dataclass(slots=True)
class Element:
    name: str
    count: int
    properties: list[Property] = field(default_factory=list)

    @property
    def has_lists(self) -> bool:
        return any(item.count_type is not None for item in self.properties)


@dataclass(frozen=True, slots=True)
class Header:
    """body: byte position at which the data begin."""

    encoding: Encoding
    elements: tuple[Element, ...]
    body: int


def parse_header(source: Source) -> Header:
    """Raises MeshRefused, with the line, on anything that the format does not know."""
    data = source.data
    encoding: Encoding | None = None
    elements: list[Element] = []
    position = 3 if not data.startswith(b"\xef\xbb\xbf") else 6
    position = _after_line_end(data, position)
    number = 1
    while True:
        line, position = _read_line(source, position)
        number += 1
        words = line.split()
        place = f"header, line {number}"
        if words == [b"end_header"]:
            break
        if not words or words[0] in (b"comment", b"obj_info"):
            continue
        if words[0] == b"format":
            encoding = _parse_format(source, words, place)
        elif words[0] == b"element":
            elements.append(_parse_element(source, words, place))
        elif words[0] == b"property" and elements:
            elements[-1].properties.append(_parse_property(source, words, place))
        else:
            raise source.refuse(f"the header line {decode_name(line)[:60]!r} is not understood", place)
    if encoding is None:
        raise source.refuse("the header states no format line", "header")
    return Header(encoding, tuple(elements), position)


def _read_line(source: Source, position: int) -> tuple[bytes, int]:
    data = source.data
    end = _LINE_END.search(data, position, _MOST_HEADER_BYTES)
    if end is None:
        raise source.refuse("truncated: the header has no end_header", f"byte {len(data)}", COPY_AGAIN)
    return data[position : end.start()], _after_line_end(data, end.start())


def _after_line_end(data: bytes, position: int) -> int:
    while data[position : position + 1] in (b" ", b"\t"):
        position += 1
    return position + (2 if data[position : position + 2] == b"\r\n" else 1)


def _parse_format(source: Source, words: list[bytes], place: str) -> Encoding:
    if len(words) != 3 or words[1] not in _ENCODINGS or words[2] != b"1.0":
        shown = decode_name(b" ".join(words[1:]))[:60]
        raise source.refuse(f"the encoding {shown!r} is not supported", place)
    return _ENCODINGS[words[1]]


def _parse_element(source: Source, words: list[bytes], place: str) -> Element:
    if len(words) != 3 or not words[2].isdigit() or len(words[2]) > 12:
        raise source.refuse("an element needs a name and a count", place)
    return Element(decode_name(words[1]), int(words[2]))


def _parse_property(source: Source, words: list[bytes], place: str) -> Property:
    if len(words) == 5 and words[1] == b"list":
        count_type, kind, name = words[2], words[3], words[4]
        if count_type in TYPES and kind in TYPES and TYPES[count_type][0] != "f":
            return Property(decode_name(name), TYPES[kind], TYPES[count_type])
    elif len(words) == 3 and words[1] in TYPES:
        return Property(decode_name(words[2]), TYPES[words[1]])
    raise source.refuse(f"the property line {decode_name(b' '.join(words))[:60]!r} is not understood", place)
