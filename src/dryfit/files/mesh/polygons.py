"""Polygonal faces of a file become triangles, in the order of the faces."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import MeshRefused
from dryfit.calc.mesh import triangulate_polygons
from dryfit.files.mesh.check import check_coordinates
from dryfit.files.mesh.source import Source

# Departure from the plane, as a share of the mesh's size, that is rounding of the written digits
# (common practice, no source).
_FLAT_RATIO = 1e-6
_TRIANGULATE_FIRST = "triangulate the mesh in the modelling program and export it again"


def triangulate_faces(
    source: Source, vertices: Array, indices: IntArray, counts: IntArray, place: str
) -> tuple[IntArray, tuple[str, ...]]:
    """Triangles (m, 3) of polygons, and notes.

    indices : corners of all polygons one after another; counts : corners of each
    Raises MeshRefused where a polygon has fewer than three corners, names a vertex that is not there, or
    cannot be triangulated (it crosses itself or has no area).
    """
    if len(counts) and counts.min() < 3:
        first = int(np.argmin(counts >= 3))
        raise source.refuse(f"face {first} (counted from 0) has {int(counts[first])} corners", place)
    if len(counts) == 0 or counts.max() == 3:
        return indices.reshape(-1, 3), ()
    if indices.min() < 0 or indices.max() >= len(vertices):
        raise _index_fault(source, len(vertices), indices, counts, place)
    check_coordinates(source, vertices, place)
    starts = np.cumsum(counts) - counts
    slots = np.cumsum(counts - 2) - (counts - 2)
    triangles = np.empty((int((counts - 2).sum()), 3), dtype=np.int64)
    departure = 0.0
    for corners in np.unique(counts):
        chosen = np.flatnonzero(counts == corners)
        done = triangulate_polygons(vertices, indices[starts[chosen][:, None] + np.arange(corners)])
        if done.failed:
            first = int(chosen[done.failed[0]])
            what = (
                f"{len(done.failed)} faces of {corners} corners cannot be triangulated: they cross "
                f"themselves or have no area, the first is face {first} (counted from 0)"
            )
            raise source.refuse(what, place, _TRIANGULATE_FIRST)
        triangles[(slots[chosen][:, None] + np.arange(corners - 2)).ravel()] = done.triangles
        departure = max(departure, done.departure)
    return triangles, _notes(vertices, int(np.count_nonzero(counts > 3)), departure)


def _notes(vertices: Array, polygons: int, departure: float) -> tuple[str, ...]:
    note = f"{polygons} polygons were divided into triangles"
    if departure > _FLAT_RATIO * float(np.ptp(vertices, axis=0).max()):
        note += (
            f"; not all of them are flat: corners lie up to {departure:.3g} (in the file's unit) off the "
            "mean plane, and where the surface runs between them is this reader's choice"
        )
    return (note,)


def _index_fault(
    source: Source, vertex_count: int, indices: IntArray, counts: IntArray, place: str
) -> MeshRefused:
    is_bad = (indices < 0) | (indices >= vertex_count)
    face = int(np.searchsorted(np.cumsum(counts), int(np.argmax(is_bad)), side="right"))
    what = (
        f"a vertex index is out of range: face {face} (counted from 0) names vertex "
        f"{int(indices[np.argmax(is_bad)])}, and there are {vertex_count} vertices"
    )
    return source.refuse(what, place)
