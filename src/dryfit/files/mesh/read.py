"""Reading a mesh file: find its format, parse, check, name, and bring to millimetres."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from dryfit.base.errors import MeshRefused, UnitUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.files.mesh.check import check_object
from dryfit.files.mesh.detect import detect_format
from dryfit.files.mesh.gltf import parse_glb, parse_gltf
from dryfit.files.mesh.names import name_objects
from dryfit.files.mesh.obj import parse_obj
from dryfit.files.mesh.ply import parse_ply
from dryfit.files.mesh.record import MeshFile, MeshFormat, RawFile, RawObject
from dryfit.files.mesh.source import Source, read_source
from dryfit.files.mesh.stl import parse_stl
from dryfit.files.mesh.threemf import parse_3mf
from dryfit.model.mesh import TriangleMesh

_PARSERS: dict[MeshFormat, Callable[[Source], RawFile]] = {
    "stl": parse_stl,
    "3mf": parse_3mf,
    "obj": parse_obj,
    "ply": parse_ply,
    "gltf": parse_gltf,
    "glb": parse_glb,
}


def read_meshes(path: Path, unit: LengthUnit | None) -> MeshFile:
    """All objects of a mesh file, in millimetres.

    unit : of the file's numbers; None where the format states it
    Raises MeshRefused where the file cannot be read rightly or states another unit than the given one,
    and UnitUnknown where neither the file nor the caller gives one.
    """
    return _read(Path(path), lambda raw, source: _settle_unit(raw, source, unit))


def read_raw(path: Path) -> MeshFile:
    """The same with the vertices in the file's own unit, known or not: for looking before importing."""
    return _read(Path(path), lambda raw, source: raw.unit, keep_unit=True)


def _settle_unit(raw: RawFile, source: Source, unit: LengthUnit | None) -> LengthUnit:
    if raw.unit is None and unit is None:
        what = f"the mesh states no length unit ({raw.format.upper()} files never do)"
        raise UnitUnknown(what, str(source.path), "state its unit")
    if raw.unit is not None and unit is not None and raw.unit != unit:
        raise MeshRefused(
            f"the file states the unit {raw.unit!r}, and {unit!r} is asked for",
            str(source.path),
            f"leave the unit out or state {raw.unit!r}; if the file is wrong, export it again",
        )
    settled = raw.unit or unit
    assert settled is not None
    return settled


def _read(
    path: Path, settle: Callable[[RawFile, Source], LengthUnit | None], keep_unit: bool = False
) -> MeshFile:
    source = read_source(path)
    detected = detect_format(source)
    raw = _PARSERS[detected.format](source)
    sha256 = source.hash_with(*(content for _, content in raw.beside))
    unit = settle(raw, source)
    factor = 1.0 if keep_unit or unit is None else MM_PER_UNIT[unit]
    if not raw.objects:
        raise source.refuse("the file holds no triangles")
    names = name_objects([item.name for item in raw.objects], source.stem)
    file_notes = detected.notes + raw.notes
    objects = []
    for item, (name, note) in zip(raw.objects, names, strict=True):
        check_object(source, item, name)
        # A part keeps only its object: what was assumed about the file has to travel with it.
        notes = file_notes + item.notes + ((note,) if note else ())
        objects.append(_finish(item, name, factor, sha256, notes))
    return MeshFile(
        name=source.name,
        format=raw.format,
        sha256=sha256,
        unit_stated=raw.unit,
        vertex_unit=unit if keep_unit else "mm",
        objects=tuple(objects),
        notes=file_notes,
        beside=tuple(name for name, _ in raw.beside),
    )


def _finish(item: RawObject, name: str, factor: float, sha256: str, notes: tuple[str, ...]) -> TriangleMesh:
    vertices = item.vertices if factor == 1.0 else item.vertices * factor
    return TriangleMesh(vertices, item.faces, name, sha256, notes)
