"""Taking readings of an artefact: what comes next, what is doubtful, and each one recorded at once."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.artefact_plan import reading_order
from dryfit.app.artefact_records import ARTEFACT, RecordedArtefact, recorded_artefacts
from dryfit.app.instruments import GAUGE_STUDY, find_instrument
from dryfit.app.machines import find_target
from dryfit.app.part_bench import AtHand, PrintedBody, open_part
from dryfit.app.part_ends import ends_in_design
from dryfit.app.reading_checks import check_readable, check_value
from dryfit.app.reading_decisions import OWN_SHAPE, READING_DECISION, own_shapes_of
from dryfit.app.reading_queries import UNKNOWN_SHRINKAGE, Reason, query_reading
from dryfit.app.reading_records import READING, Entry, reading_from, reading_payload, readings_of
from dryfit.base.errors import ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.calc.gauging import reading_budget
from dryfit.model.artefact import Artefact, Measure
from dryfit.model.instrument import Instrument
from dryfit.model.printing import OwnShape
from dryfit.model.project import Project
from dryfit.model.reading import Reading
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME, Ledger, open_ledger
from dryfit.store.words import suggest

# Repeats within this many of their standard deviations are called good (99.7 % of pairs; common practice).
_GOOD_STDS = 3.0


@dataclass(frozen=True, slots=True)
class Step:
    """What is to be read next.

    done, of       readings of this measure with this instrument that count, and how many the plan asks for
    read, planned  readings of the whole plan, likewise
    last_mm        up to three latest of this measure with this instrument, oldest first
    """

    measure: Measure
    instrument: Instrument
    done: int
    of: int
    read: int
    planned: int
    last_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading that is on the disk.

    count, of  its place among the repeats of its measure, and how many are planned
    apart_mm   largest less smallest of the repeats; None for the first
    is_good    whether that is what the repeatability of the instrument lets expect; None for the first
    """

    reading: Reading
    number: int
    count: int
    of: int
    apart_mm: float | None
    is_good: bool | None


