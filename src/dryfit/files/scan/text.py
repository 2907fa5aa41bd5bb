"""Clouds in text: one point a line, x y z first; and OBJ files that hold vertices only.

A line is x, y and z, and perhaps further columns, which are left out. Columns are separated by white space, or by
commas or semicolons throughout; the decimal mark is a point. Lines that are empty or begin with #, // or % are
comments. One line of words may stand first as a heading, and one whole number alone as a count of the lines.
"""

from __future__ import annotations

import re

import numpy as np

from dryfit.base.arrays import Array
from dryfit.files.mesh.names import decode_name
from dryfit.files.mesh.numbers import NotNumbersError, parse_numbers
from dryfit.files.mesh.source import COPY_AGAIN, Source

_COMMENTS = (b"#", b"//", b"%")
_BLOCK = 1 << 22
_LINE_END = re.compile(rb"\r\n|\n|\r")
_DECIMAL_COMMA = re.compile(rb"^\s*[+-]?\d+,\d+[\s;]+[+-]?\d+,\d+[\s;]+[+-]?\d+,\d+")
_VERTEX = re.compile(rb"^[ \t]*v[ \t]+([^\r\n#]*)", re.MULTILINE)
_FACE = re.compile(rb"^[ \t]*f[ \t]", re.MULTILINE)


def parse_text(source: Source) -> tuple[Array, tuple[str, ...]]:
    """Points (n, 3) of a text file, and what was left out.

    Raises MeshRefused, with the line, where a line is not what the first point's line is.
    """
    text = source.data.removeprefix(b"\xef\xbb\xbf")
    start, number, separator, notes, declared = _begin(source, text)
    blocks: list[Array] = []
    width = 0
    while start < len(text):
        stop = _end_of_line(text, start + _BLOCK)
        lines = _LINE_END.split(text[start:stop])
        if stop < len(text) or lines[-1] == b"":
            lines = lines[:-1] if lines[-1] == b"" else lines
        block, width = _parse_block(source, lines, number, separator, width)
        if len(block):
            blocks.append(block)
        number += len(lines)
        start = stop
    if not blocks:
        raise source.refuse("the file holds no points")
    points = np.concatenate(blocks)
    if declared is not None and declared != len(points):
        what = f"the file states {declared} points at its head and holds {len(points)}"
        raise source.refuse(what, "end of the text", COPY_AGAIN)
    if width > 3:
        notes = (*notes, f"{width - 3} further columns of each line are left out")
    return points, notes


def _begin(source: Source, text: bytes) -> tuple[int, int, bytes, tuple[str, ...], int | None]:
    """Where the points begin: byte, line number, separator, notes, and the number of points if it is stated."""
    start, number = 0, 1
    notes: tuple[str, ...] = ()
    declared: int | None = None
    while start < len(text):
        end = _LINE_END.search(text, start)
        line = text[start : end.start() if end else len(text)]
        after = end.end() if end else len(text)
        words = line.strip()
        if not words or words.startswith(_COMMENTS):
            start, number = after, number + 1
            continue
        if _DECIMAL_COMMA.match(line):
            what = f"the numbers have decimal commas: {decode_name(words)[:60]!r}"
            raise source.refuse(what, f"line {number}", "export them with decimal points")
        separator = b";" if b";" in words else b"," if b"," in words else b""
        if _is_point(words, separator):
            return start, number, separator, notes, declared
        if declared is None and words.isdigit():
            declared, start, number = int(words), after, number + 1
            continue
        if notes or declared is not None or re.match(rb"[^A-Za-z]*[0-9]", words):
            what = f"the line is no point (x y z): {decode_name(words)[:60]!r}"
            raise source.refuse(what, f"line {number}")
        notes = (f"line {number} is taken for a heading: {decode_name(words)[:60]!r}",)
        start, number = after, number + 1
    raise source.refuse("the file holds no points")


def _is_point(words: bytes, separator: bytes) -> bool:
    try:
        values = parse_numbers(words.replace(separator, b" ") if separator else words)
    except NotNumbersError:
        # Further columns may be words, such as a colour's name: the first three must be numbers.
        return False
    return len(values) >= 3


def _parse_block(
    source: Source, lines: list[bytes], number: int, separator: bytes, width: int
) -> tuple[Array, int]:
    kept = [k for k, line in enumerate(lines) if line.strip() and not line.lstrip().startswith(_COMMENTS)]
    if not kept:
        return np.zeros((0, 3)), width
    text = b" \n".join(lines[k] for k in kept)
    if separator:
        text = text.replace(separator, b" ")
    width = width or len((lines[kept[0]].replace(separator, b" ") if separator else lines[kept[0]]).split())
    try:
        numbers = parse_numbers(text)
    except NotNumbersError:
        raise _line_fault(source, lines, kept, number, separator, width) from None
    if len(numbers) != width * len(kept) or any(
        len((lines[k].replace(separator, b" ") if separator else lines[k]).split()) != width for k in kept
    ):
        raise _line_fault(source, lines, kept, number, separator, width)
    return numbers.reshape(-1, width)[:, :3].copy(), width


def _line_fault(
    source: Source, lines: list[bytes], kept: list[int], number: int, separator: bytes, width: int
) -> Exception:
    for k in kept:
        line = lines[k].replace(separator, b" ") if separator else lines[k]
        try:
            held = len(parse_numbers(line))
        except NotNumbersError as fault:
            held = -1
            what = f"the line holds something that is no number ({fault})"
        if held != width:
            if held >= 0:
                what = f"the line has {held} columns, those before have {width}: cut short, or damaged"
            return source.refuse(what, f"line {number + k}", COPY_AGAIN)
    return source.refuse("the lines do not agree in their columns", f"line {number}")


def _end_of_line(text: bytes, position: int) -> int:
    if position >= len(text):
        return len(text)
    found = _LINE_END.search(text, position)
    return found.end() if found else len(text)


def has_faces(source: Source) -> bool:
    """Whether an OBJ file holds a face."""
    return _FACE.search(source.data) is not None


def parse_cloud_obj(source: Source) -> tuple[Array, tuple[str, ...]]:
    """Points (n, 3) of an OBJ file without faces, and what was left out.

    Raises MeshRefused where it holds no vertex, or one that is not x, y and z with perhaps a weight or a colour.
    """
    lines = [match.group(1) for match in _VERTEX.finditer(source.data)]
    if not lines:
        raise source.refuse("the file holds neither faces nor vertices")
    widths = {len(line.split()) for line in lines}
    if len(widths) != 1 or not widths <= {3, 4, 6, 7}:
        held = ", ".join(map(str, sorted(widths)))
        what = f"its vertices have {held} numbers; they have x, y, z, perhaps a weight and a colour"
        raise source.refuse(what, "vertices", COPY_AGAIN)
    try:
        numbers = parse_numbers(b" ".join(lines))
    except NotNumbersError as fault:
        raise source.refuse(f"a vertex is not made of numbers ({fault})", "vertices") from None
    width = widths.pop()
    notes: tuple[str, ...] = ("the file holds vertices and no faces: taken for a cloud of points",)
    if width > 3:
        notes += ("weights and colours of vertices are left out",)
    return numbers.reshape(-1, width)[:, :3].copy(), notes
