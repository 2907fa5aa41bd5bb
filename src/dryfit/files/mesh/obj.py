"""OBJ: text with named objects, polygons, and indices that may count backwards. States no unit."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.files.mesh.names import decode_name
from dryfit.files.mesh.numbers import NotNumbersError, parse_numbers
from dryfit.files.mesh.polygons import triangulate_faces
from dryfit.files.mesh.record import RawFile, RawObject
from dryfit.files.mesh.source import Source

_LEFT_OUT = {b"l": "lines", b"p": "points"}
_IGNORED = frozenset(
    b"vt vn s usemtl mtllib usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj mg".split()
)
# Curves and surfaces that are not polygons: leaving them out would leave a hole in the part.
_FREE_FORM = frozenset(
    b"vp cstype deg bmat step curv curv2 surf parm trim hole scrv sp end con call csh".split()
)
_AFTER_SLASH = re.compile(rb"/\S*")
_NOT_PLAIN = re.compile(rb"[^0-9\s]")
_CONTINUATION = re.compile(rb"\\[ \t]*(?:\r\n|\n|\r)")


@dataclass(slots=True)
class _Group:
    """Faces of one object while its lines are read."""

    name: str
    faces: list[bytes] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    vertices_before: list[int] = field(default_factory=list)


@dataclass(slots=True)
class _Statements:
    """What stands in the file, sorted by kind and not yet parsed."""

    vertices: list[bytes] = field(default_factory=list)
    vertex_lines: list[int] = field(default_factory=list)
    by_object: list[_Group] = field(default_factory=list)
    by_group: dict[str, _Group] = field(default_factory=dict)
    has_objects: bool = False
    left_out: dict[str, int] = field(default_factory=dict)


def parse_obj(source: Source) -> RawFile:
    """One object per "o" statement; where there is none, one per group.

    Raises MeshRefused with the line for broken statements, free-form surfaces and bad indices.
    """
    statements = _sort_statements(source)
    vertices = _parse_vertices(source, statements)
    groups = statements.by_object if statements.has_objects else list(statements.by_group.values())
    objects, empty = [], []
    for group in groups:
        if group.faces:
            objects.append(_build_object(source, vertices, group))
        elif group.name:
            empty.append(repr(group.name))
    notes = [f"{count} statements of {kind} are left out" for kind, count in statements.left_out.items()]
    if empty:
        notes.append("without faces and left out: " + ", ".join(empty))
    return RawFile("obj", None, tuple(objects), tuple(notes))


def _sort_statements(source: Source) -> _Statements:
    text = source.data.removeprefix(b"\xef\xbb\xbf")
    if b"\\" in text:
        # A continued line keeps its line ends, as a vertical tab each, so that line numbers stay right.
        text = _CONTINUATION.sub(b" \x0b", text)
    result = _Statements()
    current = _Group("")
    result.by_object.append(current)
    group = result.by_group.setdefault("", _Group(""))
    number = 0
    for line in re.split(rb"\r\n|\n|\r", text):
        number += 1
        if line[:2] == b"v ":
            result.vertices.append(line[2:])
            result.vertex_lines.append(number)
        elif words := line.split(None, 1):
            word, rest = words[0], (words[1] if len(words) > 1 else b"")
            if word == b"f":
                for target in (current, group):
                    target.faces.append(rest)
                    target.lines.append(number)
                    target.vertices_before.append(len(result.vertices))
            elif word == b"v":
                result.vertices.append(rest)
                result.vertex_lines.append(number)
            elif word == b"o":
                result.has_objects = True
                current = _Group(decode_name(rest))
                result.by_object.append(current)
            elif word == b"g":
                name = decode_name(rest)
                group = result.by_group.setdefault(name, _Group(name))
            else:
                _pass_over(source, result, word, number)
        number += line.count(b"\x0b")
    return result


def _pass_over(source: Source, result: _Statements, word: bytes, number: int) -> None:
    """Counts what is left out; refuses what is not known or would change the surface."""
    if word in _IGNORED or word.startswith(b"#"):
        return
    if word in _LEFT_OUT:
        kind = _LEFT_OUT[word]
        result.left_out[kind] = result.left_out.get(kind, 0) + 1
        return
    shown = decode_name(word)[:40]
    if word in _FREE_FORM:
        what = f"free-form curves and surfaces are not supported (statement {shown!r})"
        raise source.refuse(what, f"line {number}", "convert them to polygons and export the mesh again")
    raise source.refuse(f"unknown statement {shown!r}", f"line {number}")


def _parse_vertices(source: Source, statements: _Statements) -> Array:
    """(n, 3). A vertex may carry a weight or a colour after its three coordinates: those are dropped."""
    if not statements.vertices:
        return np.zeros((0, 3))
    width = len(_strip_comment(statements.vertices[0]).split())
    try:
        numbers = parse_numbers(b" \n".join(statements.vertices))
        lengths_agree = all(len(line.split()) == width for line in statements.vertices)
    except NotNumbersError:
        lengths_agree = False
    if lengths_agree and width in (3, 4, 6, 7):
        return numbers.reshape(-1, width)[:, :3].copy()
    rows = zip(statements.vertices, statements.vertex_lines, strict=True)
    return np.array([_parse_vertex(source, line, number) for line, number in rows])


def _strip_comment(line: bytes) -> bytes:
    return line.split(b"#", 1)[0]


def _parse_vertex(source: Source, line: bytes, number: int) -> list[float]:
    try:
        values = parse_numbers(_strip_comment(line))
    except NotNumbersError:
        hint = " (a decimal comma?)" if b"," in line else ""
        what = f"a vertex is not made of numbers: {decode_name(line)[:60]!r}{hint}"
        raise source.refuse(what, f"line {number}") from None
    if len(values) not in (3, 4, 6, 7):
        what = f"a vertex has {len(values)} numbers; it has three coordinates, perhaps a weight and a colour"
        raise source.refuse(what, f"line {number}")
    return [float(value) for value in values[:3]]


def _build_object(source: Source, vertices: Array, group: _Group) -> RawObject:
    place = f"object {group.name!r}" if group.name else ""
    indices, counts = _parse_faces(source, len(vertices), group)
    faces, notes = triangulate_faces(source, vertices, indices, counts, place)
    # Only the vertices that this object uses, in their order in the file.
    used, compact = np.unique(faces, return_inverse=True)
    return RawObject(group.name, vertices[used], compact.reshape(-1, 3).astype(np.int64), notes)


def _parse_faces(source: Source, vertex_count: int, group: _Group) -> tuple[IntArray, IntArray]:
    """Indices from 0 of all corners, and the number of corners of each face."""
    return _parse_plain_faces(vertex_count, group) or _parse_faces_one_by_one(source, vertex_count, group)


def _parse_plain_faces(vertex_count: int, group: _Group) -> tuple[IntArray, IntArray] | None:
    """All faces at once where they are sound and count from the first vertex; else None."""
    text = b" \n".join(group.faces)
    if b"#" in text or b"-" in text:
        return None
    if b"/" in text:
        text = _AFTER_SLASH.sub(b"", text)
    if _NOT_PLAIN.search(text):
        return None
    counts = np.fromiter((len(face.split()) for face in group.faces), np.int64, len(group.faces))
    corners = text.split()
    # A corner such as "/1" vanishes above: the counts tell.
    if counts.min() < 3 or counts.sum() != len(corners) or len(max(corners, key=len)) > 12:
        return None
    indices = np.fromiter(map(int, corners), np.int64, len(corners)) - 1
    if indices.min() < 0 or indices.max() >= vertex_count:
        return None
    return indices, counts


def _parse_faces_one_by_one(source: Source, vertex_count: int, group: _Group) -> tuple[IntArray, IntArray]:
    """The same for every form that a corner may have, with the line of the first fault."""
    numbers: list[int] = []
    counts: list[int] = []
    for text, line, before in zip(group.faces, group.lines, group.vertices_before, strict=True):
        corners = text.split()
        if b"#" in text:
            corners = _strip_comment(text).split()
        if len(corners) < 3:
            what = f"a face has {len(corners)} corners: cut short, or not a face"
            raise source.refuse(what, f"line {line}")
        numbers.extend(_parse_corner(source, corner, line, before, vertex_count) for corner in corners)
        counts.append(len(corners))
    return np.array(numbers, dtype=np.int64), np.array(counts, dtype=np.int64)


def _parse_corner(source: Source, corner: bytes, line: int, before: int, vertex_count: int) -> int:
    """Index from 0 of a corner such as 7, 7/1, 7//3 or -1/-1/-1; negative ones count back from this line."""
    head = corner.split(b"/", 1)[0]
    digits = head[1:] if head[:1] == b"-" else head
    if not digits.isdigit() or len(digits) > 12:
        shown = decode_name(corner)[:40]
        raise source.refuse(f"a corner of a face is not an index: {shown!r}", f"line {line}")
    number = int(head)
    index = before + number if number < 0 else number - 1
    if number == 0 or not 0 <= index < vertex_count:
        what = f"a vertex index is out of range: the face names vertex {number}, and there are {vertex_count}"
        raise source.refuse(what, f"line {line}")
    return index
