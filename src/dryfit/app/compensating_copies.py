"""The corrected copy of one part: made, written as 3MF in memory, read back and printed again in the model."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit import __version__
from dryfit.app.geometry import PartShape, to_machine
from dryfit.app.health_words import health_findings
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.errors import ComputationRefused, DryfitError
from dryfit.calc.compensate import (
    correct_points,
    cut_at_height,
    greatest_departure,
    outline_motion,
)
from dryfit.calc.errormodel import machine_gain
from dryfit.calc.health import HealthReport, ProblemKind, examine
from dryfit.calc.mesh import measure_mesh, merge_equal_vertices
from dryfit.files.mesh import read_meshes
from dryfit.files.mesh.write_threemf import encode_3mf
from dryfit.model.finding import GRAVITY, State, gravest
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part

# Common practice, no source: beyond this a machine is mended, not made up for. One degree is 8 mm in half a
# metre, and a hundredth 5 mm: loose belts and uprights that will move again.
LARGEST_SKEW_DEG, LARGEST_SCALE = 1.0, 0.01
LARGEST_ROUND_TRIP_MM = 1e-3
_VOLUME_SHARE = 1e-9  # double precision over a million triangles
# The step back from the flared layers is as high as this, so that no two faces coincide.
_LEDGE_MM = 0.01
_LEVEL = 0.02  # as in the error model: a face within about one degree of level has no outline of its own
_LEAST_AREA_MM2 = 1e-6  # twice the area below which the normal of a face is rounding
_BROKEN: tuple[ProblemKind, ...] = (
    *("self-intersection", "hole", "crack", "non-manifold edge", "orientation", "inside out"),
    *("nested body", "stray shell"),
)


class CompensationRefused(DryfitError):
    """A part or machine is not to be made up for, or cannot be."""


@dataclass(frozen=True, slots=True)
class CopyOptions:
    """offset: take boundary offset and flare off too; with_shrinkage: make up for the material's shrinkage."""

    offset: bool = False
    with_shrinkage: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Copy:
    """A corrected copy of a part and how it was checked.

    part, file     of the document, and where the copy lies, or would; data: its bytes
    moved_mm       greatest distance between copy and model, laid over one another
    round_trip_mm  the file printed again in the model, greatest distance from the wanted surface: affine part
    round_trip_single_mm  the same with every coordinate in single precision, as many programs read it
    offset_departure_mm   the same with the outlines grown as they print; None where no offset was asked for
    corners, inexact      corners of the mesh, and how many have no exact place (offset)
    volume_change, volume_wanted  copy over model, less one: found, and by the closed form 1 / det (affine part)
    size_mm        (x, y, z) as it lies on the bed
    over_mm        by how much it is larger than the build volume
    remarks        (state, what, do), gravest first
    """

    part: str
    file: str
    data: bytes
    sha256: str
    moved_mm: float
    round_trip_mm: float
    round_trip_single_mm: float
    offset_departure_mm: float | None
    corners: int
    inexact: int
    volume_change: float
    volume_wanted: float
    is_closed: bool
    size_mm: tuple[float, float, float]
    over_mm: float
    remarks: tuple[tuple[State, str, str], ...]

    @property
    def state(self) -> State:
        return gravest(state for state, _, _ in self.remarks)


def made_up_figures(machine: Machine, options: CopyOptions) -> tuple[float, ...]:
    """(8,) the figures that a copy makes up for: the expected ones, outlines only where asked."""
    values = [machine.error.figures[name].value for name in FIGURES]
    return tuple(values if options.offset else (*values[:6], 0.0, 0.0))


def refuse_machine(machine: Machine, figures: tuple[float, ...], shrinkages: tuple[float, ...]) -> None:
    """Raises CompensationRefused where the machine must be known, or mended, first."""
    where = f'machine "{machine.id}"'
    if machine.error.knowledge == "prior":
        raise CompensationRefused(
            "it was never measured: nothing is known that a copy could make up for",
            where,
            "measure it first: dryfit artefact, dryfit read, dryfit qualify",
        )
    if not any(figures) and not any(shrinkages):
        raise CompensationRefused(
            "every figure to be made up for is 0", where, "print the meshes as they are"
        )
    for name, value in zip(FIGURES, figures, strict=True):
        skewed = name.startswith("skew") and abs(value) > LARGEST_SKEW_DEG
        scaled = name.startswith("scale") and abs(value) > LARGEST_SCALE
        if skewed or scaled:
            limit = f"{LARGEST_SKEW_DEG:g} degree" if skewed else f"{100.0 * LARGEST_SCALE:g} %"
            found = f"{value:g} degrees" if skewed else f"{100.0 * value:g} %"
            raise CompensationRefused(
                f"{name} is {found}, more than {limit}: that is no fault to print around (common practice, no source)",
                where,
                "mend the machine first: dryfit qualify says what to turn; then measure it again",
            )


