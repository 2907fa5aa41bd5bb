"""The routine before a long print: taken, recorded, and what it says."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

from dryfit.app.forecast import Chain
from dryfit.app.geometry import Shapes
from dryfit.app.hold_lines import Check, State
from dryfit.app.instruments import find_instrument, instruments_for
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.machines import find_machine
from dryfit.app.prediction import chain_of
from dryfit.app.preflight_band import Bands
from dryfit.app.preflight_input import Entry, read_hours
from dryfit.app.preflight_judge import judge_machine, judge_overdue
from dryfit.app.preflight_records import (
    PREFLIGHT,
    Preflight,
    PreflightRefused,
    preflight_payload,
    preflights_of,
)
from dryfit.app.preflight_watch import Watching
from dryfit.app.weighing import weigh
from dryfit.base.errors import ReferenceUnknown
from dryfit.model.finding import gravest
from dryfit.model.instrument import Instrument
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger, read_clock, write_time
from dryfit.store.words import suggest

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class PreflightReport:
    """What is known of a machine's state.

    recorded  numbers of the records that this run made
    checks    lines of the last check; () where there was none
    overdue   where the next check is due by now
    qualified_at  of the last qualification; None without one
    state     the gravest of all lines; "not checked" where there was no check
    """

    project: str
    machine: str
    recorded: tuple[int, ...]
    checks: tuple[Check, ...]
    overdue: Check | None
    watching: Watching
    bands: Bands
    qualified_at: str | None

    @property
    def lines(self) -> tuple[Check, ...]:
        return self.checks if self.overdue is None else (self.overdue, *self.checks)

    @property
    def state(self) -> State:
        return gravest((line.state for line in self.lines), of_none="not checked")


def take_preflight(
    path: Path,
    machine: str,
    entries: Sequence[Entry],
    corrects: int | None = None,
    again: bool = False,
    progress: Progress | None = None,
) -> PreflightReport:
    """Record checks of a machine, all or none, and say what they mean together with those before.

    corrects : record that the one entry replaces   again : also entries of a file that was read before
    Raises ReferenceUnknown, PreflightRefused, and what opening the project raises; nothing is recorded then.
    """
    opened = open_project(path, progress)
    find_machine(opened.project, machine)
    chain = chain_of(opened)  # what refuses it refuses here, before anything is recorded
    if corrects is not None and len(entries) != 1:
        raise PreflightRefused("one record is corrected by one check", "--correct", "give one check")
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        records = ledger.records()
        _refuse_again(records, entries, again)
        made = [_check_of(opened, records, machine, entry, corrects) for entry in entries]
        _check_order(records, machine, made)
        payloads = [
            {**preflight_payload(check), "file_sha256": entry.file_sha256}
            for check, entry in zip(made, entries, strict=True)
        ]
        written = ledger.append_all(PREFLIGHT, payloads)
        records = ledger.records()
    return _report(chain, machine, records, tuple(record.id for record in written))


def withdraw_preflight(
    path: Path, machine: str, record: int, by: str = "", progress: Progress | None = None
) -> PreflightReport:
    """Take a check back by a further record; the record itself stays."""
    opened = open_project(path, progress)
    find_machine(opened.project, machine)
    chain = chain_of(opened)
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        old = find_check(ledger.records(), machine, record)
        taken = replace(
            old, at=write_time(read_clock()), by=by, corrects=record, is_withdrawn=True, squares=(), items=()
        )
        written = ledger.append(PREFLIGHT, {**preflight_payload(taken), "file_sha256": None})
        records = ledger.records()
    return _report(chain, machine, records, (written.id,))


def look_preflight(path: Path, machine: str, progress: Progress | None = None) -> PreflightReport:
    """What the recorded checks say, without recording anything."""
    opened = open_project(path, progress)
    find_machine(opened.project, machine)
    return _report(chain_of(opened), machine, read_records(opened.folder), ())


def check_machine(path: Path, machine: str) -> None:
    """Raises ReferenceUnknown where the project has no such machine, before anything is asked."""
    find_machine(read_document(path).project, machine)


def check_known(path: Path, machine: str, field: str, text: str) -> None:
    """Raises where an answer does not go with what the project and its ledger hold: at once, not after the last one."""
    if field not in ("hours", "part"):
        return
    document = read_document(path)
    if field == "hours":
        check = Preflight(0, write_time(read_clock()), machine, read_hours(text))
        _check_order(read_records(document.path.parent), machine, [check])
    else:
        own_parts(document.project, machine, text.strip())


def find_check(records: Sequence[LedgerRecord], machine: str, record: int) -> Preflight:
    """A check that counts. Raises ReferenceUnknown otherwise."""
    counted = {check.record: check for check in preflights_of(records, machine)}
    if record not in counted:
        listed = ", ".join(str(number) for number in list(counted)[-8:]) or "none yet"
        raise ReferenceUnknown(
            f'record {record} is no check of "{machine}" that counts', LEDGER_NAME, f"those that do: {listed}"
        )
    return counted[record]


def _report(
    chain: Chain, machine: str, records: Sequence[LedgerRecord], recorded: tuple[int, ...]
) -> PreflightReport:
    watching, bands, lines, qualified_at = judge_machine(chain, records, machine)
    return PreflightReport(
        chain.project.name,
        machine,
        recorded,
        lines,
        judge_overdue(watching, read_clock()),
        watching,
        bands,
        qualified_at,
    )


def _check_of(
    opened: Opened, records: Sequence[LedgerRecord], machine: str, entry: Entry, corrects: int | None
) -> Preflight:
    """The check of an entry, with the square and the part that it leaves out, and its time."""
    now = read_clock()
    old = None if corrects is None else find_check(records, machine, corrects)
    at = entry.at or (old.at if old is not None else write_time(now))
    if datetime.fromisoformat(at) > now + timedelta(days=1):
        raise PreflightRefused(f"{at[:10]} is yet to come", "at", "write the day on which it was done")
    square = None if not entry.squares else choose_square(opened.project, records, entry)
    part, needed = None, None
    if entry.part is not None or entry.filament_g is not None:
        part, needed = part_mass(opened.project, opened.shapes, machine, entry.part)
    return Preflight(
        record=0,
        at=at,
        machine=machine,
        hours=entry.hours,
        by=entry.by,
        against=entry.against,
        instrument="" if square is None else square.id,
        squares=entry.squares,
        items=entry.items,
        filament_g=entry.filament_g,
        part=part,
        needed_g=needed,
        adjusted=entry.adjusted,
        corrects=corrects,
    )


def choose_square(project: Project, records: Sequence[LedgerRecord], entry: Entry) -> Instrument:
    """The square that was named; else the shortest one of the project that reaches the height."""
    height = entry.height_mm or 0.0
    if entry.square is not None:
        named = find_instrument(project, records, entry.square)
        if not named.can_read("square", height):
            raise PreflightRefused(
                f"{named.id} does not read a gap at {height:g} mm",
                "square",
                f"its blade is {named.range_mm:g} mm long; name a longer square, or take the gap lower",
            )
        return named
    able = [
        item
        for item in instruments_for(project, records)
        if item.kind == "square" and item.can_read("square", height)
    ]
    if not able:
        raise PreflightRefused(
            f"no square of the project reaches {height:g} mm",
            "height_mm",
            "take the gap lower, or add the square to the document as [[instrument]]",
        )
    return min(able, key=lambda item: item.range_mm)


def part_mass(
    project: Project, shapes: Shapes, machine: str, named: str | None
) -> tuple[str | None, float | None]:
    """The part that is printed next and what it takes [g]: the one named, else the largest of the machine."""
    chosen = own_parts(project, machine, named)
    if not chosen:
        return None, None
    largest = max(chosen, key=lambda part: shapes[part.id].measures.volume_mm3)
    (row,) = weigh(replace(project, parts=(largest,)), shapes).parts
    return largest.id, None if row.mass_g is None else row.mass_g.value


def own_parts(project: Project, machine: str, named: str | None) -> list[Part]:
    """The parts that a machine prints, or the one that is named. Raises ReferenceUnknown where it prints none such."""
    own = [part for part in project.parts if part.machine == machine]
    if named is None:
        return own
    found = [part for part in own if part.id == named]
    if not found:
        do = suggest(named, [part.id for part in own], "parts")
        raise ReferenceUnknown(f'machine "{machine}" prints no part "{named}"', "part", do)
    return found


def _refuse_again(records: Sequence[LedgerRecord], entries: Sequence[Entry], again: bool) -> None:
    hashes = {entry.file_sha256 for entry in entries if entry.file_sha256 is not None}
    before = [
        record.id
        for record in records
        if record.kind == PREFLIGHT and record.payload.get("file_sha256") in hashes
    ]
    if before and not again:
        raise PreflightRefused(
            f"this file was read before: records {before[0]} to {before[-1]}",
            "the file",
            "nothing is to be done; or, where the same answers were given once more: --again",
        )


def _check_order(records: Sequence[LedgerRecord], machine: str, made: Sequence[Preflight]) -> None:
    """An hour meter runs forward, and no faster than time."""
    replaced = {check.corrects for check in made}
    known = [check for check in preflights_of(records, machine) if check.record not in replaced]
    ordered = sorted([*known, *made], key=lambda check: (check.moment, check.hours))
    for before, after in pairwise(ordered):
        gained = after.hours - before.hours
        room = (after.moment - before.moment) / timedelta(hours=1) + 24.0
        if 0.0 <= gained <= room:
            continue
        names = " and ".join(
            f"{check.hours:g} h on {check.at[:10]}" + (f" (record {check.record})" if check.record else "")
            for check in (before, after)
        )
        what = "the hour meter ran back" if gained < 0.0 else "the hour meter ran faster than time"
        raise PreflightRefused(
            f"{what}: {names}", "hours", "correct the hours, or the earlier record: --correct RECORD"
        )
