"""Checks that every object passes before it leaves the reader, whatever its format."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import IntArray
from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import has_area
from dryfit.files.mesh.record import RawObject
from dryfit.files.mesh.source import Source

# In micrometres this is a thousand kilometres: no part, whatever the unit, and far from overflow.
LARGEST_COORDINATE = 1e12
_CHUNK = 1 << 20


def check_object(source: Source, item: RawObject, name: str) -> None:
    """Raises MeshRefused on: no triangles, index out of range, not finite, absurd size, no area at all."""
    place = f"object {name!r}"
    if len(item.faces) == 0:
        raise source.refuse("the object holds no triangles", place)
    check_indices(source, item.faces, len(item.vertices), place)
    check_coordinates(source, item.vertices, place)
    if not has_area(item.vertices, item.faces):
        what = f"all {len(item.faces)} triangles are degenerate: they have no area"
        raise source.refuse(what, place)


def check_indices(source: Source, faces: IntArray, vertex_count: int, place: str) -> None:
    """Raises MeshRefused where a face names a vertex that is not there."""
    if len(faces) == 0 or (faces.min() >= 0 and faces.max() < vertex_count):
        return
    is_bad = ((faces < 0) | (faces >= vertex_count)).any(axis=1)
    first = int(np.argmax(is_bad))
    what = (
        f"a vertex index is out of range: face {first} (counted from 0) names {faces[first].tolist()}, "
        f"and there are {vertex_count} vertices; {int(is_bad.sum())} faces are affected"
    )
    raise source.refuse(what, place)


def check_coordinates(source: Source, vertices: npt.NDArray[np.floating], place: str) -> None:
    """Raises MeshRefused where a coordinate is not finite or absurdly large."""
    for start in range(0, len(vertices), _CHUNK):
        block = vertices[start : start + _CHUNK]
        # A comparison with NaN is false: one pass finds both faults.
        if not (np.abs(block) <= LARGEST_COORDINATE).all():
            raise _coordinate_fault(source, vertices, place)


def _coordinate_fault(source: Source, vertices: npt.NDArray[np.floating], place: str) -> MeshRefused:
    is_bad = ~np.isfinite(vertices).all(axis=1)
    if is_bad.any():
        first = int(np.argmax(is_bad))
        what = (
            f"coordinates are not finite: {int(is_bad.sum())} of {len(vertices)} vertices, "
            f"the first is vertex {first} (counted from 0): {vertices[first].tolist()}"
        )
        return source.refuse(what, place)
    is_bad = (np.abs(vertices) > LARGEST_COORDINATE).any(axis=1)
    first = int(np.argmax(is_bad))
    what = f"coordinates are absurdly large: vertex {first} (counted from 0) is {vertices[first].tolist()}"
    return source.refuse(what, place)