@dataclass(frozen=True, slots=True, eq=False)
class _Wanted:
    """A part on its bed, machine axes: its surface, and where the copy aims before its deformation is inverted.

    surface, aim  (n, 3) [mm]
    grown         (n,) [mm] by how much outlines grow there as they print
    is_exact      (n,) whether every face at the corner can be moved as it should; None where no outline is
    """

    surface: Array
    faces: IntArray
    aim: Array
    grown: Array
    is_exact: BoolArray | None


def make_copy(
    part: Part, shape: PartShape, machine: Machine, figures: tuple[float, ...], shrinkage: float, file: str
) -> Copy:
    """The copy of one part in its bed pose, checked.

    figures : (8,) to be made up for; shrinkage : of the material, 0 where it is not
    Raises CompensationRefused where the file printed again in the model is not the part.
    """
    gain = (1.0 - shrinkage) * machine_gain(np.array(figures[:6]))
    wanted = _lay(part, shape, machine, figures)
    commanded = correct_points(wanted.aim, gain)
    commanded += _place(commanded, machine)
    mesh = TriangleMesh(commanded, wanted.faces, part.id)
    data = encode_3mf(mesh, _metadata(part, machine, figures, shrinkage))
    read = _read_back(data, mesh, part)
    aim = greatest_departure(read.vertices @ gain.T, wanted.aim)
    single = read.vertices.astype(np.float32).astype(np.float64)
    offset = _print_outline(read.vertices @ gain.T, wanted)
    if aim > LARGEST_ROUND_TRIP_MM:
        raise CompensationRefused(
            f"the copy printed again in the model misses the part by {aim:.2g} mm",
            f'part "{part.id}"',
            "report this: it is a fault of the program",
        )
    before, after = measure_mesh(TriangleMesh(wanted.aim, wanted.faces)), measure_mesh(read)
    size = np.ptp(commanded, axis=0)
    x, y, z = (float(value) for value in size)
    copy = Copy(
        part=part.id,
        file=file,
        data=data,
        sha256=hashlib.sha256(data).hexdigest(),
        moved_mm=greatest_departure(commanded, wanted.surface),
        round_trip_mm=aim,
        round_trip_single_mm=greatest_departure(single @ gain.T, wanted.aim),
        offset_departure_mm=offset,
        corners=len(wanted.surface),
        inexact=0 if wanted.is_exact is None else int(np.count_nonzero(~wanted.is_exact)),
        volume_change=after.volume_mm3 / before.volume_mm3 - 1.0,
        volume_wanted=1.0 / float(np.linalg.det(gain)) - 1.0,
        is_closed=after.is_closed,
        size_mm=(x, y, z),
        over_mm=float((size - np.array(machine.build_volume_mm)).max()),
        remarks=(),
    )
    return _with_remarks(copy, wanted, read, before.is_closed)


def _lay(part: Part, shape: PartShape, machine: Machine, figures: tuple[float, ...]) -> _Wanted:
    """The part as it is to come off the bed, its lowest point at 0."""
    vertices, index = merge_equal_vertices(shape.mesh.vertices)
    surface, faces = vertices @ to_machine(part).T, index[shape.mesh.faces]
    middle = 0.5 * (surface.max(axis=0) + surface.min(axis=0))
    surface = surface - np.array([middle[0], middle[1], surface[:, 2].min()])
    offset, flare = figures[6:]
    if not offset and not flare:
        return _Wanted(surface, faces, surface, np.zeros(len(surface)), None)
    outline = outline_motion(surface, faces)
    rows = np.hstack([surface, outline.motion, outline.is_exact[:, None]])
    grown = np.full(len(surface), offset)
    if flare:
        # On an edge the motion varies evenly: both its faces then move as they should, and nothing folds.
        height = machine.error.first_layer_height_mm
        rows, faces = cut_at_height(rows, faces, height)
        rows, faces = cut_at_height(rows, faces, height + _LEDGE_MM)
        grown = offset + flare * (rows[:, 2] <= height + 0.5 * _LEDGE_MM)
    surface, motion = rows[:, :3], rows[:, 3:6]
    return _Wanted(surface, faces, surface - grown[:, None] * motion, grown, rows[:, 6] == 1.0)


def _place(commanded: Array, machine: Machine) -> Array:
    """(3,) what brings a copy onto the bed, in its middle; the position has no say in how it prints."""
    low, high = commanded.min(axis=0), commanded.max(axis=0)
    x, y, _ = machine.build_volume_mm
    return np.array([0.5 * (x - low[0] - high[0]), 0.5 * (y - low[1] - high[1]), -low[2]])