class ReadingDesk:
    """An artefact on the bench, and an open ledger. Several may be open on one ledger; none loses anything.

    temp_c, by, instrument  of the readings to come; instrument: instead of the planned one, where not None
    body    the printed part that is read; None: a test artefact
    target  what is read, as the user names it: the machine, or the part
    """

    def __init__(
        self,
        project: Project,
        ledger: Ledger,
        machine: str,
        artefact: RecordedArtefact,
        body: PrintedBody | None = None,
    ) -> None:
        self.project = project
        self.machine = machine
        self.body = body
        self.target = machine if body is None else body.part.id
        self.record = artefact.record
        self.artefact: Artefact = artefact.artefact
        self.temp_c: float | None = None
        self.by = ""
        self.instrument: str | None = None
        self._ledger = ledger
        self._own: list[int] = []

    @property
    def shrinkage(self) -> Estimate:
        """Of the artefact's material; wide where the document no longer has it."""
        material = next((m for m in self.project.materials if m.id == self.artefact.material), None)
        return UNKNOWN_SHRINKAGE if material is None else material.shrinkage

    @property
    def place(self) -> str:
        """What lies on the bench, in words."""
        return (
            f"artefact of {self.machine}" if self.body is None else f"part {self.target}, print {self.record}"
        )

    def readings(self) -> tuple[Reading, ...]:
        """Those that count now, whoever took them."""
        if self.body is None:
            return readings_of(self._ledger.records(READING), self.machine, self.record)
        return self.body.numbered(readings_of(self._ledger.records(READING), None, self.record))

    def find_instrument(self, id: str) -> Instrument:
        """Raises ReferenceUnknown where the project has none of that id."""
        return find_instrument(self.project, self._ledger.records(GAUGE_STUDY), id)

    def find_measure(self, text: str) -> Measure:
        """The measure of a number on the sheet, or of an id. Raises ReferenceUnknown where there is none."""
        wanted = text.strip()
        for measure in self.artefact.measures:
            if wanted in (measure.id, str(measure.number)):
                return measure
        numbers = [measure.number for measure in self.artefact.measures]
        do = f"measures {min(numbers)} to {max(numbers)} are on its sheet"
        if not wanted.isdecimal():
            do = suggest(wanted, [measure.id for measure in self.artefact.measures], "measures")
        raise ReferenceUnknown(f'there is no measure "{wanted}"', self.place, do)

    def next_step(self, skipped: Sequence[str] = (), after: str | None = None) -> Step | None:
        """The first reading of the plan, there and back as the sheet has it, that is not taken; None where all are.

        skipped : ids of measures
        after : id of the measure that was read just now: what was passed over before it comes last
        """
        taken = Counter(self._planned_key(item.measure, item.instrument) for item in self.readings())
        due: list[tuple[int, str]] = []
        place = -1
        for index, planned in enumerate(reading_order(self.artefact)):
            key = (planned.measure, planned.instrument)
            if taken[key] > 0:
                taken[key] -= 1
                place = index if planned.measure == after else place
            elif planned.measure not in skipped:
                due.append((index, planned.measure))
        later = [measure for index, measure in due if index > place]
        found = next(iter(later or [measure for _, measure in due]), None)
        return None if found is None else self.step_for(self.artefact.measure(found))

    def step_for(self, measure: Measure, instrument: str | None = None) -> Step:
        """The step of one measure: with the instrument named, that of the desk, or the planned one."""
        id = instrument or self._own_instrument(measure) or self._planned_instrument(measure)
        readings = self.readings()
        own = [r.value_mm for r in readings if r.measure == measure.id and r.instrument == id]
        read, planned = self._progress(readings)
        found = self.find_instrument(id)
        check_readable(found, measure)
        return Step(measure, found, len(own), self._repeats(measure.id, id), read, planned, tuple(own[-3:]))

    def query(self, step: Step, value_mm: float, without: int | None = None) -> tuple[Reason, ...]:
        """Why the value should be looked at again. without: record of the reading that it corrects."""
        check_value(step.measure, value_mm, str(value_mm))
        earlier = [item for item in self.readings() if item.record != without]
        return self.query_against(step.measure.id, value_mm, earlier, step.instrument, without)

    def query_against(
        self,
        measure: str,
        value_mm: float,
        earlier: Sequence[Reading],
        instrument: Instrument,
        without: int | None = None,
    ) -> tuple[Reason, ...]:
        """The same, against stated other readings."""
        expected = None
        if self.body is not None:
            expected = self.body.expect(self._ledger.records(), instrument, without)
        return query_reading(self.artefact, measure, value_mm, earlier, instrument, self.shrinkage, expected)

    def record_value(
        self, step: Step, value_mm: float, is_confirmed: bool = False, corrects: int | None = None
    ) -> Taken:
        """Record a reading; once this returns it is on the disk."""
        check_value(step.measure, value_mm, str(value_mm))
        entry = Entry(
            machine=self.machine,
            artefact=self.record,
            measure=step.measure.id,
            value_mm=value_mm,
            instrument=step.instrument.id,
            temp_c=self.temp_c,
            corrects=corrects,
            is_confirmed=is_confirmed,
            by=self.by,
            part="" if self.body is None else self.target,
            ends=self.ends_of(step.measure),
        )
        (taken,) = self.record_entries([entry])
        return taken

    def ends_of(self, measure: Measure) -> Measure | None:
        """What a reading of a part keeps of its measure; None of an artefact, whose record holds its measures."""
        return None if self.body is None else ends_in_design(self.body.part, measure)

    def record_entries(self, entries: Sequence[Entry]) -> tuple[Taken, ...]:
        """Record several, all or none."""
        records = self._ledger.append_all(READING, [reading_payload(entry) for entry in entries])
        self._own += [record.id for record in records]
        readings = self.readings()
        made = {record.id for record in records}
        own = {reading.record: reading for reading in readings if reading.record in made}
        return tuple(self._taken(own.get(record.id, reading_from(record)), readings) for record in records)

    def undo(self) -> Reading | None:
        """Withdraw the latest reading of this desk that still counts; None where there is none."""
        counting = {item.record for item in self.readings()}
        for record in reversed(self._own):
            if record in counting:
                return self.withdraw(record)
        return None

    def withdraw(self, record: int) -> Reading:
        """A correcting record that takes a reading back. Raises ReferenceUnknown where none of it counts."""
        reading = self.find_reading(record)
        entry = Entry(
            machine=self.machine,
            artefact=self.record,
            measure=reading.measure,
            value_mm=None,
            instrument=reading.instrument,
            temp_c=self.temp_c,
            corrects=record,
            is_withdrawn=True,
            by=self.by,
            part=reading.part,
            ends=reading.ends,
        )
        self._ledger.append(READING, reading_payload(entry))
        return reading

    def decide(self, record: int, counts: bool, because: str, by: str) -> None:
        """Record whether a reading of a part counts in the forecast, and why."""
        payload = {"reading": record, "counts": counts, "because": because, "by": by}
        self._ledger.append(READING_DECISION, payload)

    def decide_own_shape(self, std_mm: float, because: str, by: str) -> int:
        """Record by how much the print of a part is off for a reason of its own; 0: it is as its machine makes it.

        Returns the number of the record.
        """
        payload = {
            "part": self.target,
            "print": self.record,
            "std_mm": std_mm,
            "because": because,
            "by": by,
        }
        return self._ledger.append(OWN_SHAPE, payload).id

    def own_shape(self) -> OwnShape | None:
        """What was decided of the print; None where nothing was, or it was taken back."""
        return own_shapes_of(self._ledger.records(OWN_SHAPE)).get(self.record)

    def find_reading(self, record: int) -> Reading:
        """The reading of a record, where it counts. Raises ReferenceUnknown otherwise."""
        readings = self.readings()
        for reading in readings:
            if reading.record == record:
                return reading
        listed = ", ".join(str(item.record) for item in readings[-10:])
        do = f"the latest that count: records {listed}" if listed else "there is none that counts"
        what = f"record {record} is no reading of {self.place}, or no longer counts"
        raise ReferenceUnknown(what, LEDGER_NAME, do)

    def progress(self) -> tuple[int, int]:
        """Readings of the plan that are there, and how many it asks for."""
        return self._progress(self.readings())

    def files_read(self) -> dict[str, tuple[int, ...]]:
        """Hash of each CSV file that readings of this artefact came from, and their records."""
        found: dict[str, tuple[int, ...]] = {}
        for record in self._ledger.records(READING):
            name = record.payload.get("csv_sha256")
            if isinstance(name, str) and record.payload.get("artefact") == self.record:
                found[name] = (*found.get(name, ()), record.id)
        return found

    def _taken(self, reading: Reading, readings: Sequence[Reading]) -> Taken:
        measure = self.artefact.measure(reading.measure)
        own = [
            item.value_mm
            for item in readings
            if item.measure == reading.measure and item.instrument == reading.instrument
        ]
        apart = max(own) - min(own) if len(own) > 1 else None
        std = reading_budget(self.find_instrument(reading.instrument), measure.length_mm).own_std_mm
        # The range of n readings grows with n; for the handful taken here that of two is a fair bound.
        is_good = None if apart is None else apart <= _GOOD_STDS * math.sqrt(2.0) * std
        key = (reading.measure, reading.instrument)
        return Taken(reading, measure.number, len(own), self._repeats(*key), apart, is_good)

    def _own_instrument(self, measure: Measure) -> str | None:
        """That of the desk, where it reads measures of this kind."""
        if self.instrument is None or measure.kind not in self.find_instrument(self.instrument).measures:
            return None
        return self.instrument

    def _planned_instrument(self, measure: Measure) -> str:
        planned = next((item for item in self.artefact.plan if item.measure == measure.id), None)
        if planned is None and self.body is not None:
            return self.body.instrument_for(measure)
        if planned is None:
            what = f"measure {measure.number} is not in the plan, and no instrument is named for it"
            raise ReferenceUnknown(what, self.place, "name one: --instrument caliper-300")
        return planned.instrument

    def _planned_key(self, measure: str, instrument: str) -> tuple[str, str]:
        """What a reading counts for: an instrument that was not planned stands in for the one that was."""
        planned = [item.instrument for item in self.artefact.plan if item.measure == measure]
        return measure, instrument if instrument in planned or not planned else planned[0]

    def _repeats(self, measure: str, instrument: str) -> int:
        """How often the plan asks for a measure with an instrument."""
        key = self._planned_key(measure, instrument)
        return sum(item.repeats for item in self.artefact.plan if (item.measure, item.instrument) == key)

    def _progress(self, readings: Sequence[Reading]) -> tuple[int, int]:
        counts = Counter(self._planned_key(item.measure, item.instrument) for item in readings)
        planned = Counter[tuple[str, str]]()
        for item in self.artefact.plan:
            planned[(item.measure, item.instrument)] += item.repeats
        return sum(min(counts[key], of) for key, of in planned.items()), sum(planned.values())


