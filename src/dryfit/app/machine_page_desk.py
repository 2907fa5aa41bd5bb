"""The bench page's readings: what to read next, each one recorded at once, every time anew out of the ledger."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from dryfit.app.artefact_records import RecordedArtefact
from dryfit.app.instruments import instruments_for
from dryfit.app.part_bench import AtHand
from dryfit.app.part_instruments import can_read_part
from dryfit.app.reading import ReadOptions, prepare_desk
from dryfit.app.reading_checks import read_temperature, read_value
from dryfit.app.reading_desk import ReadingDesk, Step, Taken, open_desk
from dryfit.app.reading_queries import Reason
from dryfit.model.artefact import Artefact, Measure
from dryfit.model.reading import Reading
from dryfit.store.ledger import LEDGER_NAME

_LAST = 3


@dataclass(frozen=True, slots=True)
class Asked:
    """What a page has in its fields.

    measure     id of the one that is open; None: the next of the plan
    instrument  instead of the planned one; "" for that
    temp        temperature as typed, "" where it was not taken
    by          who reads
    """

    measure: str | None = None
    instrument: str = ""
    temp: str = ""
    by: str = ""

    def options(self) -> ReadOptions:
        """Raises ReadingRefused where the temperature is none."""
        temp = read_temperature(self.temp, "temperature") if self.temp.strip() else None
        return ReadOptions(self.instrument or None, temp, self.by.strip())


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One measure of the plan: how often it was read, of how often. Read with more than one instrument, together."""

    measure: Measure
    done: int
    of: int


@dataclass(frozen=True, slots=True)
class LastReading:
    """A reading lately taken, with the number of its measure on the sheet; None where it has none any more."""

    reading: Reading
    number: int | None


@dataclass(frozen=True, slots=True)
class DeskState:
    """The artefact on the bench as it stands in the ledger now.

    artefact     what is read: a test artefact, or a printed part as one
    print        record of the print that is read, of a part; None of an artefact
    step         what is open; None where all is read and nothing was chosen
    before, after  ids of the measures of the plan on either side of it; None at the ends
    rows         the plan, each measure once
    read, planned  readings of it
    last         the latest readings of any measure, newest first
    instruments  ids of those that read the open measure
    """

    artefact: RecordedArtefact
    print: int | None
    step: Step | None
    before: str | None
    after: str | None
    rows: tuple[SheetRow, ...]
    read: int
    planned: int
    last: tuple[LastReading, ...]
    instruments: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """A value that was not recorded, and why it is asked about."""

    value_mm: float
    reasons: tuple[Reason, ...]


def look_at_desk(path: Path, machine: str, asked: Asked, at_hand: AtHand | None = None) -> DeskState:
    """What to read next, or the measure that is asked for. machine: or part; at_hand: the project, where it is open.

    Raises ReferenceUnknown where there is no artefact, measure or instrument of that name, ReadingRefused where the
    instrument cannot read it.
    """
    with open_desk(path, machine, at_hand=at_hand) as desk:
        prepare_desk(desk, replace(asked, temp="").options())
        step = desk.next_step() if asked.measure is None else desk.step_for(desk.find_measure(asked.measure))
        return _state(desk, path, step)


def take_reading(
    path: Path,
    machine: str,
    asked: Asked,
    text: str,
    is_meant: bool = False,
    at_hand: AtHand | None = None,
) -> Taken | Doubt:
    """Record what was typed for the open measure; a doubtful value only where it is said to be meant.

    Raises ReadingRefused where it is no reading at all, and what opening the bench raises.
    """
    with open_desk(path, machine, at_hand=at_hand) as desk:
        prepare_desk(desk, asked.options())
        if asked.measure is None:
            raise ValueError("a reading is of a measure that is open")
        step = desk.step_for(desk.find_measure(asked.measure))
        value = read_value(text, f"measure {step.measure.number}")
        reasons = desk.query(step, value)
        if reasons and not is_meant:
            return Doubt(value, reasons)
        return desk.record_value(step, value, bool(reasons))


def take_back(path: Path, machine: str, record: int, by: str = "", at_hand: AtHand | None = None) -> Reading:
    """Withdraw a reading by a correcting record. Raises ReferenceUnknown where none of that number counts."""
    with open_desk(path, machine, at_hand=at_hand) as desk:
        desk.by = by.strip()
        return desk.withdraw(record)


def following(
    path: Path, machine: str, measure: str, instrument: str = "", at_hand: AtHand | None = None
) -> str | None:
    """The measure to go on with after one: the next of the sheet, there and back; None where all is read.

    What was passed over comes last, not in between: the hand that goes along the sheet is not sent back.
    """
    with open_desk(path, machine, at_hand=at_hand) as desk:
        prepare_desk(desk, ReadOptions(instrument or None))
        found = desk.next_step(after=measure)
        return None if found is None else found.measure.id


def _state(desk: ReadingDesk, path: Path, step: Step | None) -> DeskState:
    readings = desk.readings()
    numbers = {measure.id: measure.number for measure in desk.artefact.measures}
    read, planned = desk.progress()
    before, after = (None, None) if step is None else _beside(desk.artefact, step.measure.id)
    folder = path if path.is_dir() else path.parent
    able: Sequence[str] = ()
    if step is not None:
        wanted = step.measure
        able = [
            item.id
            for item in instruments_for(desk.project, folder / LEDGER_NAME)
            if (
                item.can_read(wanted.kind, wanted.length_mm)
                if desk.body is None
                else can_read_part(wanted, item)
            )
        ]
    return DeskState(
        artefact=RecordedArtefact(desk.record, "", desk.artefact),
        print=None if desk.body is None else desk.record,
        step=step,
        before=before,
        after=after,
        rows=_rows(desk.artefact, readings),
        read=read,
        planned=planned,
        last=tuple(LastReading(item, numbers.get(item.measure)) for item in reversed(readings[-_LAST:])),
        instruments=tuple(able),
    )


def _planned_measures(artefact: Artefact) -> list[str]:
    """Each measure of the plan once, in its order."""
    return list(dict.fromkeys(planned.measure for planned in artefact.plan))


def _beside(artefact: Artefact, measure: str) -> tuple[str | None, str | None]:
    order = _planned_measures(artefact)
    pairs = list(pairwise([None, *order, None]))
    before = next((one for one, other in pairs if other == measure), None)
    after = next((other for one, other in pairs if one == measure), None)
    return before, after


def _rows(artefact: Artefact, readings: Sequence[Reading]) -> tuple[SheetRow, ...]:
    done = Counter(reading.measure for reading in readings)
    wanted = Counter[str]()
    for planned in artefact.plan:
        wanted[planned.measure] += planned.repeats
    return tuple(SheetRow(artefact.measure(id), done[id], of) for id, of in wanted.items())
