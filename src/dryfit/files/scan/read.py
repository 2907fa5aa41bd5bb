"""Reading a scan: a mesh by the mesh reader, a cloud by the readers here."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import MeshRefused, UnitUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.files.mesh.check import check_coordinates
from dryfit.files.mesh.detect import detect_format
from dryfit.files.mesh.read import read_raw
from dryfit.files.mesh.source import Source, read_source
from dryfit.files.scan.cloud_ply import is_cloud, parse_cloud_ply
from dryfit.files.scan.record import ScanFile, ScanFormat
from dryfit.files.scan.text import has_faces, parse_cloud_obj, parse_text

# Endings of plain text with one point a line.
TEXT_ENDINGS = frozenset({".xyz", ".txt", ".asc", ".csv", ".pts", ".xyzn", ".xyzrgb"})


def read_scan(path: Path, unit: LengthUnit | None) -> ScanFile:
    """The points of a scan in mm.

    unit : of the file's numbers; None where the format states it
    Raises MeshRefused where the file cannot be read rightly or states another unit, UnitUnknown where neither
    the file nor the caller gives one.
    """
    raw = read_raw_scan(path)
    if raw.unit_stated is None and unit is None:
        what = f"the scan states no length unit ({raw.format.upper()} files never do)"
        raise UnitUnknown(what, str(path), "state it: --unit mm")
    if raw.unit_stated is not None and unit is not None and raw.unit_stated != unit:
        what = f"the file states the unit {raw.unit_stated!r}, and {unit!r} is asked for"
        raise MeshRefused(what, str(path), f"leave the unit out or state {raw.unit_stated!r}")
    settled = raw.unit_stated or unit
    assert settled is not None
    points = raw.points if settled == "mm" else raw.points * MM_PER_UNIT[settled]
    return _record(
        raw.name, raw.format, raw.sha256, raw.unit_stated, "mm", points, raw.normals, raw.faces, raw.notes
    )


def read_raw_scan(path: Path) -> ScanFile:
    """The same in the file's own unit, known or not.

    Raises MeshRefused where the file is missing, empty, cut short, of another kind, or holds a coordinate that
    is not finite or absurdly large.
    """
    path = Path(path)
    source = read_source(path)
    normals: Array | None = None
    if path.suffix.lower() in TEXT_ENDINGS:
        _refuse_binary(source)
        points, notes = parse_text(source)
        return _cloud(source, "xyz", points, None, notes)
    detected = detect_format(source)
    if detected.format == "ply" and is_cloud(source):
        points, normals, notes = parse_cloud_ply(source)
        return _cloud(source, "ply", points, normals, (*detected.notes, *notes))
    if detected.format == "obj" and not has_faces(source):
        points, notes = parse_cloud_obj(source)
        return _cloud(source, "obj", points, None, (*detected.notes, *notes))
    return _mesh(path)


def _refuse_binary(source: Source) -> None:
    if b"\x00" in source.data[:65536]:
        do = "give the scan as PLY, OBJ, STL, or as text with x y z in each line"
        raise source.refuse("the file is called text and holds binary data", do=do)


def _cloud(
    source: Source, format: ScanFormat, points: Array, normals: Array | None, notes: tuple[str, ...]
) -> ScanFile:
    check_coordinates(source, points, "points")
    if not np.ptp(points, axis=0).any():
        raise source.refuse(f"all {len(points)} points lie in one place", "points")
    if normals is not None and not (np.isfinite(normals).all() and (np.abs(normals).sum(axis=1) > 0).all()):
        normals = None
        notes = (*notes, "the normals are left out: some are zero or not finite")
    return _record(source.name, format, source.hash_with(), None, None, points, normals, None, notes)


def _mesh(path: Path) -> ScanFile:
    raw = read_raw(path)
    vertices = [item.vertices for item in raw.objects]
    starts = np.cumsum([0, *(len(item) for item in vertices)])
    faces = [item.faces + start for item, start in zip(raw.objects, starts, strict=False)]
    notes = tuple(dict.fromkeys(note for item in raw.objects for note in item.notes)) or raw.notes
    if len(raw.objects) > 1:
        notes = (*notes, f"all {len(raw.objects)} objects of the file are taken together")
    points = vertices[0] if len(vertices) == 1 else np.concatenate(vertices)
    together = faces[0] if len(faces) == 1 else np.concatenate(faces)
    return _record(
        raw.name, raw.format, raw.sha256, raw.unit_stated, raw.unit_stated, points, None, together, notes
    )


def _record(
    name: str,
    format: ScanFormat,
    sha256: str,
    stated: LengthUnit | None,
    unit: LengthUnit | None,
    points: Array,
    normals: Array | None,
    faces: IntArray | None,
    notes: tuple[str, ...],
) -> ScanFile:
    for array in (points, normals, faces):
        if array is not None:
            array.setflags(write=False)
    return ScanFile(name, format, sha256, stated, unit, points, normals, faces, notes)
