"""PLY, text and binary of both byte orders. States no unit."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import MeshRefused
from dryfit.files.mesh.numbers import NotNumbersError, parse_numbers
from dryfit.files.mesh.ply_header import Element, Header, parse_header
from dryfit.files.mesh.polygons import triangulate_faces
from dryfit.files.mesh.record import RawFile, RawObject
from dryfit.files.mesh.source import COPY_AGAIN, Source

_CORNER_LISTS = ("vertex_indices", "vertex_index")
_IGNORED_WORDS = "left out: element {name!r} ({count})"

# What an element's rows hold: single values by property, lists as (all values, lengths).
_Values = dict[str, npt.NDArray[np.generic] | tuple[npt.NDArray[np.generic], IntArray]]
_ElementReader = Callable[[Source, Element], _Values]


def parse_ply(source: Source) -> RawFile:
    """The one mesh of the file.

    Raises MeshRefused where the file holds fewer or more rows than its header declares, and for meshes
    that are not made of polygons (triangle strips, points only).
    """
    header = parse_header(source)
    read = _text_reader(source, header) if header.encoding == "ascii" else _BinaryBody(source, header).read
    vertices: Array | None = None
    faces: tuple[IntArray, IntArray] | None = None
    notes: list[str] = []
    for element in header.elements:
        values = read(source, element)
        if element.name == "vertex" and vertices is None:
            vertices = _pick_coordinates(source, values)
        elif element.name == "face" and faces is None:
            faces = _pick_corners(source, values)
        elif element.name == "tristrips":
            raise source.refuse("triangle strips are not supported in PLY", "element 'tristrips'")
        else:
            notes.append(_IGNORED_WORDS.format(name=element.name, count=element.count))
    read(source, Element("", -1))
    if vertices is None or faces is None:
        missing = "vertex" if vertices is None else "face"
        raise source.refuse(f"the file has no {missing} element: no triangles", "header")
    triangles, polygon_notes = triangulate_faces(source, vertices, *faces, "element 'face'")
    return RawFile("ply", None, (RawObject("", vertices, triangles, polygon_notes),), tuple(notes))


def _pick_coordinates(source: Source, values: _Values) -> Array:
    columns = [values.get(axis) for axis in "xyz"]
    if any(column is None or isinstance(column, tuple) for column in columns):
        raise source.refuse("the vertex element lacks x, y and z", "header")
    return np.stack([np.asarray(column, dtype=np.float64) for column in columns], axis=1)


def _pick_corners(source: Source, values: _Values) -> tuple[IntArray, IntArray]:
    for name in _CORNER_LISTS:
        found = values.get(name)
        if isinstance(found, tuple):
            return _as_integers(source, found[0]), found[1]
    raise source.refuse("the face element lacks a list of vertex_indices", "header")


def _as_integers(source: Source, values: npt.NDArray[np.generic]) -> IntArray:
    if values.dtype.kind != "f":
        return values.astype(np.int64)
    numbers = np.asarray(values, dtype=np.float64)
    if not (np.abs(numbers) < 2**53).all() or (numbers != np.floor(numbers)).any():
        raise source.refuse("a vertex index is not a whole number", "element 'face'")
    return numbers.astype(np.int64)


def _fault(source: Source, element: Element, held: int, place: str) -> MeshRefused:
    what = f"truncated: the header declares {element.count} rows of {element.name!r}, the file holds {held}"
    return source.refuse(what, place, COPY_AGAIN)


class _BinaryBody:
    """Reads element after element; an element without rows (count -1) asks that nothing is left."""

    def __init__(self, source: Source, header: Header) -> None:
        self.order = "<" if header.encoding == "binary_little_endian" else ">"
        self.position = header.body

    def read(self, source: Source, element: Element) -> _Values:
        left = len(source.data) - self.position
        if element.count < 0:
            if left:
                raise source.refuse(f"{left} surplus bytes follow the last element", f"byte {self.position}")
            return {}
        if not element.properties or element.count == 0:
            return _no_rows(element)
        if element.has_lists:
            return self._read_uniform(source, element) or self._walk(source, element)
        row = np.dtype([(f"c{i}", self.order + item.type) for i, item in enumerate(element.properties)])
        if row.itemsize * element.count > left:
            raise _fault(source, element, left // row.itemsize, f"byte {len(source.data)}")
        rows = np.frombuffer(source.data, row, element.count, self.position)
        self.position += row.itemsize * element.count
        return {item.name: rows[f"c{i}"] for i, item in enumerate(element.properties)}

    def _read_uniform(self, source: Source, element: Element) -> _Values | None:
        """All rows at once where every list is as long as in the first row; else None."""
        first, stop = self._walk_rows(source, element, 1)
        lengths = [len(first[item.name][0]) if item.count_type else 0 for item in element.properties]
        if max(lengths) > 64:
            return None
        fields: list[tuple[str, str] | tuple[str, str, int]] = []
        for i, item in enumerate(element.properties):
            if item.count_type is None:
                fields.append((f"c{i}", self.order + item.type))
            else:
                fields.append((f"n{i}", self.order + item.count_type))
                fields.append((f"c{i}", self.order + item.type, (lengths[i],)))  # type: ignore[arg-type]
        row = np.dtype(fields)
        if row.itemsize * element.count > len(source.data) - self.position or stop < 0:
            return None
        rows = np.frombuffer(source.data, row, element.count, self.position)
        for i, item in enumerate(element.properties):
            if item.count_type is not None and (rows[f"n{i}"] != lengths[i]).any():
                return None
        self.position += row.itemsize * element.count
        return {
            item.name: rows[f"c{i}"]
            if item.count_type is None
            else (rows[f"c{i}"].ravel(), np.full(element.count, lengths[i], dtype=np.int64))
            for i, item in enumerate(element.properties)
        }

    def _walk(self, source: Source, element: Element) -> _Values:
        rows, self.position = self._walk_rows(source, element, element.count)
        result: _Values = {}
        for item in element.properties:
            parts = rows[item.name]
            joined = np.concatenate(parts) if parts else np.zeros(0)
            lengths = np.array([len(part) for part in parts], dtype=np.int64)
            result[item.name] = joined if item.count_type is None else (joined, lengths)
        return result

    def _walk_rows(
        self, source: Source, element: Element, count: int
    ) -> tuple[dict[str, list[npt.NDArray[np.generic]]], int]:
        """Row by row, for lists of changing length; returns the values and the position after them."""
        data, position = source.data, self.position
        plan = [
            (
                item.name,
                np.dtype(self.order + item.type),
                np.dtype(self.order + item.count_type) if item.count_type else None,
            )
            for item in element.properties
        ]
        rows: dict[str, list[npt.NDArray[np.generic]]] = {name: [] for name, _, _ in plan}
        for index in range(count):
            for name, kind, count_kind in plan:
                length = 1
                if count_kind is not None:
                    if position + count_kind.itemsize > len(data):
                        raise _fault(source, element, index, f"byte {len(data)}")
                    length = int(np.frombuffer(data, count_kind, 1, position)[0])
                    position += count_kind.itemsize
                if length < 0 or position + length * kind.itemsize > len(data):
                    raise _fault(source, element, index, f"byte {len(data)}")
                rows[name].append(np.frombuffer(data, kind, length, position))
                position += length * kind.itemsize
        return rows, position


def _no_rows(element: Element) -> _Values:
    none = np.zeros(0)
    return {
        item.name: none if item.count_type is None else (none, np.zeros(0, dtype=np.int64))
        for item in element.properties
    }


def _text_reader(source: Source, header: Header) -> _ElementReader:
    """The same for text: all numbers of the body are parsed once and dealt out."""
    try:
        numbers = parse_numbers(source.data[header.body :])
    except NotNumbersError as fault:
        what = f"the data hold something that is no number ({fault})"
        raise source.refuse(what, "after the header") from None
    position = 0

    def read(source: Source, element: Element) -> _Values:
        nonlocal position
        if element.count < 0:
            if position < len(numbers):
                what = f"{len(numbers) - position} surplus numbers follow the last element"
                raise source.refuse(what, "end of the text")
            return {}
        if not element.properties or element.count == 0:
            return _no_rows(element)
        values, position = _deal(source, element, numbers, position)
        return values

    return read


def _deal(source: Source, element: Element, numbers: Array, position: int) -> tuple[_Values, int]:
    """Rows of one element out of the flat numbers; the fast way where all rows are alike."""
    width = _row_width(element, numbers, position)
    stop = position + width * element.count
    if width and stop <= len(numbers):
        rows = numbers[position:stop].reshape(element.count, width)
        values = _split_alike(element, rows)
        if values is not None:
            return values, stop
    return _deal_row_by_row(source, element, numbers, position)


def _row_width(element: Element, numbers: Array, position: int) -> int:
    """Numbers in the first row; 0 where it is not complete."""
    width = 0
    for item in element.properties:
        at = position + width
        if at >= len(numbers):
            return 0
        width += 1 if item.count_type is None else 1 + _list_length(numbers[at])
    return width


def _list_length(value: float) -> int:
    """A list's length out of text; anything absurd becomes too long to be held, and so refused."""
    return int(value) if 0 <= value < 2**40 and value == int(value) else 2**40


