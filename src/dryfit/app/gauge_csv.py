"""A gauge study from a CSV file: every row is checked before the study is judged and recorded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from dryfit.app.csv_rows import CsvRow, CsvTable, attempt, read_lines, refuse_rows, scan_csv
from dryfit.app.gauge import GaugeReport, judge_study, study_payload
from dryfit.app.gauge_desk import (
    DEFAULT_PARTS,
    DEFAULT_TRIALS,
    MOST_PARTS,
    MOST_PEOPLE,
    MOST_TRIALS,
    check_decide,
    check_length,
    query_gross,
)
from dryfit.app.gauge_records import GaugeReading, Place
from dryfit.app.instruments import GAUGE_STUDY, find_instrument
from dryfit.app.reading_checks import read_value
from dryfit.base.errors import Fault
from dryfit.model.instrument import Instrument
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME, open_ledger

REQUIRED, OPTIONAL = ("part", "value_mm"), ("person", "trial")


def gauge_csv(
    path: Path, instrument: str, csv: Path, decide_mm: float | None = None, confirm: str | None = None
) -> GaugeReport:
    """Judge and record a study from a file.

    Columns: part, value_mm; if wanted person and trial. Every person reads every part equally often. confirm:
    lines whose doubtful values are meant. Raises RowsRefused with every fault by line.
    """
    document = read_document(path)
    find_instrument(document.project, (), instrument)
    check_decide(decide_mm)
    with open_ledger(document.path.parent / LEDGER_NAME) as ledger:
        found = find_instrument(document.project, ledger.records(GAUGE_STUDY), instrument)
        table = scan_csv(csv, REQUIRED, OPTIONAL)
        readings = _read_rows(table, found, confirm)
        people = tuple(dict.fromkeys(item.place.person for item in readings))
        parts = tuple(dict.fromkeys(item.place.part for item in readings))
        trials = max(item.place.trial for item in readings)
        _check_balance(table, readings, people, parts, trials)
        report = judge_study(document.project, found, readings, people, parts, trials, decide_mm)
        payload = study_payload(report, readings, None, table.sha256)
        return replace(report, record=ledger.append(GAUGE_STUDY, payload).id)


def _read_rows(table: CsvTable, instrument: Instrument, confirm: str | None) -> list[GaugeReading]:
    """The readings of a file; trials that are not stated are counted in the order of the rows."""
    confirmed = frozenset() if confirm is None else read_lines(confirm, "--confirm")
    faults = list(table.faults)
    readings: list[GaugeReading] = []
    lines: list[int] = []
    counted: dict[tuple[str, str], int] = {}
    for row in table.rows:
        found = _read_row(table, row, instrument, counted, faults)
        if found is not None:
            readings.append(found)
            lines.append(row.line)
    for line, item in zip(lines, readings, strict=True):
        fellows = [o.value_mm for o in readings if o is not item and o.place.part == item.place.part]
        reasons = query_gross(instrument, item.value_mm, fellows)
        if reasons and line not in confirmed:
            what = f"part {item.place.part} = {item.value_mm:g}: {reasons[0].what}"
            do = f"correct it; where it is what the instrument showed: --confirm {line}"
            faults.append(Fault(table.where(line), what, do))
    places = [item.place for item in readings]
    faults += [
        Fault(
            table.where(line),
            f"part {place.part}, trial {place.trial} stands there twice",
            "keep one of them",
        )
        for index, (line, place) in enumerate(zip(lines, places, strict=True))
        if place in places[:index]
    ]
    if faults:
        raise refuse_rows(table, faults)
    return readings


def _read_row(
    table: CsvTable,
    row: CsvRow,
    instrument: Instrument,
    counted: dict[tuple[str, str], int],
    faults: list[Fault],
) -> GaugeReading | None:
    where, cells = table.where(row.line), row.cells

    def read_length() -> float:
        value = read_value(cells["value_mm"], "value_mm")
        check_length(instrument, value)
        return value

    value = attempt(faults, where, read_length)
    key = (cells.get("person", ""), cells["part"])
    counted[key] = counted.get(key, 0) + 1
    text = cells.get("trial", str(counted[key]))
    if not text.isdecimal() or not 1 <= int(text[:6]) <= MOST_TRIALS:
        do = f"count the readings of a part: 1 to {MOST_TRIALS}, or leave the column out"
        faults.append(Fault(where, f'"{text}" is no number of a trial', do))
        return None
    return None if value is None else GaugeReading(0, Place(*key, int(text)), value)


def _check_balance(
    table: CsvTable,
    readings: Sequence[GaugeReading],
    people: Sequence[str],
    parts: Sequence[str],
    trials: int,
) -> None:
    """Every person has read every part equally often, or every gap is named."""
    held = {item.place for item in readings}
    do = "read it, or leave that part out for everybody"
    faults = [
        Fault(table.name, f"{person + ': ' if person else ''}part {part} lacks trial {trial}", do)
        for person in people
        for part in parts
        for trial in range(1, trials + 1)
        if Place(person, part, trial) not in held
    ]
    if len(parts) < 2 or trials < 2:
        do = f"{DEFAULT_PARTS} parts, each read {DEFAULT_TRIALS} times, are common practice"
        faults.append(Fault(table.name, "a study needs two parts and two readings of each", do))
    if len(people) > MOST_PEOPLE or len(parts) > MOST_PARTS:
        do = f"a study has up to {MOST_PARTS} parts and {MOST_PEOPLE} people"
        faults.append(Fault(table.name, f"{len(parts)} parts and {len(people)} people", do))
    if faults:
        raise refuse_rows(table, faults)
