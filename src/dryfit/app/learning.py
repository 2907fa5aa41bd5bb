"""What readings of printed parts teach a forecast: the joint update of machines, materials and parts.

Everything is worked over independent sources of unit variance (calc.chain.update). Sources that are not normal and that
a reading touches count by their standard uncertainty.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.as_built import AsBuiltParts, PartReading, is_as_printed
from dryfit.app.causes import (
    Causes,
    Independent,
    Left,
    add_made_up,
    correlated_figures,
    part_columns,
    shared_sources,
    summed_groups,
)
from dryfit.app.geometry import Shapes
from dryfit.app.learning_rows import Elements, ReadingRows, reading_rows
from dryfit.app.motion import Motion
from dryfit.app.outcomes import row_variance
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import HALF_WIDTHS, Estimate
from dryfit.calc.chain import Rows, Sources, Update, remaining_lines, update_sources
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.project import Project

_MOST_STEPS = 4
# No printer leans or stretches so far (common practice, no source).
MOST_SKEW_DEG, MOST_SCALE = 10.0, 0.1
_SETTLED_MM = 1e-5  # by which a prediction may be off its straight line before it is drawn anew


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What is known of a project's sources after its readings.

    project   with machine figures and shrinkages as they are expected now, and how well each is known
    causes    what is left of every source, and how far each is expected to depart
    on_first, on_second  (n,) [mm] by how much the points of each row's two sides are expected off, along its direction
    update    the update itself
    rows      the readings; readings: the same, in the order of the rows
    expected_mm (m,) what each was expected to show, at 20 C
    names     (s,) the shared sources: figures, shrinkages, what instruments have in common, prints' own shapes
    before, before_std, after, after_std  (s,) what is known of each, without and with the readings
    shaped    names of sources that are not normal and count by their std here
    """

    project: Project
    causes: Causes
    on_first: Array
    on_second: Array
    update: Update
    rows: ReadingRows
    readings: tuple[PartReading, ...]
    expected_mm: Array
    names: tuple[str, ...]
    before: Array
    before_std: Array
    after: Array
    after_std: Array
    shaped: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Shared:
    """The s sources that readings and lines share: figures, shrinkages, what instruments have in common, own shapes.

    names, mean (s,)   root (s, s)   columns (q, s) derivatives of the lines   chain (c,) places in the chain's sources
    """

    names: tuple[str, ...]
    mean: Array
    root: Array
    columns: Array
    chain: IntArray


def learn(
    project: Project,
    shapes: Shapes,
    structure: Structure,
    motion: Motion,
    independent: Independent,
    as_built: AsBuiltParts,
) -> Known | None:
    """Condition a project on its readings; None where there is none."""
    rows = reading_rows(project, shapes, structure, as_built.prints)
    if rows is None:
        return None
    read = as_read(project, as_built)
    named, columns = shared_sources(read, structure, motion)
    to_come = split_what_if(project, read, structure, motion, as_built, named, columns)
    shared = share_sources(read, rows, named, columns)
    update, expected = settle(read, rows, shared)
    lines = line_rows(structure, shared, rows.elements)
    learnt = _causes(
        project,
        structure,
        motion,
        independent,
        rows,
        [*named, *to_come.named],
        [*columns, *to_come.columns],
        shared,
        update,
        lines,
    )
    departures = shared.mean + shared.root @ update.shared
    spread = _std_of_shared(shared, update)
    offsets = rows.elements.std_mm * update.own
    first, second = np.zeros(len(structure.table)), np.zeros(len(structure.table))
    np.add.at(first, rows.elements.row[rows.elements.sign < 0], offsets[rows.elements.sign < 0])
    np.add.at(second, rows.elements.row[rows.elements.sign > 0], offsets[rows.elements.sign > 0])
    if len(rows.own_shapes):
        own_shapes = departures[-len(rows.own_shapes) :]
        first, second = (
            first + rows.own_shapes.first @ own_shapes,
            second + rows.own_shapes.second @ own_shapes,
        )
    return Known(
        project=_expected_project(project, read, as_built, shared, departures, spread),
        causes=learnt,
        on_first=first,
        on_second=second,
        update=update,
        rows=rows,
        readings=as_built.readings,
        expected_mm=expected,
        names=shared.names,
        before=shared.mean,
        before_std=np.sqrt((shared.root**2).sum(axis=1)),
        after=departures,
        after_std=spread,
        shaped=tuple(
            named[index][0]
            for index in shared.chain
            if named[index][1].distribution != "normal" and named[index][1].std > 0
        ),
    )


