"""Faces that were sanded or shimmed, in the chain: certain shifts of contact rows, and how uncertain they are.

What is taken off a face opens every row that touches it by as much, whichever part it was taken off; what is added, as
by a shim, closes them. The work is uncertain at each contact for itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.causes import Causes, Left
from dryfit.app.outcomes import row_variance
from dryfit.app.part_ends import reading_directions
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.base.estimate import HALF_WIDTHS, Estimate
from dryfit.model.artefact import Measure
from dryfit.model.handwork import FaceWork, GapReading
from dryfit.model.project import Project

_NEAR_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class WorkedRows:
    """What was done to the n rows of the table.

    offset_mm  (n,) by which each row was opened; negative: closed
    variance   (n,) [mm2] of that
    owner      (n,) index of the part that was worked on; -1 where none was
    left_out   works whose contacts are no longer there, in words
    """

    offset_mm: Array
    variance: Array
    owner: IntArray
    left_out: tuple[str, ...]


def face_rows(structure: Structure, joint: str) -> IntArray:
    """Rows of the table that are face contacts of a joint; none where the joint is unknown."""
    places = [index for index, rows in enumerate(structure.joint_rows) if rows.joint.id == joint]
    if not places:
        return np.zeros(0, dtype=np.int64)
    table = structure.table
    return np.asarray(np.nonzero((table.joint == places[0]) & table.is_face)[0], dtype=np.int64)


def worked_rows(project: Project, structure: Structure, works: Sequence[FaceWork]) -> WorkedRows:
    """What the works do to the rows. A work counts only where the contacts are those that it was done at."""
    table = structure.table
    offset, variance = np.zeros(len(table)), np.zeros(len(table))
    owner = np.full(len(table), -1, dtype=np.int64)
    numbers = {part.id: index for index, part in enumerate(project.parts)}
    left_out = []
    for work in works:
        rows = face_rows(structure, work.joint)
        points = np.array(work.points_mm).reshape(-1, 3)
        here = _points_of(structure, rows, numbers.get(work.part, -2))
        if len(points) != len(rows) or np.abs(points - here).max(initial=0.0) > _NEAR_MM:
            left_out.append(
                f"handwork on {work.part} at joint {work.joint} (record {work.record}) is not counted with: "
                "the contacts of that joint have changed since"
            )
            continue
        offset[rows] += work.amounts_mm
        variance[rows] += work.std_mm**2
        owner[rows] = numbers[work.part]
    return WorkedRows(offset, variance, owner, tuple(left_out))


def _points_of(structure: Structure, rows: IntArray, part: int) -> Array:
    """(k, 3) the contact points of some rows, on the side of a part; infinite where it is on neither."""
    table = structure.table
    points = np.full((len(rows), 3), np.inf)
    for side, at in ((table.first, table.p_first), (table.second, table.p_second)):
        mine = side[rows] == part
        points[mine] = at[rows][mine]
    return points


def worked_points(
    structure: Structure, worked: WorkedRows, first: Array, second: Array
) -> tuple[Array, Array]:
    """Printed points (n, 3) of both sides after the work: the face of the part that was worked on has moved."""
    move = worked.offset_mm[:, None] * structure.table.direction
    is_first = (structure.table.first == worked.owner)[:, None]
    return np.where(is_first, first - move, first), np.where(is_first, second, second + move)


def add_worked(project: Project, structure: Structure, causes: Causes, worked: WorkedRows) -> Causes:
    """The causes with the work among them, under the name of the part that was worked on."""
    if not (worked.owner >= 0).any():
        return causes
    sensitivity = structure.sensitivity
    names, columns, spread, reach = [], [], [], []
    for part in np.unique(worked.owner[worked.owner >= 0]):
        rows = np.nonzero(worked.owner == part)[0]
        own = sensitivity[:, rows]
        names.append(f"{project.parts[part].id}.handwork")
        columns.append(own @ worked.offset_mm[rows])
        spread.append(own**2 @ worked.variance[rows])
        reach.append(np.abs(own) @ (HALF_WIDTHS["normal"] * np.sqrt(worked.variance[rows])))
    left = causes.left
    ranges = [index for index, gauge in enumerate(structure.gauges) if gauge.is_range]
    if left is None and ranges:
        lines = np.nonzero(np.isin(structure.results, ranges))[0]
        left = Left(row_variance(project, structure), lines, np.zeros((len(lines), 0)))
    if left is not None:
        left = replace(left, row_variance=left.row_variance + worked.variance)
    return with_causes(causes, names, columns, spread, reach, left)


def with_causes(
    causes: Causes,
    names: Sequence[str],
    columns: Sequence[Array],
    spread: Sequence[Array],
    reach: Sequence[Array],
    left: Left | None,
) -> Causes:
    """Causes with further certain shifts (columns) and further groups of the same names."""
    sources = causes.sources
    added = type(sources).of([(name, Estimate(1.0)) for name in names])
    joined = type(sources)(
        (*sources.names, *added.names),
        np.concatenate([sources.shift, added.shift]),
        np.concatenate([sources.std, added.std]),
        (*sources.distribution, *added.distribution),
    )
    return Causes(
        joined,
        np.hstack([causes.matrix, np.array(columns).T.reshape(len(causes.matrix), len(names))]),
        (*causes.groups, *names),
        np.hstack([causes.spread, np.array(spread).T.reshape(len(causes.matrix), len(names))]),
        np.hstack([causes.reach, np.array(reach).T.reshape(len(causes.matrix), len(names))]),
        left,
    )


def taken_off_reading(measure: Measure, works: Sequence[FaceWork], record: int) -> float:
    """By how much a reading is smaller than before, because work that is older than it took material off its ends.

    measure : in assembly coordinates   record : of the reading; works with a lower number were done before it
    A wedge counts by its depth at the end; an end off the worked face is not touched.
    """
    shift = 0.0
    for work in works:
        if not 0 < work.record < record or len(work.points_mm) < 3:
            continue
        points = np.array(work.points_mm)
        local = points - points.mean(axis=0)
        axes = np.linalg.svd(local, full_matrices=False)[2]
        design = np.column_stack([np.ones(len(points)), local @ axes[:2].T])
        slope = np.linalg.lstsq(design, np.array(work.amounts_mm), rcond=None)[0]
        ends = ((measure.first, measure.first_out), (measure.second, measure.second_out))
        for (point, out), direction in zip(ends, reading_directions(measure), strict=True):
            at = (np.array(point) - points.mean(axis=0)) @ axes.T
            reach = np.abs(local @ axes[:2].T).max(axis=0)
            is_on = abs(at[2]) < _NEAR_MM * 10 and (np.abs(at[:2]) <= reach + _NEAR_MM).all()
            facing = float(np.array(out) @ axes[2])
            if is_on and abs(facing) > 0.5:
                normal = axes[2] * np.sign(facing)
                shift += float(slope @ [1.0, *at[:2]]) * float(direction @ normal)
    return shift


def hand_words(
    structure: Structure, worked: WorkedRows, works: Sequence[FaceWork], gaps: Sequence[GapReading]
) -> tuple[str, ...]:
    """What a forecast takes from the ledger about work by hand, and what of it no longer counts."""
    words = list(worked.left_out)
    if (worked.owner >= 0).any():
        listed = ", ".join(dict.fromkeys(f"{work.part} at {work.joint}" for work in works))
        words.append(f"handwork counted with: {listed}")
    joints = list(dict.fromkeys(gap.joint for gap in gaps))
    if joints:
        words.append(f"gaps measured where they were bonded counted with: {', '.join(joints)}")
    for joint in joints:
        most = max(gap.contact for gap in gaps if gap.joint == joint)
        count = len(face_rows(structure, joint))
        if most > count or count == 0:
            words.append(
                f"joint {joint} has {count} face contacts now: gaps measured at others are not counted with"
            )
    return tuple(words)
