"""Shims in joints, and sanded faces: gaps that differ from the design, contact by contact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.causes import Causes
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray, locked
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.base.estimate import Distribution
from dryfit.calc.chain import Sources


@dataclass(frozen=True, slots=True, eq=False)
class Shim:
    """What lies in a joint besides what is designed, or was taken off one of its faces.

    joint         id of the joint
    thickness_mm  (k,) at each of its face contacts, in their order, or one for all; below zero where it is sanded
    std_mm        standard uncertainty of the thickness, the same at all contacts
    """

    joint: str
    thickness_mm: Array
    std_mm: float = 0.0

    def __post_init__(self) -> None:
        values = np.atleast_1d(np.asarray(self.thickness_mm, dtype=np.float64))
        object.__setattr__(self, "thickness_mm", locked(values, (None,), "thickness_mm"))


def shimmed_rows(structure: Structure, shim: Shim) -> tuple[IntArray, Array]:
    """Rows (k,) of the table that a shim widens, and by how much (k,).

    Raises ReferenceUnknown for an unknown joint, ComputationRefused for one that only closes or whose contacts are
    another number.
    """
    names = [rows.joint.id for rows in structure.joint_rows]
    if shim.joint not in names:
        raise ReferenceUnknown(f'there is no joint "{shim.joint}"', "shim", "name an accepted joint")
    number = names.index(shim.joint)
    if not structure.sequence.is_locating[number]:
        raise ComputationRefused(
            "a shim in a joint that only closes moves no part",
            f'joint "{shim.joint}"',
            "shim a joint that locates one of its parts",
        )
    rows = np.nonzero((structure.table.joint == number) & structure.table.is_face)[0]
    thickness = shim.thickness_mm
    if len(thickness) not in (1, len(rows)):
        raise ComputationRefused(
            f"{len(thickness)} thicknesses for {len(rows)} contacts",
            f'joint "{shim.joint}"',
            "state one for all, or one for each contact",
        )
    return rows, np.broadcast_to(thickness, (len(rows),)).copy()


def shim_gaps(structure: Structure, shims: Sequence[Shim]) -> Array:
    """(n,) [mm] by how much shims widen the gap of each row."""
    gaps = np.zeros(len(structure.table))
    for shim in shims:
        rows, thickness = shimmed_rows(structure, shim)
        gaps[rows] += thickness
    return gaps


def with_shims(causes: Causes, structure: Structure, shims: Sequence[Shim]) -> Causes:
    """Causes with what shims do to the lines: a certain shift each, and a spread where the thickness is uncertain."""
    if not shims:
        return causes
    names: list[str] = []
    shifts: list[float] = []
    stds: list[float] = []
    columns: list[Array] = []
    for shim in shims:
        rows, thickness = shimmed_rows(structure, shim)
        sensitivity = structure.sensitivity[:, rows]
        names += [f"{shim.joint}.shim"] * 2
        shifts += [1.0, 0.0]
        stds += [0.0, shim.std_mm]
        columns += [-sensitivity @ thickness, -sensitivity.sum(axis=1)]
    sources = causes.sources
    normal: list[Distribution] = ["normal"] * len(names)
    return replace(
        causes,
        sources=Sources(
            (*sources.names, *names),
            np.concatenate([sources.shift, shifts]),
            np.concatenate([sources.std, stds]),
            (*sources.distribution, *normal),
        ),
        matrix=np.hstack([causes.matrix, np.array(columns).T]),
    )
