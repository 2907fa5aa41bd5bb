"""What reading a mesh file yields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.base.arrays import Array, IntArray
from dryfit.base.units import LengthUnit
from dryfit.model.mesh import TriangleMesh

MeshFormat = Literal["stl", "3mf", "obj", "ply", "gltf", "glb"]

MERGED_NOTE = "vertices merged by exact equality"


@dataclass(frozen=True, slots=True)
class MeshFile:
    """All objects of a mesh file.

    name         of the file, without its folder
    sha256       of the file; of a glTF file with buffers beside it, of the file followed by those buffers
    unit_stated  what the format itself states; None for STL, OBJ and PLY
    vertex_unit  unit of the vertices: "mm" from read_meshes; unit_stated from read_raw
    notes        what was assumed or left out, in words
    beside       files that hold its geometry, as glTF may: their paths below the file's own folder, in the
                 order in which the hash takes them
    """

    name: str
    format: MeshFormat
    sha256: str
    unit_stated: LengthUnit | None
    vertex_unit: LengthUnit | None
    objects: tuple[TriangleMesh, ...]
    notes: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class RawObject:
    """An object as its format's reader hands it over, not yet checked.

    name      "" where the file gives none
    vertices  (n, 3) in the file's unit
    faces     (m, 3) indices, not yet checked against n
    """

    name: str
    vertices: Array
    faces: IntArray
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class RawFile:
    """All objects of a file as its format's reader hands them over.

    beside: other files that the geometry came from: path below the file's folder, and content
    """

    format: MeshFormat
    unit: LengthUnit | None
    objects: tuple[RawObject, ...]
    notes: tuple[str, ...] = ()
    beside: tuple[tuple[str, bytes], ...] = ()
