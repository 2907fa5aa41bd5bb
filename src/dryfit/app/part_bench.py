"""A printed part on the bench: what can be read off it, with what, and what it should show."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit.app.artefact_records import RecordedArtefact
from dryfit.app.as_built import (
    AsBuiltParts,
    PartReading,
    PrintRead,
    as_printed,
    gather_as_built,
    printed_part,
)
from dryfit.app.forecast import Chain, build_chain
from dryfit.app.handwork import taken_off_reading
from dryfit.app.inspecting import InspectOptions, plan_inspection
from dryfit.app.instruments import instruments_for
from dryfit.app.learning_report import limit_of
from dryfit.app.loading import Opened, open_project
from dryfit.app.looking_ahead import look_ahead, thought_of
from dryfit.app.part_ends import ends_in_assembly
from dryfit.app.part_instruments import best_instruments, is_same
from dryfit.app.part_measures import PartMeasure, part_measures
from dryfit.app.reading_queries import Expected
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.artefact import Artefact, Measure, Planned
from dryfit.model.instrument import Instrument
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.model.reading import Reading
from dryfit.store.ledger import LEDGER_NAME, Ledger, LedgerRecord, open_ledger

# A sheet for one part: so many different lengths, each read twice (common practice, no source).
PLANNED_MEASURES, PLANNED_REPEATS = 6, 2
# A limit over the family of readings is taken of so many at least, so that the first is not queried for nothing.
_LEAST_OF_A_SITTING = 20
_LAST = 2**62  # number of a record that is still to come


class PrintedBody:
    """A print of a part that is being read."""

    def __init__(
        self, chain: Chain, read: PrintRead, measures: Sequence[PartMeasure], best: Mapping[str, str]
    ) -> None:
        self.chain = chain
        self.print = read.print
        self.part: Part = chain.project.part(read.print.part)
        self.measures = tuple(measures)
        self._best = dict(best)

    def instrument_for(self, measure: Measure) -> str:
        """The instrument that reads it best. Raises ReferenceUnknown where none of the project does."""
        if measure.id in self._best:
            return self._best[measure.id]
        what = f"none of the instruments reads measure {measure.number} ({measure.kind}, {measure.length_mm:.1f} mm)"
        raise ReferenceUnknown(what, f"part {self.part.id}", "name one: --instrument caliper-300")

    def numbered(self, readings: Sequence[Reading]) -> tuple[Reading, ...]:
        """Readings under the ids that their measures have now: known by their ends, whatever they were called."""
        return tuple(replace(reading, measure=self._id_now(reading)) for reading in readings)

    def expect(
        self, records: Sequence[LedgerRecord], instrument: Instrument, without: int | None = None
    ) -> Expected:
        """What each measure should show with an instrument, by all that was read so far; without one record."""
        now = gather_as_built(self.chain.project, self.chain.shapes, records)
        counting = replace(
            now, prints=tuple(replace(item, readings=_without(item, without)) for item in now.prints)
        )
        chain = replace(self.chain, as_built=_with_print(counting, self.print.record, self.chain))
        asked = [
            thought_of(item.measure, instrument, self.print.machine, self.print.record, self.part.id)
            for item in self.measures
        ]
        ahead = look_ahead(chain, {self.print.record: asked})
        places = ahead.asked[self.print.record]
        mine = [work for work in now.works if work.part == self.part.id]
        worked = [taken_off_reading(item.measure, mine, _LAST) for item in self.measures]
        return Expected(
            ahead.shown_mm[places] - np.array(worked),
            ahead.std_mm[places],
            limit_of(max(len(now.readings) + 1, _LEAST_OF_A_SITTING)),
            "what is expected",
            "what machine, print and instrument may still be off by",
        )

    def _id_now(self, reading: Reading) -> str:
        if reading.ends is None:
            return reading.measure
        ends = ends_in_assembly(self.part, reading.ends)
        for item in self.measures:
            if is_same(item.measure, ends):
                return item.measure.id
        return reading.measure


@dataclass(frozen=True, slots=True, eq=False)
class OpenedPart:
    """What a desk needs for a part."""

    project: Project
    ledger: Ledger
    machine: str
    body: RecordedArtefact
    printed: PrintedBody


class AtHand:
    """A project that is open, and what can be read off its parts: the same for as long as its meshes and joints are."""

    def __init__(self, opened: Opened) -> None:
        self.opened = opened
        self._measures: dict[str, tuple[PartMeasure, ...]] = {}

    def measures_of(self, chain: Chain, part: str) -> tuple[PartMeasure, ...]:
        """What can be read off a part; found once."""
        if part not in self._measures:
            self._measures[part] = _measures_of(chain, part)
        return self._measures[part]


def _measures_of(chain: Chain, part: str) -> tuple[PartMeasure, ...]:
    return part_measures(chain.project, chain.shapes, chain.structure, part)


@contextmanager
def open_part(
    path: Path, part: str, print: int | None = None, at_hand: AtHand | None = None
) -> Iterator[OpenedPart]:
    """A printed part on the bench. at_hand: of a project that is open already; it may be older than the ledger.

    Raises ReferenceUnknown where the part has no good print of its present shape, or not the one named.
    """
    opened = open_project(path) if at_hand is None else at_hand.opened
    file = opened.folder / LEDGER_NAME
    with open_ledger(file) as ledger:
        records = ledger.records()
        now = gather_as_built(opened.project, opened.shapes, records)
        read = _find_print(now, part, print)
        project = as_printed(opened.project, now)
        chain = build_chain(project, opened.shapes, now)
        find = _measures_of if at_hand is None else at_hand.measures_of
        measures = find(chain, part)
        instruments = instruments_for(project, records)
        best = best_instruments([item.measure for item in measures], instruments)
        plan = _plan(chain, now, read, measures, instruments, best, find)
        shape = opened.shapes[part]
        made = printed_part(project, read)
        body = Artefact(
            machine=read.print.machine,
            build_volume_mm=project.machine(made.machine).build_volume_mm,
            size_mm=tuple(np.ptp(shape.mesh.vertices, axis=0).tolist()),
            volume_mm3=0.0,
            mass_g=read.print.grams or 0.0,
            hours=read.print.hours,
            material=read.print.material,
            first_layer_height_mm=project.machine(made.machine).error.first_layer_height_mm,
            measures=tuple(item.measure for item in measures),
            plan=plan,
            sha256=read.print.shape_sha256,
        )
        recorded = RecordedArtefact(read.print.record, read.print.at, body)
        yield OpenedPart(
            project, ledger, read.print.machine, recorded, PrintedBody(chain, read, measures, best)
        )


def _plan(
    chain: Chain,
    now: AsBuiltParts,
    read: PrintRead,
    measures: Sequence[PartMeasure],
    instruments: Sequence[Instrument],
    best: Mapping[str, str],
    find: Callable[[Chain, str], tuple[PartMeasure, ...]],
) -> tuple[Planned, ...]:
    """What was read already and what is worth most; of an earlier print the longest."""
    ids = [item.measure.id for item in measures if item.measure.id in best]
    if read.is_as_built:
        wish = InspectOptions(parts=(read.print.part,), readings=PLANNED_MEASURES)
        found = plan_inspection(chain, now, instruments, wish, find).parts
        worth = [item.id for plan in found for item in (*plan.done, *plan.readings)]
        if worth:
            done = sum(len(plan.done) for plan in found)
            ids = worth[: max(PLANNED_MEASURES, done)]
            return tuple(Planned(id, best[id], PLANNED_REPEATS) for id in ids)
    return tuple(Planned(id, best[id], PLANNED_REPEATS) for id in ids[:PLANNED_MEASURES])


def _find_print(now: AsBuiltParts, part: str, record: int | None) -> PrintRead:
    own = [item for item in now.prints if item.print.part == part]
    if record is None:
        found = next((item for item in own if item.is_as_built), None)
        if found is not None:
            return found
        caution = next(item.caution for item in now.parts if item.part == part)
        what = f'there is no good print of the part "{part}" as it is now'
        do = f"enter it: dryfit printed {part} --result good"
        raise ReferenceUnknown(f"{what}{f' ({caution})' if caution else ''}", LEDGER_NAME, do)
    found = next((item for item in own if item.print.record == record), None)
    if found is None:
        listed = ", ".join(str(item.print.record) for item in own)
        do = f"its good prints of the present shape: records {listed}" if listed else "it has none"
        raise ReferenceUnknown(f'record {record} is no good print of "{part}" as it is now', "--print", do)
    return found


def _without(item: PrintRead, record: int | None) -> tuple[PartReading, ...]:
    return tuple(reading for reading in item.readings if reading.reading.record != record)


def _with_print(now: AsBuiltParts, record: int, chain: Chain) -> AsBuiltParts:
    """The parts as built, with the print on the bench among them although it may have been corrected since."""
    if any(item.print.record == record for item in now.prints) or chain.as_built is None:
        return now
    held = next(item for item in chain.as_built.prints if item.print.record == record)
    return replace(now, prints=(*now.prints, replace(held, readings=())))
