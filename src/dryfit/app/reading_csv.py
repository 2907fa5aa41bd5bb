"""Readings from a CSV file: every row is checked before any is recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from dryfit.app.csv_rows import CsvRow, CsvTable, attempt, read_lines, refuse_rows, scan_csv
from dryfit.app.reading_checks import check_value, read_temperature, read_value
from dryfit.app.reading_desk import ReadingDesk, Taken
from dryfit.app.reading_records import Entry
from dryfit.base.errors import Fault, RowsRefused
from dryfit.model.artefact import Measure
from dryfit.model.reading import Reading

REQUIRED = ("measure", "value_mm")
OPTIONAL = ("instrument", "temp_c", "by")


@dataclass(frozen=True, slots=True)
class _Ready:
    """A row that can be recorded, and its line."""

    line: int
    entry: Entry


def record_csv(
    desk: ReadingDesk, path: Path, confirm: str | None = None, again: bool = False
) -> tuple[Taken, ...]:
    """Record the rows of a file, all or none.

    Columns: measure (number or id), value_mm; if wanted instrument (else that of the desk or the plan), temp_c
    and by (else those of the desk). confirm: lines whose doubtful values are meant, such as "4,7-9".
    again: also where the same file was read before.
    Raises RowsRefused with every fault, and every doubtful value that is not confirmed, by line.
    """
    table = scan_csv(path, REQUIRED, OPTIONAL)
    confirmed = frozenset() if confirm is None else read_lines(confirm, "--confirm")
    before = desk.files_read().get(table.sha256)
    if before is not None and not again:
        what = f"this file was read before: records {before[0]} to {before[-1]}"
        do = "nothing is to be done; or, where the same values were read once more: --again"
        raise RowsRefused(table.name, [Fault(table.name, what, do)])
    faults = list(table.faults)
    ready = [item for row in table.rows if (item := _read_row(desk, table, row, faults)) is not None]
    stray = confirmed - {row.line for row in table.rows}
    faults += [
        Fault("--confirm", f"there is no reading in line {line}", "name lines that hold one")
        for line in sorted(stray)
    ]
    doubtful = _query_rows(desk, ready)
    for item in ready:
        if item.line in doubtful and item.line not in confirmed:
            number = desk.artefact.measure(item.entry.measure).number
            what = f"measure {number} = {item.entry.value_mm:g}: {doubtful[item.line]}"
            do = f"correct it, or read it again; where it is what the instrument shows: --confirm {item.line}"
            faults.append(Fault(table.where(item.line), what, do))
    if faults:
        raise refuse_rows(table, faults)
    entries = [replace(item.entry, is_confirmed=item.line in doubtful) for item in ready]
    return desk.record_entries(entries)


def _read_row(desk: ReadingDesk, table: CsvTable, row: CsvRow, faults: list[Fault]) -> _Ready | None:
    """The entry of a row; its faults are added, as many as it has."""
    where, cells = table.where(row.line), row.cells
    count = len(faults)
    temp_c = desk.temp_c
    if "temp_c" in cells:
        temp_c = attempt(faults, where, lambda: read_temperature(cells["temp_c"], "temp_c"))
    measure = attempt(faults, where, lambda: desk.find_measure(cells["measure"]))
    value = attempt(faults, where, lambda: _read_length(cells["value_mm"], measure))
    instrument = None
    if measure is not None:
        instrument = attempt(
            faults, where, lambda: desk.step_for(measure, cells.get("instrument")).instrument
        )
    if measure is None or value is None or instrument is None or len(faults) > count:
        return None
    entry = Entry(
        machine=desk.machine,
        artefact=desk.record,
        measure=measure.id,
        value_mm=value,
        instrument=instrument.id,
        temp_c=temp_c,
        by=cells.get("by", desk.by),
        csv_sha256=table.sha256,
        part="" if desk.body is None else desk.target,
        ends=desk.ends_of(measure),
    )
    return _Ready(row.line, entry)


def _read_length(text: str, measure: Measure | None) -> float:
    value = read_value(text, "value_mm")
    if measure is not None:
        check_value(measure, value, text)
    return value


def _query_rows(desk: ReadingDesk, ready: list[_Ready]) -> dict[int, str]:
    """Lines of doubtful values with the reasons: against the ledger and all the other rows."""
    recorded = desk.readings()
    # Numbers below zero, so that a row is never taken for a record of the ledger.
    rows = [_as_reading(item, -place - 1) for place, item in enumerate(ready)]
    doubtful = {}
    for item, own in zip(ready, rows, strict=True):
        others = [*recorded, *(row for row in rows if row.record != own.record)]
        instrument = desk.find_instrument(own.instrument)
        reasons = desk.query_against(own.measure, own.value_mm, others, instrument)
        if reasons:
            doubtful[item.line] = "; ".join(reason.what for reason in reasons)
    return doubtful


def _as_reading(item: _Ready, number: int) -> Reading:
    entry = item.entry
    if entry.value_mm is None:
        raise ValueError("a row holds a value")
    return Reading(number, "", entry.machine, entry.artefact, entry.measure, entry.value_mm, entry.instrument)
