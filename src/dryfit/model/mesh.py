"""A triangle mesh in millimetres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class TriangleMesh:
    """A surface of triangles, counter-clockwise seen from outside.

    vertices  (n, 3) [mm]   float64, read-only
    faces     (m, 3)        indices into vertices, read-only
    name      the object's name in its file
    sha256    hash of the file that it was read from ("" for a mesh made in memory)
    notes     what the reader assumed, in words
    """

    vertices: Array
    faces: IntArray
    name: str = ""
    sha256: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        vertices = np.ascontiguousarray(self.vertices, dtype=np.float64)
        faces = np.ascontiguousarray(self.faces, dtype=np.int64)
        if vertices.ndim != 2 or vertices.shape[1] != 3:
            raise ValueError(f"vertices have shape {vertices.shape}, expected (n, 3)")
        if faces.ndim != 2 or faces.shape[1] != 3:
            raise ValueError(f"faces have shape {faces.shape}, expected (m, 3)")
        if vertices.base is not None or vertices is self.vertices:
            vertices = vertices.view()
        if faces is self.faces:
            faces = faces.view()
        vertices.setflags(write=False)
        faces.setflags(write=False)
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "faces", faces)
