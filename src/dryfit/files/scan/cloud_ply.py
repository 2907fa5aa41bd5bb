"""PLY files that hold vertices and no faces: clouds of points, perhaps with normals."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array
from dryfit.files.mesh.numbers import NotNumbersError, parse_numbers
from dryfit.files.mesh.ply_header import Element, Header, parse_header
from dryfit.files.mesh.source import COPY_AGAIN, Source

_NORMALS = ("nx", "ny", "nz")


def is_cloud(source: Source) -> bool:
    """Whether a PLY file declares no face: then it is a cloud, whatever else it holds."""
    header = parse_header(source)
    return not any(element.count for element in header.elements if element.name in ("face", "tristrips"))


def parse_cloud_ply(source: Source) -> tuple[Array, Array | None, tuple[str, ...]]:
    """Points (n, 3), normals (n, 3) where the file has nx, ny and nz, and what was left out.

    Raises MeshRefused where there is no vertex, x, y or z, the file is cut short, holds surplus data, or has
    lists before or among its vertices.
    """
    header = parse_header(source)
    vertex = next((item for item in header.elements if item.name == "vertex"), None)
    if vertex is None or vertex.count == 0:
        raise source.refuse("the file declares no vertices: no points", "header")
    before = header.elements[: header.elements.index(vertex)]
    if any(item.has_lists for item in (*before, vertex)):
        raise source.refuse("lists before or among the vertices are not supported in a cloud", "header")
    names = [item.name for item in vertex.properties]
    if not {"x", "y", "z"} <= set(names):
        raise source.refuse("the vertex element lacks x, y and z", "header")
    columns = [*"xyz", *(_NORMALS if set(_NORMALS) <= set(names) else ())]
    read = _read_text if header.encoding == "ascii" else _read_binary
    values = read(source, header, vertex, columns)
    left = sorted(set(names) - set(columns))
    notes = (f"left out: {', '.join(left)}",) if left else ()
    return values[:, :3], values[:, 3:] if len(columns) == 6 else None, notes


def _read_binary(source: Source, header: Header, vertex: Element, columns: list[str]) -> Array:
    order = "<" if header.encoding == "binary_little_endian" else ">"
    position, result = header.body, None
    for element in header.elements:
        if element.has_lists and element.count:
            raise source.refuse(f"the element {element.name!r} of a cloud holds lists", "header")
        row = np.dtype([(f"c{k}", order + item.type) for k, item in enumerate(element.properties)])
        need, left = row.itemsize * element.count, len(source.data) - position
        if need > left:
            held = left // max(row.itemsize, 1)
            what = f"truncated: the header declares {element.count} rows of {element.name!r}, the file holds {held}"
            raise source.refuse(what, f"byte {len(source.data)}", COPY_AGAIN)
        if element is vertex:
            rows = np.frombuffer(source.data, row, element.count, position)
            names = [item.name for item in element.properties]
            result = np.empty((element.count, len(columns)))
            for k, name in enumerate(columns):
                result[:, k] = rows[f"c{names.index(name)}"]
        position += need
    if position < len(source.data):
        surplus = len(source.data) - position
        raise source.refuse(f"{surplus} surplus bytes follow the last element", f"byte {position}")
    assert result is not None
    return result


def _read_text(source: Source, header: Header, vertex: Element, columns: list[str]) -> Array:
    try:
        numbers = parse_numbers(source.data[header.body :])
    except NotNumbersError as fault:
        what = f"the data hold something that is no number ({fault})"
        raise source.refuse(what, "after the header") from None
    position, result = 0, None
    for element in header.elements:
        if element.has_lists and element.count:
            raise source.refuse(f"the element {element.name!r} of a cloud holds lists", "header")
        width = len(element.properties)
        stop = position + width * element.count
        if stop > len(numbers):
            held = (len(numbers) - position) // max(width, 1)
            what = f"truncated: the header declares {element.count} rows of {element.name!r}, the file holds {held}"
            raise source.refuse(what, "end of the text", COPY_AGAIN)
        if element is vertex:
            names = [item.name for item in element.properties]
            rows = numbers[position:stop].reshape(element.count, width)
            result = rows[:, [names.index(name) for name in columns]].copy()
        position = stop
    if position < len(numbers):
        raise source.refuse(
            f"{len(numbers) - position} surplus numbers follow the last element", "end of the text"
        )
    assert result is not None
    return result