def share_sources(
    project: Project, rows: ReadingRows, named: Sequence[tuple[str, Estimate]], columns: Sequence[Array]
) -> Shared:
    figures = len(project.machines) * len(FIGURES)
    by_name = {name: index for index, (name, _) in enumerate(named)}
    chain = [*range(figures), *(by_name[f"{material.id}.shrinkage"] for material in project.materials)]
    own_shapes = rows.own_shapes
    beside = len(rows.instruments) + len(own_shapes)
    std = np.array([*(named[index][1].std for index in chain), *rows.common_std, *np.ones(len(own_shapes))])
    names = (*(named[index][0] for index in chain), *rows.instruments, *own_shapes.names)
    correlation = np.eye(len(names))
    tied, block = correlated_figures(project)
    if tied:
        places = [names.index(name) for name in tied]
        correlation[np.ix_(places, places)] = block
    own = np.array([columns[index] for index in chain]).reshape(len(chain), -1).T
    return Shared(
        names=names,
        mean=np.array([*(named[index][1].value for index in chain), *np.zeros(beside)]),
        root=std[:, None] * _symmetric_root(correlation),
        columns=np.hstack([own, np.zeros((len(own), len(rows.instruments))), own_shapes.lines]),
        chain=np.array(chain, dtype=np.int64),
    )


def _symmetric_root(correlation: Array) -> Array:
    if np.array_equal(correlation, np.eye(len(correlation))):
        return correlation
    values, vectors = np.linalg.eigh(correlation)
    if values[0] < -1e-9 * len(values):
        raise ValueError("the correlations contradict one another: their matrix has a negative eigenvalue")
    root: Array = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    return root


def settle(project: Project, rows: ReadingRows, shared: Shared) -> tuple[Update, Array]:
    """The update by the readings that were taken, and the (n,) readings that were expected of all rows.

    The straight lines are drawn where the readings put the figures: redrawn until they hold there.
    """
    machines, materials = len(project.machines), len(project.materials)
    count = machines * len(FIGURES)
    prior = shared.mean[: count + materials]
    at = prior
    expected, _, _ = rows.predict(at[:count].reshape(machines, -1), at[count:])
    taken = np.nonzero(rows.is_taken)[0]
    for step in range(_MOST_STEPS):
        values, by_figure, by_shrinkage = rows.predict(at[:count].reshape(machines, -1), at[count:])
        derivatives = np.hstack([by_figure, by_shrinkage])
        straight = values + derivatives @ (prior - at)
        design = Rows(np.hstack([derivatives, rows.beside]) @ shared.root, rows.own)
        update = update_sources(design.pick(taken), (rows.observed - straight)[taken])
        now = (shared.mean + shared.root @ update.shared)[: count + materials]
        _check_range(now[:count].reshape(machines, -1), project, rows, update, taken)
        exact, _, _ = rows.predict(now[:count].reshape(machines, -1), now[count:])
        off = np.abs(exact - (values + derivatives @ (now - at))).max(initial=0.0)
        at = now
        if off <= _SETTLED_MM or step + 1 == _MOST_STEPS:
            break
    return update, expected


def _check_range(
    figures: Array, project: Project, rows: ReadingRows, update: Update, taken: IntArray
) -> None:
    """Raises ComputationRefused where readings put a machine beyond all range: one of them is a slip."""
    wild = (np.abs(figures[:, 3:6]) > MOST_SKEW_DEG).any(axis=1) | (np.abs(figures[:, :3]) > MOST_SCALE).any(
        axis=1
    )
    if not wild.any():
        return
    worst = int(taken[np.argmax(np.abs(update.innovation) / update.innovation_std)])
    items = [item for print in rows.prints for item in print.read.readings]
    reading = items[worst].reading
    name = project.machines[int(np.argmax(wild))].id
    raise ComputationRefused(
        f"the readings would put machine {name} beyond all range; the most unlikely is {reading.value_mm:g} mm",
        f"ledger record {reading.record}, part {reading.part}",
        f"correct it (dryfit read {reading.part} --correct {reading.record} --value MM) or leave it out "
        f"(--leave-out {reading.record} --because TEXT)",
    )


