"""The contact table of a project: rows of its joints, then probe rows of its characteristics."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from dryfit.app.contacts import JointRows
from dryfit.app.geometry import Shapes
from dryfit.base.arrays import Array, IntArray
from dryfit.calc.characteristics import ProbeRows
from dryfit.calc.placing import Sequence as BondingSequence
from dryfit.calc.surface import outward_at
from dryfit.model.characteristic import Characteristic
from dryfit.model.contacts import ON_GROUND, ContactTable
from dryfit.model.project import Project


def assemble_table(
    project: Project,
    shapes: Shapes,
    joint_rows: Sequence[JointRows],
    sequence: BondingSequence,
    probes: Sequence[ProbeRows],
    numbers: Mapping[str, int],
) -> ContactTable:
    counts = [len(rows.direction) for rows in joint_rows]
    total = sum(counts)
    extra = sum(len(probe.first) for probe in probes)
    locating = list(sequence.is_locating)
    stacked = {
        name: np.vstack([np.zeros((0, 3)), *(getattr(rows, name) for rows in joint_rows)])
        for name in ("p_first", "p_second", "direction", "n_first")
    }
    play = [np.where(rows.is_face, rows.contact_play.std, rows.locator_play.std) for rows in joint_rows]
    outward = [
        _probe_normals(project, shapes, wanted, probe)
        for wanted, probe in zip(project.characteristics, probes, strict=True)
    ]
    return (
        ContactTable(
            first=_column(
                [np.full(n, numbers[r.joint.parts[0]]) for n, r in zip(counts, joint_rows, strict=True)]
                + [probe.first for probe in probes]
            ),
            second=_column(
                [np.full(n, numbers[r.joint.parts[1]]) for n, r in zip(counts, joint_rows, strict=True)]
                + [probe.second for probe in probes]
            ),
            p_first=np.vstack([stacked["p_first"], *(probe.p_first for probe in probes)]),
            p_second=np.vstack([stacked["p_second"], *(probe.p_second for probe in probes)]),
            direction=np.vstack([stacked["direction"], *(probe.direction for probe in probes)]),
            n_first=np.vstack([stacked["n_first"], *(first for first, _ in outward)]),
            n_second=np.vstack([-stacked["n_first"], *(second for _, second in outward)]),
            joint=_column([np.full(n, index) for index, n in enumerate(counts)] + [np.full(extra, -1)]),
            is_locating=np.concatenate(
                [
                    np.zeros(0, bool),
                    *(np.full(n, flag) for n, flag in zip(counts, locating, strict=True)),
                    np.zeros(extra, bool),
                ]
            ),
            is_face=np.concatenate(
                [np.zeros(0, bool), *(rows.is_face for rows in joint_rows), np.zeros(extra, bool)]
            ),
            play_std_mm=np.concatenate([np.zeros(0), *play, np.zeros(extra)]),
        )
        if total + extra
        else _empty_table()
    )


def _column(pieces: Sequence[IntArray]) -> IntArray:
    return np.concatenate([np.zeros(0, dtype=np.int64), *pieces]).astype(np.int64)


def _empty_table() -> ContactTable:
    none, flat = np.zeros(0, dtype=np.int64), np.zeros((0, 3))
    flags = np.zeros(0, dtype=bool)
    return ContactTable(none, none, flat, flat, flat, flat, flat, none, flags, flags, np.zeros(0))


def _probe_normals(
    project: Project, shapes: Shapes, wanted: Characteristic, probe: ProbeRows
) -> tuple[Array, Array]:
    """Outward directions at probe points: faces of the mesh where the stated point lies on one."""
    sides = []
    for index, points in ((probe.first, probe.p_first), (probe.second, probe.p_second)):
        normals = np.zeros_like(points)
        if wanted.kind in ("distance", "height", "diameter"):
            for row, (part, point) in enumerate(zip(index, points, strict=True)):
                if part != ON_GROUND:
                    normals[row] = outward_at(shapes[project.parts[part].id].mesh, point)
        sides.append(normals)
    return sides[0], sides[1]
