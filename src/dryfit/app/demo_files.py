"""What a demonstration consists of, and how its meshes and rows become file content."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from dryfit.base.arrays import Array
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True)
class DemoFiles:
    """document: text of project.toml; meshes, photos: content of each file in meshes/ and photos/, by file name.

    history: fills the ledger of a folder that holds these files; None where nothing has happened yet
    """

    document: str
    meshes: Mapping[str, bytes]
    photos: Mapping[str, bytes] = field(default_factory=dict)
    history: Callable[[Path], None] | None = None


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


def write_dimension(id: str, prototype_mm: float, std_mm: float, source: str) -> str:
    """A [[dimension]] row: size of the prototype and its standard uncertainty [mm]."""
    rows = [
        "[[dimension]]",
        f'id = "{id}"',
        f"prototype_mm = {_digits(prototype_mm, 1)}",
        f"prototype_std_mm = {_digits(std_mm, 1)}",
        f'source = "{source}"',
    ]
    return "\n".join(rows) + "\n"


def write_feature(id: str, kind: str, *lines: str) -> str:
    """A [[feature]] row."""
    return "\n".join(["[[feature]]", f'id = "{id}"', f'kind = "{kind}"', *lines]) + "\n"


def write_pick(part: str, point: Array, normal: Array, form: str, size_mm: float) -> str:
    """A face picked by a point, with what it was: radius of a round face, root of the area of a plane."""
    return (
        f'{{ part = "{part}", point_mm = {write_numbers(point)}, normal = {write_numbers(normal, 8)}, '
        f'form = "{form}", size_mm = {_digits(size_mm, 3)} }}'
    )


def write_look(part: str, direction: Array) -> str:
    """The outermost face of a part that faces a way."""
    return f'{{ part = "{part}", direction = {write_numbers(direction, 8)} }}'


def write_faces(*picks: str) -> str:
    """faces = [...], a line each."""
    return "faces = [\n" + "".join(f"  {pick},\n" for pick in picks) + "]"


def write_error(
    skew_xy_deg: float, skew_xz_deg: float, scale_std: Sequence[str], skew_std: Sequence[str], offset_std: str
) -> str:
    """[machine.error] of a machine that is known to be true but for two skews, and how well that is known.

    scale_std, skew_std : of X, Y, Z and of XY, XZ, YZ, as they are to be written; offset_std: of outlines and flare
    """
    rows = [
        "[machine.error]",
        *(f"scale_{axis} = 0.0" for axis in "xyz"),
        f"skew_xy_deg = {skew_xy_deg}",
        f"skew_xz_deg = {skew_xz_deg}",
        "skew_yz_deg = 0.0",
        "boundary_offset_mm = 0.0",
        "first_layer_flare_mm = 0.0",
        "first_layer_height_mm = 0.2",
        "repeatability_mm = 0.03",
        "[machine.error.std]",
        *(f"scale_{axis} = {std}" for axis, std in zip("xyz", scale_std, strict=True)),
        *(f"skew_{plane}_deg = {std}" for plane, std in zip(("xy", "xz", "yz"), skew_std, strict=True)),
        f"boundary_offset_mm = {offset_std}",
        f"first_layer_flare_mm = {offset_std}",
    ]
    return "\n".join(rows) + "\n"


def polar(radius: float, angle_deg: float, z: float) -> Array:
    """(3,) point at a radius and angle about the vertical."""
    angle = np.radians(angle_deg)
    return np.array([radius * np.cos(angle), radius * np.sin(angle), z])


def _digits(value: float, decimals: int) -> str:
    text = f"{value:.{decimals}f}".rstrip("0").rstrip(".") if decimals else f"{value:.0f}"
    return "0" if text == "-0" else text