def line_rows(structure: Structure, shared: Shared, elements: Elements) -> Rows:
    """Lines of the structure over the same sources as the readings."""
    from scipy.sparse import csc_array

    moves = np.nonzero(elements.row >= 0)[0]
    block = structure.sensitivity[:, elements.row[moves]] * (elements.sign * elements.std_mm)[moves]
    own = csc_array((len(block), len(elements)))
    if len(moves):
        line, place = np.nonzero(block)
        own = csc_array((block[line, place], (line, moves[place])), shape=own.shape)
    return Rows(shared.columns @ shared.root, own.tocsr())


def _causes(
    project: Project,
    structure: Structure,
    motion: Motion,
    independent: Independent,
    rows: ReadingRows,
    named: Sequence[tuple[str, Estimate]],
    columns: Sequence[Array],
    shared: Shared,
    update: Update,
    lines: Rows,
) -> Causes:
    left_shared, left_own = remaining_lines(update, lines)
    touched = np.abs(update.design.shared).max(axis=0, initial=0.0) > 0
    sources: list[tuple[str, Estimate]] = []
    kept: list[Array] = []
    chain = set(shared.chain.tolist())
    for index, (item, column) in enumerate(zip(named, columns, strict=True)):
        if index not in chain:
            sources.append(item)
            kept.append(column)
    departures = shared.mean + shared.root @ update.shared
    for place, name in enumerate(shared.names):
        column = shared.columns[:, place]
        is_alone = not touched[place] and np.count_nonzero(shared.root[place]) <= 1
        if is_alone and place < len(shared.chain):
            sources.append(named[shared.chain[place]])
            kept.append(column)
            continue
        sources += [
            (_shown(name), Estimate(float(departures[place]))),
            (_shown(name), Estimate(0.0, 1.0)),
        ]
        kept += [column, left_shared[:, place]]
    add_made_up(motion, sources, kept)
    _add_known_scatter(project, rows.elements, update, lines, sources, kept)
    matrix = np.array(kept).T.reshape(len(structure.sensitivity), len(sources))
    keep = [
        index
        for index, (_, estimate) in enumerate(sources)
        if (estimate.std > 0 or estimate.value != 0) and matrix[:, index].any()
    ]
    groups, spread, reach = _left_groups(
        summed_groups(project, structure, independent), rows.elements, lines, left_own
    )
    return Causes(
        Sources.of([sources[index] for index in keep]),
        matrix[:, keep],
        groups,
        spread,
        reach,
        _left(project, structure, rows.elements, left_own),
    )


def _shown(name: str) -> str:
    """Departures of instruments and of the warmth of a part are shown with the readings."""
    owner, _, word = name.rpartition(" ")
    if word in ("zero", "scale"):
        return f"{owner}.readings"
    return "temperature.readings" if word in ("temperature", "expansion") else name


def _add_known_scatter(
    project: Project,
    elements: Elements,
    update: Update,
    lines: Rows,
    sources: list[tuple[str, Estimate]],
    kept: list[Array],
) -> None:
    """By how much the points that were read are off: a certain shift under the name of their part."""
    for index, part in enumerate(project.parts):
        mine = np.nonzero((elements.part == index) & (elements.row >= 0))[0]
        if len(mine):
            sources.append((f"{part.id}.scatter", Estimate(1.0)))
            kept.append(np.asarray(lines.own[:, mine] @ update.own[mine]))


def _left_groups(
    summed: tuple[tuple[str, ...], Array, Array], elements: Elements, lines: Rows, left_own: Array
) -> tuple[tuple[str, ...], Array, Array]:
    """The summed groups with the elements' shares as they are now in place of what they were."""
    names, spread, reach = summed
    added = tuple(name for name in dict.fromkeys(elements.names) if name not in names)
    place = {name: index for index, name in enumerate((*names, *added))}
    wide = ((0, 0), (0, len(added)))
    spread, reach = np.pad(spread, wide), np.pad(reach, wide)
    width = HALF_WIDTHS["normal"]
    before = lines.own.toarray()
    column = np.array([place[name] for name in elements.names])
    for index in np.unique(column):
        mine = column == index
        spread[:, index] += (left_own[:, mine] ** 2).sum(axis=1) - (before[:, mine] ** 2).sum(axis=1)
        reach[:, index] += width * (
            np.abs(left_own[:, mine]).sum(axis=1) - np.abs(before[:, mine]).sum(axis=1)
        )
    # What was taken out was in: below zero is rounding.
    return (*names, *added), np.maximum(spread, 0.0), np.maximum(reach, 0.0)


