"""Readings of printed parts as rows over independent sources.

A reading follows from the figures of its machine and the shrinkage of its material, from where the scatter of
printing put the two points that it is taken between, and from what it brings along itself: the zero and the scale of
the instrument, the temperature of the part, the rounding of the display and the hand.

The scatter of a printed point is a vector z of three independent components. Where rows of the contact table lie at
that point, the forecast has an independent scatter e of its own for each, along its direction. With D (k, 3) these
directions and C = (D D^T)^(-1/2) D, z = C^T e + (I - C^T C) w, w as scattered as z: so e is as independent as the
forecast has it, z as scattered as it should be, and the two as alike as they can be. For one direction, or several at
right angles, z is the e of each row along it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dryfit.app.as_built import PrintRead, is_as_printed, printed_part
from dryfit.app.geometry import Shapes
from dryfit.app.own_shape import OwnShapes, gather_own_shapes
from dryfit.app.part_ends import commanded, reading_directions
from dryfit.app.reading_model import EXPANSION, SHRINKAGE, TEMPERATURE, ReadingModel, Taken, model_readings
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.model.machine import FIGURES
from dryfit.model.material import Material
from dryfit.model.project import Project

_LEAST_STD_MM = 1e-5  # of an instrument that is stated to repeat exactly
_STEP_MM, _OFF = 1e-4, 0.3137  # points closer than this are one; the grid lies off round decimals
# What keeps a row's sensitivity from counting as none [mm per mm].
_NOTHING = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Elements:
    """The scatter of points that were read, one by one: p independent sources of unit variance.

    part   (p,) index of the part; -1 where it is no scatter of a part as built
    row    (p,) row of the table that it moves; -1 where it moves none
    sign   (p,) +1 where the part is second in the row, -1 where it is first; 0 where it moves none
    std_mm (p,) of one unit
    names  (p,) under which its share is shown
    """

    part: IntArray
    row: IntArray
    sign: Array
    std_mm: Array
    names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.row)


@dataclass(frozen=True, slots=True, eq=False)
class PrintModel:
    """The readings of one print: what they follow from, before figures are put in.

    machine, material  indices in the project
    model     of its readings; values (k,) as displayed
    material_of  record of the material
    """

    read: PrintRead
    machine: int
    material: int
    model: ReadingModel
    values: Array
    material_of: Material


@dataclass(frozen=True, slots=True, eq=False)
class ReadingRows:
    """All m readings.

    prints    by print
    instruments  names of sources that all readings of an instrument have in common, "caliper-300 zero"
    common_std   (c,) [own unit] of these
    common    (m, c) derivatives by them
    own_shapes  of prints that are off for a reason of their own
    own       (m, p) sparse: by the elements
    elements  the columns of own
    measures  groups of readings of one measure of one print
    """

    prints: tuple[PrintModel, ...]
    instruments: tuple[str, ...]
    common_std: Array
    common: Array
    own_shapes: OwnShapes
    own: Any
    elements: Elements
    measures: tuple[IntArray, ...]

    @property
    def is_taken(self) -> BoolArray:
        """(m,) whether each was taken; False where it is only thought of (record 0)."""
        return np.array(
            [r.reading.record > 0 for item in self.prints for r in item.read.readings], dtype=bool
        )

    @property
    def beside(self) -> Array:
        """(m, c + f) derivatives by what readings share beside figures and shrinkages: instruments, own shapes."""
        return np.hstack([self.common, self.own_shapes.readings])

    @property
    def observed(self) -> Array:
        """(m,) values at 20 C [mm]."""
        return np.concatenate([np.zeros(0), *(item.values * item.model.correction for item in self.prints)])

    def predict(self, figures: Array, shrinkage: Array) -> tuple[Array, Array, Array]:
        """Readings (m,) that stated figures (machines, 8) and shrinkages (materials,) let expect.

        With them the derivatives (m, machines * 8) and (m, materials).
        """
        count = len(self.observed)
        by_figure = np.zeros((count, figures.size))
        by_shrinkage = np.zeros((count, len(shrinkage)))
        values = np.zeros(count)
        start = 0
        for item in self.prints:
            some = slice(start, start + len(item.values))
            start = some.stop
            unknowns = np.zeros(len(item.model.names))
            unknowns[item.model.prior_index] = item.model.prior_mean
            unknowns[: len(FIGURES)] = figures[item.machine]
            names = item.model.names
            if SHRINKAGE in names:
                unknowns[names.index(SHRINKAGE)] = shrinkage[item.material]
            values[some], design = item.model.predict(unknowns)
            place = item.machine * len(FIGURES)
            by_figure[some, place : place + len(FIGURES)] = design[:, : len(FIGURES)]
            if SHRINKAGE in names:
                by_shrinkage[some, item.material] = design[:, names.index(SHRINKAGE)]
        return values, by_figure, by_shrinkage


def reading_rows(
    project: Project, shapes: Shapes, structure: Structure, prints: Sequence[PrintRead]
) -> ReadingRows | None:
    """The rows of all readings of the prints; None where there is none, nor any print with a shape of its own."""
    models = [_print_model(project, shapes, item) for item in prints if item.readings]
    if not models and all(item.own_shape is None for item in prints):
        return None
    count = sum(len(item.values) for item in models)
    builder = _Builder(project, structure)
    names: dict[str, float] = {}
    columns: dict[str, Array] = {}
    groups: list[IntArray] = []
    rows_of: dict[int, IntArray] = {}
    start = 0
    for item in models:
        rows = np.arange(start, start + len(item.values))
        start += len(rows)
        rows_of[item.read.print.record] = rows
        _add_common(names, columns, item, rows, count)
        builder.add_scatter(item, rows)
        builder.add_noise(item, rows)
        groups += [rows[item.model.measure == index] for index in range(len(item.model.measures))]
    own, elements = builder.build(count)
    return ReadingRows(
        prints=tuple(models),
        instruments=tuple(names),
        common_std=np.array(list(names.values())),
        common=np.array(list(columns.values())).reshape(len(names), count).T,
        own_shapes=gather_own_shapes(project, shapes, structure, prints, rows_of, count),
        own=own,
        elements=elements,
        measures=tuple(groups),
    )


def taken_of(project: Project, shapes: Shapes, item: PrintRead) -> tuple[Taken, ...]:
    """The readings of a print as its machine was told to print what they measure.

    Each measure has an id of its own by its ends: numbers and names may have changed since.
    """
    part = printed_part(project, item)
    layer = project.machine(part.machine).error.first_layer_height_mm
    return tuple(
        Taken(
            replace(
                commanded(reading.measure, part, shapes[part.id], layer), id=_id_of(reading.reading.ends)
            ),
            reading.instrument,
            reading.reading.temp_c,
        )
        for reading in item.readings
    )


def _id_of(ends: object) -> str:
    first, second = (_key(np.array(getattr(ends, name))) for name in ("first", "second"))
    return f"{getattr(ends, 'kind', '')} {first} {second}"


def _print_model(project: Project, shapes: Shapes, item: PrintRead) -> PrintModel:
    part = printed_part(project, item)
    material = project.material(part.material)
    return PrintModel(
        read=item,
        machine=[machine.id for machine in project.machines].index(part.machine),
        material=[row.id for row in project.materials].index(part.material),
        model=model_readings(taken_of(project, shapes, item), material),
        values=np.array([reading.reading.value_mm for reading in item.readings]),
        material_of=material,
    )


def _add_common(
    names: dict[str, float], columns: dict[str, Array], item: PrintModel, rows: IntArray, count: int
) -> None:
    """Columns that readings of several prints share: departures of instruments, expansion of the material."""
    model = item.model
    start = np.zeros(len(model.names))
    start[model.prior_index] = model.prior_mean
    _, design = model.predict(start)
    for place, std in zip(model.prior_index, model.prior_std, strict=True):
        name = model.names[place]
        if name == SHRINKAGE:
            continue
        if name == EXPANSION:
            name = f"{item.material_of.id} expansion"
        if name == TEMPERATURE:
            name = f"{item.read.print.record} temperature"
        names.setdefault(name, float(std))
        columns.setdefault(name, np.zeros(count))[rows] = design[:, place]


@dataclass(slots=True)
class _Builder:
    """Collects the elements, and the entries of the readings in their columns."""

    project: Project
    structure: Structure
    _entries: list[tuple[int, int, float]] = field(default_factory=list)
    _elements: list[tuple[int, int, float, float, str]] = field(default_factory=list)
    _found: dict[tuple[int, int], int] = field(default_factory=dict)
    _sides: Mapping[tuple[int, tuple[int, ...]], list[tuple[int, float]]] | None = None

    def add_scatter(self, item: PrintModel, rows: IntArray) -> None:
        """The scatter of the points of a print; each point once, however many readings share it."""
        part = printed_part(self.project, item.read)
        number = [row.id for row in self.project.parts].index(part.id)
        is_linked = is_as_printed(self.project, item.read)
        std = self.project.machine(part.machine).error.repeatability_mm
        points: dict[tuple[int, ...], list[tuple[int, Array]]] = {}
        if std == 0.0:
            return
        for row, reading in zip(rows, item.read.readings, strict=True):
            ends = (np.array(reading.measure.first), np.array(reading.measure.second))
            for point, direction in zip(ends, reading_directions(reading.measure), strict=True):
                points.setdefault(_key(point), []).append((int(row), direction))
        for key, uses in points.items():
            sides = self._sides_at(number, key) if is_linked else []
            self._add_point(number, sides, uses, std, f"{part.id}.scatter")

    def add_noise(self, item: PrintModel, rows: IntArray) -> None:
        """The hand of each reading, and the rounding that repeats of one measure share."""
        model = item.model
        for index, row in enumerate(rows):
            name = f"{model.instruments[model.instrument[index]]}.readings"
            std = max(float(np.sqrt(model.alone[index])), _LEAST_STD_MM)
            self._entries.append((int(row), self._new(-1, -1, 0.0, std, name), std))
        for index in range(len(model.measures)):
            for holder in range(len(model.instruments)):
                mine = np.nonzero((model.measure == index) & (model.instrument == holder))[0]
                if len(mine) and model.shared[mine[0], mine[0]] > 0:
                    std = float(np.sqrt(model.shared[mine[0], mine[0]]))
                    column = self._new(-1, -1, 0.0, std, f"{model.instruments[holder]}.readings")
                    self._entries += [(int(rows[place]), column, std) for place in mine]

    def build(self, count: int) -> tuple[Any, Elements]:
        """The matrix (count, p) and what its columns are."""
        from scipy.sparse import csr_array

        row, column, value = _unzip(self._entries, 3)
        parts, rows, signs, stds, names = _unzip(self._elements, 5)
        own = csr_array((value, (row, column)), shape=(count, len(self._elements)))
        elements = Elements(
            np.array(parts, dtype=np.int64),
            np.array(rows, dtype=np.int64),
            np.array(signs, dtype=np.float64),
            np.array(stds, dtype=np.float64),
            tuple(names),
        )
        return own, elements

    def _add_point(
        self,
        part: int,
        sides: Sequence[tuple[int, float]],
        uses: Sequence[tuple[int, Array]],
        std: float,
        name: str,
    ) -> None:
        directions = self.structure.table.direction[[row for row, _ in sides]].reshape(-1, 3)
        likeness = _likeness(directions)
        own = [self._element_of(row, sign, part, std, name) for row, sign in sides]
        rest = np.eye(3) - likeness.T @ likeness
        loose = [self._new(part, -1, 0.0, std, name) for _ in range(3)] if np.abs(rest).max() > 1e-9 else []
        for reading, direction in uses:
            for column, share in zip(own, likeness @ direction, strict=True):
                self._add(reading, column, std * float(share))
            for column, share in zip(loose, rest @ direction, strict=False):
                self._add(reading, column, std * float(share))

    def _add(self, reading: int, column: int, value: float) -> None:
        if abs(value) > _NOTHING:
            self._entries.append((reading, column, value))

    def _element_of(self, row: int, sign: float, part: int, std: float, name: str) -> int:
        key = (row, int(sign))
        if key not in self._found:
            self._found[key] = self._new(part, row, sign, std, name)
        return self._found[key]

    def _new(self, part: int, row: int, sign: float, std: float, name: str) -> int:
        self._elements.append((part, row, sign, std, name))
        return len(self._elements) - 1

    def _sides_at(self, part: int, key: tuple[int, ...]) -> list[tuple[int, float]]:
        """Rows of the table at a point of a part that any result hangs on, with the side that the part is."""
        if self._sides is None:
            self._sides = dict(_row_sides(self.structure))
        return self._sides.get((part, key), [])


def _unzip(rows: Sequence[Sequence[Any]], count: int) -> tuple[list[Any], ...]:
    """The columns of rows, of which there may be none."""
    return tuple([row[index] for row in rows] for index in range(count))


def _row_sides(
    structure: Structure,
) -> Iterator[tuple[tuple[int, tuple[int, ...]], list[tuple[int, float]]]]:
    table = structure.table
    matters = np.abs(structure.sensitivity).max(axis=0, initial=0.0) > _NOTHING
    sides: dict[tuple[int, tuple[int, ...]], list[tuple[int, float]]] = {}
    for parts, points, sign in ((table.first, table.p_first, -1.0), (table.second, table.p_second, 1.0)):
        keys = np.floor(points / _STEP_MM + _OFF).astype(np.int64).tolist()
        for row in np.nonzero(matters & (parts >= 0))[0].tolist():
            sides.setdefault((int(parts[row]), tuple(keys[row])), []).append((row, sign))
    yield from sides.items()


def _key(point: Array) -> tuple[int, ...]:
    return tuple(np.floor(point / _STEP_MM + _OFF).astype(np.int64).tolist())


def _likeness(directions: Array) -> Array:
    """C (k, 3) = (D D^T)^(-1/2) D of unit directions D (k, 3); the pseudo-inverse where they depend on one another.

    Source: symmetric orthogonalisation, Lowdin 1950 (memory).
    """
    left, values, right = np.linalg.svd(directions, full_matrices=False)
    keep = values > 1e-9
    likeness: Array = left[:, keep] @ right[keep]
    return likeness
