"""What readings that have not been taken are expected to show, and how they hang together with the results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.as_built import AsBuiltParts, PartReading
from dryfit.app.causes import shared_sources
from dryfit.app.forecast import Chain
from dryfit.app.learning import Shared, as_read, line_rows, settle, share_sources, split_what_if
from dryfit.app.learning_rows import ReadingRows, reading_rows
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.chain import Rows, gain_of
from dryfit.model.artefact import Measure
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES
from dryfit.model.reading import Reading


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """k readings that are thought of, after those that were taken.

    asked     by print record, then as they were asked: the places of its readings among the k
    shown_mm  (k,) what each is expected to show at 20 C
    std_mm    (k,) and how far it may be off that
    with_lines (q, k) covariance with each line of the structure
    true_std_mm (k,) how far the length itself may be off what is expected of it
    true_with_lines (q, k) covariance of the length itself with each line
    between   by print record, (n, n) covariance of its readings with one another
    """

    asked: Mapping[int, IntArray]
    shown_mm: Array
    std_mm: Array
    with_lines: Array
    true_std_mm: Array
    true_with_lines: Array
    between: Mapping[int, Array]


def thought_of(measure: Measure, instrument: Instrument, machine: str, print: int, part: str) -> PartReading:
    """A reading that has not been taken."""
    reading = Reading(0, "", machine, print, measure.id, 1.0, instrument.id, part=part, ends=measure)
    return PartReading(reading, measure, instrument)


def look_ahead(chain: Chain, asked: Mapping[int, Sequence[PartReading]]) -> Ahead:
    """What readings of prints are expected to show, by all that is known now.

    asked : by record of a print, readings of it that are thought of (thought_of)
    Raises ValueError where the chain has no parts as built, or no reading is asked for.
    """
    if chain.as_built is None:
        raise ValueError("a chain without parts as built")
    with_asked = _with(chain.as_built, asked)
    project, structure = chain.project, chain.structure
    rows = reading_rows(project, chain.shapes, structure, with_asked.prints)
    if rows is None:
        raise ValueError("no reading is asked for")
    read = as_read(project, chain.as_built)
    named, columns = shared_sources(read, structure, chain.motion)
    split_what_if(project, read, structure, chain.motion, chain.as_built, named, columns)
    shared = share_sources(read, rows, named, columns)
    taken = rows.is_taken
    thought = np.nonzero(~taken)[0]
    count = len(project.machines) * len(FIGURES)
    end = count + len(project.materials)
    at = shared.mean[:end]
    update = None
    if taken.any():
        update, _ = settle(read, rows, shared)
        at = (shared.mean + shared.root @ update.shared)[:end]
    values, by_figure, by_shrinkage = rows.predict(at[:count].reshape(-1, len(FIGURES)), at[count:])
    root = np.hstack([by_figure, by_shrinkage, rows.beside])[thought] @ shared.root
    design = Rows(root, rows.own[thought])
    lines = line_rows(structure, shared, rows.elements)
    places = _places(with_asked, taken)
    true = _true_lengths(rows, thought, shared, design)
    shown, with_lines = values[thought], lines.crossed(design)
    true_with_lines, true_variance = lines.crossed(true), _squares(true)
    between = {print: design.pick(some).crossed(design.pick(some)) for print, some in places.items()}
    if update is not None:
        beside = (shared.root @ update.shared)[end:]
        shown = shown + rows.beside[thought] @ beside + design.own @ update.own
        gain, of_true = gain_of(update, design), gain_of(update, true)
        crossed, of_lines = update.design.crossed(design), update.design.crossed(lines)
        with_lines -= of_lines.T @ gain.T
        true_with_lines -= of_lines.T @ of_true.T
        true_variance -= np.einsum("km,mk->k", of_true, update.design.crossed(true))
        for print, some in places.items():
            between[print] -= gain[some] @ crossed[:, some]
    std = np.zeros(len(thought))
    for print, some in places.items():
        std[some] = np.sqrt(np.maximum(between[print].diagonal(), 0.0))
    true_std = np.sqrt(np.maximum(true_variance, 0.0))
    return Ahead(places, shown, std, with_lines, true_std, true_with_lines, between)


def _squares(rows: Rows) -> Array:
    """(k,) variance of each row."""
    own = np.asarray(rows.own.multiply(rows.own).sum(axis=1)).reshape(-1)
    squares: Array = (rows.shared**2).sum(axis=1) + own
    return squares


def _true_lengths(rows: ReadingRows, thought: IntArray, shared: Shared, design: Rows) -> Rows:
    """The same readings by a perfect instrument: without what hand, display, instrument and warmth bring along."""
    from scipy.sparse import diags_array

    before, after = len(shared.chain), len(rows.own_shapes)
    padded = np.pad(rows.common[thought], ((0, 0), (before, after)))
    keep = diags_array((rows.elements.part >= 0).astype(np.float64))
    return Rows(design.shared - padded @ shared.root, (design.own @ keep).tocsr())


def _with(as_built: AsBuiltParts, asked: Mapping[int, Sequence[PartReading]]) -> AsBuiltParts:
    return replace(
        as_built,
        prints=tuple(
            replace(item, readings=(*item.readings, *asked.get(item.print.record, ())))
            for item in as_built.prints
        ),
    )


def _places(as_built: AsBuiltParts, taken: BoolArray) -> Mapping[int, IntArray]:
    number = np.cumsum(~taken) - 1
    found: dict[int, IntArray] = {}
    start = 0
    for item in as_built.prints:
        some = np.arange(start, start + len(item.readings))
        start += len(some)
        mine = some[~taken[some]] if len(some) else some
        if len(mine):
            found[item.print.record] = number[mine]
    return found
