"""The structure of the assembly: contact table, bonding order, placing and gauges.

It depends on joints, order and the shape of parts, but on no figure of a machine and on no bed pose, so
that a changed figure or pose re-uses it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.contacts import JointRows, active_joints, resolve_faces, rows_of_joint
from dryfit.app.geometry import Shapes, part_numbers
from dryfit.app.notes import play_notes, role_notes
from dryfit.app.table import assemble_table
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.characteristics import FaceRows, Gauge, PartFrame, ProbeRows, build_gauge
from dryfit.calc.placing import (
    JointLink,
    Placing,
    plan_sequence,
    sensitivities,
    solve_placing,
)
from dryfit.calc.placing import (
    Sequence as BondingSequence,
)
from dryfit.model.characteristic import JOINT_KINDS
from dryfit.model.contacts import ON_GROUND, ContactTable
from dryfit.model.joint import GROUND, FaceContacts
from dryfit.model.project import Project


@dataclass(frozen=True, slots=True, eq=False)
class Structure:
    """Everything about the assembly that no machine figure changes.

    centroids     (parts, 3) [mm]
    table         contact rows, those of joints first, then probe rows of characteristics
    joint_rows    the joints' rows, in table order
    sequence      bonding order and which joints locate
    datum         part index, ON_GROUND where only the ground stands still
    gauges        one per characteristic
    results       (q,) for each line of sensitivity the index of its gauge
    sensitivity   (q, n) S: results by offsets of the rows
    combination   (q, n) first-order weights of the rows before placing
    free_of       (q, parts) whether a line depends on a free motion of each part
    notes         what was assumed, in words
    """

    centroids: Array
    table: ContactTable
    joint_rows: tuple[JointRows, ...]
    sequence: BondingSequence
    datum: int
    placing: Placing
    gauges: tuple[Gauge, ...]
    results: IntArray
    sensitivity: Array
    free_of: BoolArray
    notes: tuple[str, ...]

    @property
    def faces(self) -> dict[str, FaceContacts]:
        """Contact faces by joint id."""
        return {rows.joint.id: rows.faces for rows in self.joint_rows}

    @property
    def is_free(self) -> BoolArray:
        """(q,) whether a line depends on any free motion."""
        return np.asarray(self.free_of.any(axis=1))


def build_structure(project: Project, shapes: Shapes) -> Structure:
    """Contacts, order, placing and gauges of a project.

    Raises JointUnresolved or ComputationRefused where the stated joints or characteristics do not define
    them.
    """
    faces, notes = resolve_faces(project, shapes)
    return structure_from_faces(project, shapes, faces, notes)


def structure_from_faces(
    project: Project, shapes: Shapes, faces: Mapping[str, FaceContacts], notes: Sequence[str] = ()
) -> Structure:
    """The same, with the contact faces already found."""
    joints = active_joints(project)
    numbers = part_numbers(project)
    centroid_of = {part.id: shapes[part.id].measures.centroid_mm for part in project.parts}
    joint_rows = tuple(rows_of_joint(joint, faces[joint.id], centroid_of) for joint in joints)
    links = _links(project, joint_rows, numbers)
    datum, datum_note = _choose_datum(project, links, numbers)
    order = [numbers[name] for name in project.assembly.order]
    sequence = plan_sequence([part.id for part in project.parts], links, datum, order or None)
    gauges, probes = _build_gauges(project, shapes, joint_rows, numbers)
    table = assemble_table(project, shapes, joint_rows, sequence, probes, numbers)
    centroids = np.array([centroid_of[part.id] for part in project.parts]).reshape(-1, 3)
    sizes = np.array([max(shapes[part.id].size_mm, 1e-6) for part in project.parts])
    placing = solve_placing(table, centroids, sizes, sequence.order)
    combination, results = _combine(gauges, len(table))
    sensitivity, free_of = sensitivities(combination, table, placing)
    return Structure(
        centroids=centroids,
        table=table,
        joint_rows=joint_rows,
        sequence=sequence,
        datum=datum,
        placing=placing,
        gauges=gauges,
        results=results,
        sensitivity=sensitivity,
        free_of=free_of,
        notes=(*notes, *datum_note, *play_notes(joint_rows), *role_notes(project, joint_rows, sequence)),
    )


def with_joints(structure: Structure, before: Project, project: Project) -> Structure:
    """The structure of a project whose joints differ in their bond lines only."""
    joints = {joint.id: joint for joint in project.joints}
    rows = tuple(replace(row, joint=joints[row.joint.id]) for row in structure.joint_rows)
    old = play_notes(structure.joint_rows)
    rest = role_notes(before, structure.joint_rows, structure.sequence)
    head = structure.notes[: len(structure.notes) - len(old) - len(rest)]
    return replace(structure, joint_rows=rows, notes=(*head, *play_notes(rows), *rest))


def _links(project: Project, joint_rows: Sequence[JointRows], numbers: Mapping[str, int]) -> list[JointLink]:
    showing = {item.joint for item in project.characteristics if item.kind in JOINT_KINDS}
    return [
        JointLink(
            first=numbers[rows.joint.parts[0]],
            second=numbers[rows.joint.parts[1]],
            area_mm2=rows.faces.area_mm2 or _hull_area(rows.faces),
            shows_gap=rows.joint.id in showing,
            role=rows.joint.role,
        )
        for rows in joint_rows
    ]


def _hull_area(faces: FaceContacts) -> float:
    """Area of the polygon round stated points, for the order of bonding only."""
    points = faces.points_on_first
    if len(points) < 3:
        return 0.0
    normal = faces.normals.mean(axis=0)
    middle = points.mean(axis=0)
    local = points - middle
    axis = local[np.argmax(np.linalg.norm(local, axis=1))]
    angle = np.arctan2(np.cross(axis, local) @ normal, local @ axis)
    corners = local[np.argsort(angle)]
    return 0.5 * abs(float((np.cross(corners, np.roll(corners, -1, axis=0)) @ normal).sum()))


def _choose_datum(
    project: Project, links: Sequence[JointLink], numbers: Mapping[str, int]
) -> tuple[int, tuple[str, ...]]:
    stated = project.assembly.datum
    if stated is not None:
        return numbers[stated], ()
    if project.assembly.order:
        first = project.assembly.order[0]
        return numbers[first], (f'datum not stated: "{first}", the first in the bonding order, stands still',)
    if any(ON_GROUND in (link.first, link.second) for link in links):
        return ON_GROUND, (
            "datum not stated: the ground stands still and the parts stand on their jig contacts",
        )
    if not project.parts:
        return ON_GROUND, ()
    area = np.zeros(len(project.parts))
    for link in links:
        for side in (link.first, link.second):
            area[side] += link.area_mm2
    best = float(f"{area.max():.6g}")
    candidates = [index for index, value in enumerate(area) if float(f"{value:.6g}") == best]
    chosen = min(candidates, key=lambda index: project.parts[index].id)
    name = project.parts[chosen].id
    return chosen, (f'datum not stated: "{name}" stands still (largest contact area, then by name)',)


def _build_gauges(
    project: Project, shapes: Shapes, joint_rows: Sequence[JointRows], numbers: Mapping[str, int]
) -> tuple[tuple[Gauge, ...], list[ProbeRows]]:
    starts = np.cumsum([0, *(len(rows.direction) for rows in joint_rows)])
    face_of = {
        rows.joint.id: FaceRows(
            rows=np.nonzero(rows.is_face)[0] + start,
            first=numbers[rows.joint.parts[0]],
            second=numbers[rows.joint.parts[1]],
            points_on_first=rows.faces.points_on_first,
            points_on_second=rows.faces.points_on_second,
            normals=rows.faces.normals,
        )
        for rows, start in zip(joint_rows, starts, strict=False)
    }
    frames = {
        part.id: PartFrame(
            numbers[part.id], shapes[part.id].measures.centroid_mm, shapes[part.id].mesh.vertices
        )
        for part in project.parts
    }
    frames[GROUND] = PartFrame(ON_GROUND, np.zeros(3), np.vstack([np.eye(3), -np.eye(3)]))
    gauges, probes, next_row = [], [], int(starts[-1])
    for wanted in project.characteristics:
        gauge, extra = build_gauge(wanted, next_row, face_of.get(wanted.joint or ""), frames)
        gauges.append(gauge)
        probes.append(extra)
        next_row += len(extra.first)
    return tuple(gauges), probes


def _combine(gauges: Sequence[Gauge], rows: int) -> tuple[Array, IntArray]:
    lines = sum(len(gauge.weights) for gauge in gauges)
    combination, results = np.zeros((lines, rows)), np.zeros(lines, dtype=np.int64)
    line = 0
    for index, gauge in enumerate(gauges):
        for weights in gauge.weights:
            combination[line, gauge.rows] = weights
            results[line] = index
            line += 1
    return combination, results
