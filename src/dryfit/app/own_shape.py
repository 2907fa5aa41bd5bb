"""Prints that are off for a reason of their own: a warped corner, a slipped belt, an hour in the sun.

Such a print has, besides what its machine makes, a smooth random displacement of its own. Points close to one another
move together; the field keeps its value over the largest size of the part, so that its ends are off against one another
by about the stated size. Its readings tell of the field, and through it of the contacts; they hardly tell of the
machine.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.as_built import PartReading, PrintRead, is_as_printed
from dryfit.app.geometry import PartShape, Shapes
from dryfit.app.part_ends import reading_directions
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.calc.chain import smooth_field
from dryfit.model.project import Project

_REACH = 1.0  # of the largest size of the part in its own frame


@dataclass(frozen=True, slots=True, eq=False)
class OwnShapes:
    """The f independent sources of unit variance that such prints bring along, in mm per unit.

    names     (f,) under which the share of each is shown
    readings  (m, f) of every reading
    lines     (q, f) of every line of the structure
    first, second (n, f) by how much the points of each row's two sides move along its direction
    """

    names: tuple[str, ...]
    readings: Array
    lines: Array
    first: Array
    second: Array

    def __len__(self) -> int:
        return len(self.names)


def source_of(part: str) -> str:
    """Under which name the share of a part's own shape is shown."""
    return f"{part}.own_shape"


def gather_own_shapes(
    project: Project,
    shapes: Shapes,
    structure: Structure,
    prints: Sequence[PrintRead],
    rows_of: Mapping[int, IntArray],
    count: int,
) -> OwnShapes:
    """The own shapes of all prints that have one.

    rows_of : by record of a print, the places of its readings among all count
    """
    sizes = (count, len(structure.sensitivity), len(structure.table), len(structure.table))
    blocks = [np.zeros((size, 0)) for size in sizes]
    names: list[str] = []
    for item in prints:
        if item.own_shape is None:
            continue
        part = item.print.part
        places = rows_of.get(item.print.record, np.zeros(0, dtype=np.int64))
        number = [row.id for row in project.parts].index(part)
        sides = _sides(structure, number if is_as_printed(project, item) else -1)
        added = _of_print(shapes[part], structure, sides, item.readings, places, item.own_shape.std_mm, sizes)
        names += [source_of(part)] * added[0].shape[1]
        blocks = [np.hstack([block, new]) for block, new in zip(blocks, added, strict=True)]
    return OwnShapes(tuple(names), *blocks)


def _sides(structure: Structure, part: int) -> list[tuple[IntArray, Array, float]]:
    """Rows of the table on each side of a part, its points there, and the sign with which they open a contact."""
    table = structure.table
    if part < 0:
        return []
    return [
        (rows, points[rows], sign)
        for parts, points, sign in ((table.first, table.p_first, -1.0), (table.second, table.p_second, 1.0))
        if len(rows := np.nonzero(parts == part)[0])
    ]


def _of_print(
    shape: PartShape,
    structure: Structure,
    sides: Sequence[tuple[IntArray, Array, float]],
    readings: Sequence[PartReading],
    places: IntArray,
    std_mm: float,
    sizes: tuple[int, int, int, int],
) -> list[Array]:
    """Readings, lines, first and second by the sources of one print."""
    ends = np.array([(item.measure.first, item.measure.second) for item in readings]).reshape(-1, 2, 3)
    grows = np.array([reading_directions(item.measure) for item in readings]).reshape(-1, 2, 3)
    points = np.concatenate([ends[:, 0], ends[:, 1], *(points for _, points, _ in sides)])
    turn = shape.part.placement.rotation
    extent = np.ptp(shape.mesh.vertices @ turn, axis=0)
    field = smooth_field(points, _REACH * float(extent.max()), std_mm)
    width = 3 * field.shape[1]
    added = [np.zeros((size, width)) for size in sizes]
    many = len(readings)
    for end in range(2):
        added[0][places] += _along(field[end * many : (end + 1) * many], grows[:, end])
    start = 2 * many
    for rows, _, sign in sides:
        moved = _along(field[start : start + len(rows)], structure.table.direction[rows])
        start += len(rows)
        added[1] += sign * (structure.sensitivity[:, rows] @ moved)
        added[2 if sign < 0 else 3][rows] = moved
    return added


def _along(field: Array, directions: Array) -> Array:
    """(k, 3 f) displacement of k points along a direction each; the three components of a point are independent."""
    moved: Array = (field[:, :, None] * directions[:, None, :]).reshape(len(field), 3 * field.shape[1])
    return moved