def _metadata(part: Part, machine: Machine, figures: tuple[float, ...], shrinkage: float) -> dict[str, str]:
    named = [f"{name} {value:g}" for name, value in zip(FIGURES, figures, strict=True) if value]
    named += [f"shrinkage {shrinkage:g}"] if shrinkage else []
    return {
        "Title": part.id,
        "Description": f"Corrected copy of {part.mesh} for machine {machine.id}, as it lies on the bed. It may be "
        f"moved on the bed and not turned. Made up for: {', '.join(named)}.",
        "Application": f"dryfit {__version__}",
    }


def _read_back(data: bytes, mesh: TriangleMesh, part: Part) -> TriangleMesh:
    """The bytes as the reader for any mesh file takes them."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "copy.3mf"
        file.write_bytes(data)
        read = read_meshes(file, None).objects[0]
    if len(read.vertices) != len(mesh.vertices) or not np.array_equal(read.faces, mesh.faces):
        raise ComputationRefused(
            "the copy does not read back as it was written",
            f'part "{part.id}"',
            "report this: it is a fault of the program",
        )
    return read


def _print_outline(printed: Array, wanted: _Wanted) -> float | None:
    """Greatest distance of the part's corners from the faces of the copy, printed and grown; None without outlines.

    Face by face, from the copy's own normals: nothing of how its corners were found is used again. Faces of
    the step over the flared layers belong to no face of the part.
    """
    if wanted.is_exact is None:
        return None
    of_face = wanted.grown[wanted.faces]
    faces = wanted.faces[np.ptp(of_face, axis=1) == 0.0]
    shift = (printed - wanted.aim).mean(axis=0)
    a, b, c = (printed[faces[:, corner]] - shift for corner in range(3))
    normals = np.cross(b - a, c - a)
    double = np.linalg.norm(normals, axis=1)
    sound = double > _LEAST_AREA_MM2
    normals = normals[sound] / double[sound, None]
    level = np.linalg.norm(normals[:, :2], axis=1)
    grown = wanted.grown[faces[sound, 0]] * np.where(level > _LEVEL, level, 0.0)
    apart = np.einsum("ij,ikj->ik", normals, wanted.surface[faces[sound]] - a[sound][:, None])
    return float(np.abs(apart - grown[:, None]).max())


def _with_remarks(copy: Copy, wanted: _Wanted, read: TriangleMesh, was_closed: bool) -> Copy:
    remarks = [*_form_remarks(copy, was_closed), *_health_remarks(copy.part, wanted, read)]
    return replace(copy, remarks=tuple(sorted(remarks, key=lambda remark: GRAVITY.index(remark[0]))))


def _form_remarks(copy: Copy, was_closed: bool) -> Iterator[tuple[State, str, str]]:
    if copy.over_mm > 0:
        yield (
            "stop",
            f"the copy is {copy.over_mm:.2f} mm larger than the build volume",
            "turn the part on the bed or divide it",
        )
    if not was_closed:
        yield "caution", "the mesh is open, and so is its copy", f"mend it: dryfit mend {copy.part}"
    elif not copy.is_closed:
        yield (
            "stop",
            "the copy is open though the mesh is closed",
            "report this: it is a fault of the program",
        )
    if was_closed and abs(copy.volume_change - copy.volume_wanted) > _VOLUME_SHARE:
        yield (
            "stop",
            f"its volume changed by {copy.volume_change:.9f} and not by {copy.volume_wanted:.9f}",
            "report this: it is a fault of the program",
        )
    if copy.inexact and copy.offset_departure_mm is not None:
        yield (
            "caution",
            f"{copy.inexact} of {copy.corners} corners have no place that moves each of their faces by the offset; the "
            f"worst surface is {copy.offset_departure_mm:.3f} mm off as printed",
            "look at the corners where more than three faces meet, or leave the offset to the machine's settings",
        )


def _health_remarks(part: str, wanted: _Wanted, read: TriangleMesh) -> Iterator[tuple[State, str, str]]:
    """What the copy has and the part has not."""
    before = examine(TriangleMesh(wanted.surface, wanted.faces))
    after = examine(read)
    for kind in _BROKEN:
        if _count(after, kind) > _count(before, kind):
            yield (
                "stop",
                f"the copy has a fault that the mesh has not: {kind}, {_count(after, kind)} against "
                f"{_count(before, kind)}",
                "the offset is larger than a detail of the part: correct the part without --offset",
            )
    for finding in health_findings(part, before):
        if finding.state in ("stop", "not checked"):
            yield "caution", f"the mesh itself: {finding.what}", finding.do


def _count(report: HealthReport, kind: ProblemKind) -> int:
    problem = report.find(kind)
    return 0 if problem is None else problem.count