def _split_alike(element: Element, rows: Array) -> _Values | None:
    result: _Values = {}
    column = 0
    for item in element.properties:
        if item.count_type is None:
            result[item.name] = rows[:, column]
            column += 1
            continue
        length = _list_length(rows[0, column])
        if (rows[:, column] != length).any():
            return None
        lengths = np.full(len(rows), length, dtype=np.int64)
        result[item.name] = (rows[:, column + 1 : column + 1 + length].ravel(), lengths)
        column += 1 + length
    return result


def _deal_row_by_row(source: Source, element: Element, numbers: Array, position: int) -> tuple[_Values, int]:
    parts: dict[str, list[Array]] = {item.name: [] for item in element.properties}
    for index in range(element.count):
        for item in element.properties:
            length = 1
            if item.count_type is not None:
                if position >= len(numbers):
                    raise _fault(source, element, index, "end of the text")
                length = _list_length(numbers[position])
                position += 1
            if position + length > len(numbers):
                raise _fault(source, element, index, "end of the text")
            parts[item.name].append(numbers[position : position + length])
            position += length
    result: _Values = {}
    for item in element.properties:
        joined = np.concatenate(parts[item.name])
        lengths = np.array([len(part) for part in parts[item.name]], dtype=np.int64)
        result[item.name] = joined if item.count_type is None else (joined, lengths)
    return result, position
