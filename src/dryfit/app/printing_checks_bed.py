"""How a part stands on the bed, which of its mating faces meet it, and which overhang."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from dryfit.app.geometry import PartShape, lowest_on_bed, to_machine
from dryfit.app.printing_checks_faces import MatingFace, diameters_of, hole_of
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.printability import footprint, lies_on_bed, overhang_deg, overhang_triangles, slenderness
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.model.machine import Machine
from dryfit.model.part import Part

BED, WARP, OVERHANG = "bed", "warp", "overhang"
# All of these: common practice, no source.
FIRST_LAYER_MM = 0.2  # height of the first layer where the machine states none
TALL_RATIO = (
    5.0  # height over the least width of the footprint: beyond, a print sways and may be knocked over
)
SLENDER_RATIO = 10.0  # longest over shortest extent: beyond, cooling bends a print off the bed
_ROUNDING = 1.0 + 1e-6  # single precision: a post of exactly five to one is not above it
_FLAT_RATIO = 1e6  # beyond, the shortest extent is rounding: the part has none
SMALL_FLARE_MM = 0.05  # two standard uncertainties included: as much as a face seats within anyway
_SAME_PLANE_MM = 0.05  # a triangle this near to the plane of a contact, and as it faces, belongs to its face
_SAME_WAY = 0.99


def first_layer_of(machine: Machine) -> float:
    """Height of the first layer [mm], by common practice where the machine states none."""
    return machine.error.first_layer_height_mm or FIRST_LAYER_MM


def check_footprint(
    machine: Machine, part: Part, shape: PartShape, slender: float | None = None
) -> Iterator[Finding]:
    """What the first layer covers, how tall the part stands on it, and how slender it is.

    slender : its slenderness, where that is at hand
    """
    stands = footprint(shape.mesh, to_machine(part), first_layer_of(machine))
    if not shape.measures.is_closed:
        yield Finding(
            BED, (part.id,), "not checked", "the mesh is open: its footprint is not known", "mend the mesh"
        )
    elif not np.isfinite(stands.height_over_width):
        yield _without_footprint(part, stands.height_mm, first_layer_of(machine))
    elif stands.height_over_width > TALL_RATIO * _ROUNDING:
        yield Finding(
            BED,
            (part.id,),
            "caution",
            f"it stands {stands.height_mm:.1f} mm tall on a footprint {stands.width_mm:.1f} mm wide "
            f"({stands.area_mm2:.0f} mm2): {stands.height_over_width:.1f} to 1, above {TALL_RATIO:g} to 1 "
            "(common practice)",
            "lay it down, widen the first layers, or print it slowly beside another part",
            amount=stands.height_over_width,
        )
    else:
        yield Finding(
            BED,
            (part.id,),
            "pass",
            f"footprint {stands.area_mm2:.0f} mm2, height {stands.height_over_width:.1f} of its least width",
            amount=stands.height_over_width,
        )
    ratio = slenderness(shape.mesh) if slender is None else slender
    if ratio > SLENDER_RATIO * _ROUNDING:
        yield _slender(part, ratio)


def _without_footprint(part: Part, height_mm: float, first_layer_mm: float) -> Finding:
    if height_mm <= first_layer_mm:
        what = f"it is {height_mm:.3g} mm tall, no more than the first layer of {first_layer_mm:g} mm"
        return Finding(BED, (part.id,), "caution", what, "check its unit, or give it height in the modeller")
    what = f"it stands {height_mm:.1f} mm tall on a point or an edge: its first layer covers no area"
    return Finding(BED, (part.id,), "caution", what, "lay it on a flat face, or cut one in the model")


def _slender(part: Part, ratio: float) -> Finding:
    if ratio > _FLAT_RATIO:
        what = "it has no thickness: all its points lie in one plane or on one line, so there is nothing to print"
        return Finding(WARP, (part.id,), "caution", what, "give it thickness in the modeller")
    return Finding(
        WARP,
        (part.id,),
        "caution",
        f"longest to shortest extent is {ratio:.1f} to 1, above {SLENDER_RATIO:g} to 1 (common "
        "practice): it may warp as it cools",
        "keep it out of draughts, let it cool on the bed, and measure its bow before it is bonded",
        amount=ratio,
    )


def check_faces_on_bed(
    machine: Machine,
    part: Part,
    shape: PartShape,
    faces: Sequence[MatingFace],
    measured: Sequence[MeasuredFeature] = (),
) -> Iterator[Finding]:
    """Mating faces and bores that lie on the bed or rise from it, where the first layer flares."""
    floor, layer, turn = lowest_on_bed(part, shape), first_layer_of(machine), to_machine(part)
    met: list[tuple[str, Array]] = []
    for face in faces:
        on_bed = lies_on_bed(face.points_mm, face.normals, turn, floor, layer)
        if on_bed.lies or on_bed.stands:
            how = "lies on the bed" if on_bed.lies else "stands on the bed"
            met.append((f"the mating face of {face.joint} {how}", _lowest(face.points_mm, turn)))
    for words, normals, points in _bores(part, shape, measured):
        if lies_on_bed(points, normals, turn, floor, layer).stands:
            met.append((f"the bore {words} opens on the bed", _lowest(points, turn)))
    if met:
        yield _flared(machine, part, met)
    elif faces:
        yield Finding(BED, (part.id,), "pass", "no mating face or measured bore meets the bed")


def _bores(
    part: Part, shape: PartShape, measured: Sequence[MeasuredFeature]
) -> Iterator[tuple[str, Array, Array]]:
    for feature in diameters_of(part, measured):
        try:
            hole = hole_of(part, shape, feature)
        except ComputationRefused:  # said once, with the reason, among the findings on holes
            continue
        if hole is not None:
            yield feature.id, hole.normals, hole.points_mm


def _lowest(points: Array, turn: Array) -> Array:
    lowest: Array = points[np.argmin(points @ turn[2])]
    return lowest


def _flared(machine: Machine, part: Part, met: Sequence[tuple[str, Array]]) -> Finding:
    what = "; ".join(words for words, _ in met)
    places = np.array([place for _, place in met])
    flare = machine.error.figures["first_layer_flare_mm"]
    name = "first_layer_flare_mm"
    if machine.error.knowledge == "prior" or name in machine.error.unstated:
        return Finding(
            BED,
            (part.id,),
            "not checked",
            f"{what}: by how much the first layer flares is not stated",
            f"measure it and state {name} at machine {machine.id}, or turn the part",
            count=len(met),
            places_mm=places,
        )
    if flare.value + 2.0 * flare.std <= SMALL_FLARE_MM:
        what += f"; the flare there is small: {flare.value:.2f} mm (std {flare.std:.2f} mm)"
        return Finding(BED, (part.id,), "pass", what, count=len(met), places_mm=places)
    return Finding(
        BED,
        (part.id,),
        "caution",
        f"{what}: the first layer flares by {flare.value:.2f} mm (std {flare.std:.2f} mm), which keeps faces apart and "
        "narrows bores",
        f"turn the part, or chamfer the edge on the bed by {max(flare.value + 2.0 * flare.std, 0.0):.2f} mm in the "
        "model",
        count=len(met),
        amount=flare.value,
        unit="mm",
        places_mm=places,
    )


def check_overhangs(
    machine: Machine, part: Part, shape: PartShape, faces: Sequence[MatingFace]
) -> Iterator[Finding]:
    """Mating faces that overhang by more than the machine prints without support."""
    limit = machine.overhang_deg
    if not faces:
        return
    if limit is None:
        yield Finding(
            OVERHANG,
            (part.id,),
            "not checked",
            f"machine {machine.id} states no overhang_deg",
            "state the steepest overhang, from the vertical, that it prints without support",
        )
        return
    turn = to_machine(part)
    steep = overhang_triangles(shape.mesh, turn, limit, first_layer_of(machine))
    found = [item for face in faces if (item := _steep_part(shape, face, steep, turn, limit)) is not None]
    if not found:
        yield Finding(
            OVERHANG, (part.id,), "pass", f"no mating face overhangs by more than {limit:g} degrees"
        )
    for face, triangles, angle in found:
        yield Finding(
            OVERHANG,
            (part.id,),
            "caution",
            f"the mating face of {face.joint} overhangs by {angle:.0f} degrees from the vertical, above {limit:g}: "
            "support or sagging lines leave it rough",
            "turn the part so that this face stands upright or faces up; else dress the face flat and measure it, with "
            "eyes and lungs protected",
            amount=angle,
            unit="deg",
            places_mm=face.points_mm,
            triangles=triangles,
        )


def _steep_part(
    shape: PartShape, face: MatingFace, steep: IntArray, turn: Array, limit: float
) -> tuple[MatingFace, IntArray, float] | None:
    """The triangles of a mating face among the steep ones, and its greatest overhang; None without any."""
    angles = overhang_deg(face.normals, turn)
    if not (angles > limit).any() or not len(steep):
        return None
    corners = shape.mesh.vertices[shape.mesh.faces[steep]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    unit = normal / np.linalg.norm(normal, axis=1)[:, None]
    middle = corners.mean(axis=1)
    belongs = np.zeros(len(steep), dtype=np.bool_)
    for point, way in zip(face.points_mm[angles > limit], face.normals[angles > limit], strict=True):
        belongs |= (np.abs((middle - point) @ way) < _SAME_PLANE_MM) & (unit @ way > _SAME_WAY)
    if not belongs.any():
        return None
    return face, steep[belongs], float(angles.max())
