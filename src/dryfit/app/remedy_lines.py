"""What remedies aim at: results with limits, and what can move them: joint faces, bond lines, lengths of parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from dryfit.app.aims import aims_of
from dryfit.app.forecast import Chain
from dryfit.app.handwork import face_rows
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.calc.remedies import Results
from dryfit.model.handwork import FaceWork

_ASIDE = 0.01  # weight of what this part does not move and is out of limits already

Move = Literal["face", "wedge", "bond line", "length"]


@dataclass(frozen=True, slots=True, eq=False)
class Aims:
    """The k lines that count. line, characteristic (k,) indices; results: what is known of them now."""

    line: IntArray
    characteristic: IntArray
    results: Results


@dataclass(frozen=True, slots=True, eq=False)
class Lever:
    """Something whose amount can be chosen.

    columns  (k, a) by how much each line moves per mm of each amount
    spread   (k,) variance that doing it adds
    grids    (a,) amounts to choose among [mm]: taken off, negative added; of a bond line what is added to it; of a
             length what is added, counted as negative
    shapes   (a, c) share of each amount at the c contacts of the face
    points   (c, 3) [mm] the contacts
    edges    (2, 3) [mm] of a wedge: the contacts at which its first and second amount stand
    at_mm    of a bond line: what it is now
    """

    move: Move
    joint: str
    part: str
    columns: Array
    spread: Array
    grids: tuple[Array, ...]
    shapes: Array
    points: Array
    edges: Array | None = None
    at_mm: float = 0.0


def aim(chain: Chain) -> Aims:
    """The lines with limits, as the search for amounts takes them."""
    found = aims_of(chain)
    results = Results(found.mean, found.std, found.lower, found.upper, found.target, found.weight)
    return Aims(found.line, found.characteristic, results)


def focused(aims: Aims, others: Sequence[int]) -> Aims:
    """The same, characteristics that are out of limits for reasons of their own counting little."""
    weight = np.where(np.isin(aims.characteristic, others), _ASIDE * aims.results.weight, aims.results.weight)
    return replace(aims, results=replace(aims.results, weight=weight))


def depends_on(structure: Structure, characteristic: int, part: int) -> bool:
    """Whether a characteristic moves where any printed point of a part does."""
    lines = structure.results == characteristic
    table = structure.table
    mine = (table.first == part) | (table.second == part)
    return bool(np.abs(structure.sensitivity[np.ix_(lines, mine)]).max(initial=0.0) > 1e-9)


def face_lever(chain: Chain, aims: Aims, joint: str, part: str, grid: Array, hand_std_mm: float) -> Lever:
    """An even amount taken off, or added to, the face of a part at a joint."""
    rows = face_rows(chain.structure, joint)
    effect = chain.structure.sensitivity[np.ix_(aims.line, rows)]
    return Lever(
        "face",
        joint,
        part,
        effect.sum(axis=1, keepdims=True),
        effect**2 @ np.full(len(rows), hand_std_mm**2),
        (grid,),
        np.ones((1, len(rows))),
        _points(chain, rows, part),
    )


def wedge_levers(
    chain: Chain, aims: Aims, joint: str, part: str, grid: Array, hand_std_mm: float
) -> list[Lever]:
    """Amounts that run evenly from one edge of the face to the opposite one, along each of its two axes."""
    rows = face_rows(chain.structure, joint)
    points = _points(chain, rows, part)
    if len(rows) < 3:
        return []
    effect = chain.structure.sensitivity[np.ix_(aims.line, rows)]
    local = points - points.mean(axis=0)
    found = []
    for axis in np.linalg.svd(local, full_matrices=False)[2][:2]:
        along = local @ axis
        if np.ptp(along) < 1.0:
            continue
        share = (along - along.min()) / np.ptp(along)
        shapes = np.array([1.0 - share, share])
        ends = [points[np.isclose(share, end, atol=1e-6)].mean(axis=0) for end in (0.0, 1.0)]
        spread = effect**2 @ np.full(len(rows), hand_std_mm**2)
        found.append(
            Lever(
                "wedge", joint, part, effect @ shapes.T, spread, (grid, grid), shapes, points, np.array(ends)
            )
        )
    return found


def bond_lever(
    chain: Chain, aims: Aims, joint: str, fills_mm: tuple[float, float], step_mm: float, std_mm: float
) -> Lever | None:
    """Another thickness of the bond, within what the adhesive fills; None where the joint takes no bond line."""
    structure = chain.structure
    number = [rows.joint.id for rows in structure.joint_rows].index(joint)
    rows = face_rows(structure, joint)
    if not structure.sequence.is_locating[number]:
        return None
    stated = structure.joint_rows[number].joint.bond_line_mm
    now = float(structure.table.nominal_separation[rows].mean()) if stated is None else stated.value
    steps = np.arange(math.ceil(fills_mm[0] / step_mm - 1e-9), math.floor(fills_mm[1] / step_mm + 1e-9) + 1)
    grid = np.unique(np.round(np.concatenate([[0.0], steps * step_mm - now]), 9))
    column = -chain.structure.sensitivity[np.ix_(aims.line, rows)].sum(axis=1)
    spread = column**2 * (std_mm**2 if stated is None else 0.0)
    points = structure.table.p_first[rows]
    return Lever(
        "bond line", joint, "", column[:, None], spread, (grid,), np.ones((1, len(rows))), points, None, now
    )


def length_lever(chain: Chain, aims: Aims, joint: str, part: str, grid: Array) -> Lever:
    """A part that is not printed yet, made longer or shorter at its face at a joint."""
    rows = face_rows(chain.structure, joint)
    effect = chain.structure.sensitivity[np.ix_(aims.line, rows)]
    return Lever(
        "length",
        joint,
        part,
        effect.sum(axis=1, keepdims=True),
        np.zeros(len(aims.line)),
        (grid,),
        np.ones((1, len(rows))),
        _points(chain, rows, part),
    )


def work_of(lever: Lever, amounts: Array, print: int | None, hand_std_mm: float) -> FaceWork:
    """What is done at each contact of the face."""
    at = amounts @ lever.shapes
    std = 0.0 if lever.move == "length" else hand_std_mm
    points = tuple((float(x), float(y), float(z)) for x, y, z in lever.points)
    return FaceWork(0, lever.joint, lever.part, print, points, tuple(float(value) for value in at), std)


def _points(chain: Chain, rows: IntArray, part: str) -> Array:
    table = chain.structure.table
    number = [item.id for item in chain.project.parts].index(part)
    return np.where((table.first[rows] == number)[:, None], table.p_first[rows], table.p_second[rows])