def _left(project: Project, structure: Structure, elements: Elements, left_own: Array) -> Left:
    variance = row_variance(project, structure)
    moves = np.nonzero(elements.row >= 0)[0]
    np.subtract.at(variance, elements.row[moves], elements.std_mm[moves] ** 2)
    ranges = [index for index, gauge in enumerate(structure.gauges) if gauge.is_range]
    lines = np.nonzero(np.isin(structure.results, ranges))[0]
    return Left(np.maximum(variance, 0.0), lines, left_own[lines])


def _std_of_shared(shared: Shared, update: Update) -> Array:
    """(s,) how well each shared source is known now."""
    from scipy.sparse import csr_array

    none = csr_array((len(shared.root), update.design.own.shape[1]))
    left, own = remaining_lines(update, Rows(shared.root, none))
    std: Array = np.sqrt((left**2).sum(axis=1) + (own**2).sum(axis=1))
    return std


def _expected_project(
    project: Project, read: Project, as_built: AsBuiltParts, shared: Shared, departures: Array, spread: Array
) -> Project:
    """The project with what is expected of its machines now; a what-if on a figure holds for parts to come alone."""
    now: Mapping[str, Estimate] = {
        name: Estimate(float(value), float(std))
        for name, value, std in zip(shared.names, departures, spread, strict=True)
    }
    materials = tuple(
        replace(material, shrinkage=now[f"{material.id}.shrinkage"]) for material in project.materials
    )
    machines, parts = [], list(project.parts)
    for machine, was in zip(project.machines, read.machines, strict=True):
        learnt = {name: now[f"{machine.id}.{name}"] for name in FIGURES}
        wished = _wished(machine, was)
        machines.append(replace(machine, error=replace(machine.error, figures={**learnt, **wished})))
        if wished:
            as_was = replace(machine, id=f"{machine.id} as printed", error=replace(was.error, figures=learnt))
            machines.append(as_was)
            printed = printed_parts(project, as_built)
            parts = [
                replace(part, machine=as_was.id)
                if part.machine == machine.id and part.id in printed
                else part
                for part in parts
            ]
    return replace(project, machines=tuple(machines), materials=materials, parts=tuple(parts))


def _wished(machine: Machine, was: Machine) -> dict[str, Estimate]:
    """Figures that a what-if has changed."""
    return {
        name: figure for name, figure in machine.error.figures.items() if figure != was.error.figures[name]
    }


def printed_parts(project: Project, as_built: AsBuiltParts) -> frozenset[str]:
    """Ids of the parts that are taken as they were printed."""
    return frozenset(item.print.part for item in as_built.prints if is_as_printed(project, item))


def as_read(project: Project, as_built: AsBuiltParts) -> Project:
    """The project with the machines' figures as they were known when its parts were printed and read."""
    known = {machine.id: machine for machine in as_built.figures}
    return replace(
        project,
        machines=tuple(
            replace(machine, error=replace(machine.error, figures=known[machine.id].error.figures))
            if machine.id in known
            else machine
            for machine in project.machines
        ),
    )


@dataclass(frozen=True, slots=True, eq=False)
class ToCome:
    """What-ifs on figures, which hold for parts to come: sources of their own, and the lines' columns by them."""

    named: tuple[tuple[str, Estimate], ...]
    columns: tuple[Array, ...]


def split_what_if(
    project: Project,
    read: Project,
    structure: Structure,
    motion: Motion,
    as_built: AsBuiltParts,
    named: Sequence[tuple[str, Estimate]],
    columns: list[Array],
) -> ToCome:
    """Takes the parts to come out of the columns of figures that a what-if has changed, into columns of their own."""
    found: list[tuple[str, Estimate]] = []
    added: list[Array] = []
    printed = printed_parts(project, as_built)
    for index, (machine, was) in enumerate(zip(project.machines, read.machines, strict=True)):
        for name, figure in _wished(machine, was).items():
            place = index * len(FIGURES) + FIGURES.index(name)
            column = np.zeros(len(structure.sensitivity))
            for number, part in enumerate(project.parts):
                if part.machine == machine.id and part.id not in printed:
                    for side, sign in ((motion.first, -1.0), (motion.second, 1.0)):
                        column += part_columns(structure, side, sign, number)[:, FIGURES.index(name)]
            columns[place] = columns[place] - column
            found.append((named[place][0], figure))
            added.append(column)
    return ToCome(tuple(found), tuple(added))
