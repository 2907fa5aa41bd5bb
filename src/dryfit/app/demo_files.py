"""What a demonstration consists of, and how its meshes and rows become file content."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """document: text of project.toml; meshes: content of each file in meshes/, by file name."""

    document: str
    meshes: Mapping[str, bytes]


def hash_of(data: bytes) -> str:
    """SHA-256 of a file's content, as the document records it."""
    return hashlib.sha256(data).hexdigest()


def to_glb(meshes: Iterable[TriangleMesh]) -> bytes:
    """One glTF-binary file with an object per mesh, in metres as its standard demands."""
    import trimesh

    scene = trimesh.Scene()
    for mesh in meshes:
        body = trimesh.Trimesh(mesh.vertices / 1000.0, mesh.faces, process=False)
        scene.add_geometry(body, node_name=mesh.name, geom_name=mesh.name)
    return bytes(scene.export(file_type="glb"))  # type: ignore[no-untyped-call]


def to_stl(mesh: TriangleMesh) -> bytes:
    """One binary STL file, in the numbers of the mesh: the format states no unit."""
    import trimesh

    buffer = io.BytesIO()
    trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).export(buffer, file_type="stl")
    return buffer.getvalue()


def write_numbers(values: Iterable[float], decimals: int = 4) -> str:
    """[1, 2.5, 0]: the shortest digits within the given decimals."""
    return "[" + ", ".join(_digits(float(value), decimals) for value in values) + "]"


def write_points(points: Array, decimals: int = 4) -> str:
    """A list of points, on one line where there are up to two, else one a line."""
    rows = [write_numbers(point, decimals) for point in points]
    if len(rows) <= 2:
        return "[" + ", ".join(rows) + "]"
    return "[\n" + "".join(f"  {row},\n" for row in rows) + "]"


def write_joint(first: str, second: str, *lines: str) -> str:
    """A [[joint]] row named after its parts."""
    rows = ["[[joint]]", f'id = "{first}:{second}"', f'parts = ["{first}", "{second}"]', *lines]
    return "\n".join(rows) + "\n"


def write_characteristic(id: str, kind: str, *lines: str) -> str:
    """A [[characteristic]] row."""
    return "\n".join(["[[characteristic]]", f'id = "{id}"', f'kind = "{kind}"', *lines]) + "\n"


def polar(radius: float, angle_deg: float, z: float) -> Array:
    """(3,) point at a radius and angle about the vertical."""
    angle = np.radians(angle_deg)
    return np.array([radius * np.cos(angle), radius * np.sin(angle), z])


def _digits(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"
    return "0" if text == "-0" else text
