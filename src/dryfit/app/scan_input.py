"""A scan's points in mm: the unit asked where it is not known, a wrong size questioned, nothing rescaled."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.base.arrays import Array, corners_of, cross
from dryfit.base.errors import DryfitError, UnitUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.calc.scans import NominalSurface
from dryfit.calc.units import CANDIDATE_UNITS
from dryfit.files.scan import ScanFile, read_raw_scan, read_scan
from dryfit.model.mesh import TriangleMesh

# A scan whose usual distance from its middle is this many times that of the part, or less than the inverse of the
# second, is not in the unit that was stated, or shows another thing (common practice, no source).
TOO_LARGE, TOO_SMALL = 3.0, 0.13
# A scanned mesh with fewer corners is sampled, since its triangles stand for more points than it has corners.
_SPARSE, _SAMPLES = 30_000, 60_000
_WORDS: dict[LengthUnit, str] = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches"}


class ScanRefused(DryfitError):
    """A scan that cannot be used as it is."""


@dataclass(frozen=True, slots=True, eq=False)
class ScanPoints:
    """points (n, 3) [mm]; normals (n, 3) outward as far as the file says, or None; notes: what was assumed."""

    file: ScanFile
    points: Array
    normals: Array | None
    notes: tuple[str, ...]


def load_scan(path: Path, unit: LengthUnit | None, shape: PartShape, is_patch: bool = False) -> ScanPoints:
    """The scan of a part.

    is_patch : the scan shows a small piece of the part on purpose: a small size is not questioned
    Raises MeshRefused, UnitUnknown with what each unit would mean, and ScanRefused where the size cannot be right.
    """
    if unit is None:
        raw = read_raw_scan(path)
        if raw.unit_stated is None:
            raise _unit_question(raw, shape)
    scan = read_scan(path, unit)
    _question_size(scan, unit, shape, is_patch)
    points, normals, notes = scan.points, scan.normals, scan.notes
    if scan.faces is not None:
        points, normals, more = _of_mesh(scan)
        notes = (*notes, *more)
    return ScanPoints(scan, points, normals, notes)


def _of_mesh(scan: ScanFile) -> tuple[Array, Array, tuple[str, ...]]:
    assert scan.faces is not None
    mesh = TriangleMesh(scan.points, scan.faces)
    if len(scan.points) < _SPARSE:
        surface = NominalSurface(mesh)
        points, normals, _ = surface.sample(_SAMPLES)
        note = f"the mesh has {len(scan.points)} corners: {_SAMPLES} points spread evenly over its triangles are used"
        return points, normals, (note,)
    a, b, c = corners_of(mesh.vertices, mesh.faces)
    weight = cross(b - a, c - a)
    total = np.zeros_like(mesh.vertices)
    for k in range(3):
        for axis in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, k], weight[:, axis], len(total))
    size = np.linalg.norm(total, axis=1)
    kept = size > 0.0
    notes = () if kept.all() else (f"{int((~kept).sum())} corners without a surface are left out",)
    return mesh.vertices[kept], total[kept] / size[kept, None], notes


def _spread(points: Array) -> float:
    """Usual distance of points from their middle: outliers hardly move it."""
    some = points if len(points) <= 50_000 else points[:: len(points) // 50_000]
    return float(np.median(np.linalg.norm(some - np.median(some, axis=0), axis=1)))


def _ratio(points: Array, shape: PartShape) -> float:
    return _spread(points) / _spread(NominalSurface(shape.mesh).sample(5000)[0])


def _unit_question(raw: ScanFile, shape: PartShape) -> UnitUnknown:
    ratio = _ratio(raw.points, shape)
    ranked = sorted(CANDIDATE_UNITS, key=lambda name: abs(np.log(ratio * MM_PER_UNIT[name])))
    size = np.ptp(raw.points, axis=0)
    listed = "; ".join(
        f"as {_WORDS[name]} it measures {' x '.join(f'{side * MM_PER_UNIT[name]:.4g}' for side in size)} mm, "
        f"{ratio * MM_PER_UNIT[name]:.2g} times the part"
        for name in ranked
    )
    return UnitUnknown(
        f"{raw.name} states no length unit. Likeliest first: {listed}",
        raw.name,
        f"state the unit that the scanner wrote, for instance --unit {ranked[0]}; nothing is rescaled unasked",
    )


def _question_size(scan: ScanFile, unit: LengthUnit | None, shape: PartShape, is_patch: bool) -> None:
    ratio = _ratio(scan.points, shape)
    if ratio <= TOO_LARGE and (ratio >= TOO_SMALL or is_patch):
        return
    used: LengthUnit = unit or scan.unit_stated or "mm"
    likely = [
        name
        for name in CANDIDATE_UNITS
        if name != used and 0.4 <= ratio * MM_PER_UNIT[name] / MM_PER_UNIT[used] <= 1.6
    ]
    word = "larger" if ratio > 1.0 else "smaller"
    times = ratio if ratio > 1.0 else 1.0 / ratio
    what = f"as {_WORDS[used]} the scan is about {times:.3g} times {word} than {shape.part.id}"
    if likely:
        what += f"; as {_WORDS[likely[0]]} it would have its size"
        do = f"if so, state it: --unit {likely[0]}; nothing is rescaled unasked"
    elif ratio > 1.0:
        do = "cut table and holder away from the scan, or name the part that it shows"
    else:
        do = "if the scan shows a small piece of the part, say so: --patch"
    raise ScanRefused(what, scan.name, do)