@contextmanager
def open_desk(
    path: Path, target: str, print: int | None = None, at_hand: AtHand | None = None
) -> Iterator[ReadingDesk]:
    """The bench for the latest artefact of a machine, or for a print of a part.

    at_hand : the project, where it is open already; used for a part
    print : record of the print that is read; None: the part as built
    Raises ReferenceUnknown where the project has no such machine or part, the machine no artefact yet or the part no
    good print; and what opening the document and the ledger raises.
    """
    document = read_document(path)
    project = document.project
    machine = target
    known = {item.id for item in project.machines}
    if target not in known and target in {part.id for part in project.parts}:
        with open_part(path, target, print, at_hand) as opened:
            yield ReadingDesk(opened.project, opened.ledger, opened.machine, opened.body, opened.printed)
        return
    if print is not None:
        raise ReferenceUnknown(f'"{target}" is no part', "--print", "name the part that was printed")
    find_target(project, target)
    file = document.path.parent / LEDGER_NAME
    missing = ReferenceUnknown(
        f'no artefact was designed for the machine "{machine}": there is nothing to read',
        LEDGER_NAME,
        f"design and print one: dryfit artefact {machine}",
    )
    if not file.exists():
        raise missing
    with open_ledger(file) as ledger:
        artefacts = recorded_artefacts(ledger.records(ARTEFACT), machine)
        if not artefacts:
            raise missing
        yield ReadingDesk(project, ledger, machine, artefacts[-1])
