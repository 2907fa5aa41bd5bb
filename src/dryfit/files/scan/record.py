"""What reading a scan file yields."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from dryfit.base.arrays import Array, IntArray
from dryfit.base.units import LengthUnit

ScanFormat = Literal["ply", "obj", "xyz", "stl", "3mf", "gltf", "glb"]


@dataclass(frozen=True, slots=True, eq=False)
class ScanFile:
    """The points of a scan.

    points       (n, 3) in the unit `vertex_unit`; float64, read-only
    normals      (n, 3) as the file states them, not yet of unit length; None where it states none
    faces        (m, 3) triangles of a scanned mesh; None for a cloud of points
    unit_stated  what the format itself states; None for PLY, OBJ, STL and XYZ
    vertex_unit  "mm" from read_scan; unit_stated from read_raw_scan
    notes        what was assumed or left out, in words
    """

    name: str
    format: ScanFormat
    sha256: str
    unit_stated: LengthUnit | None
    vertex_unit: LengthUnit | None
    points: Array
    normals: Array | None
    faces: IntArray | None
    notes: tuple[str, ...] = ()
