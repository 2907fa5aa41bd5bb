"""Remedies of a project folder: list them, take one, enter that it was done, withdraw."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dryfit.app.applying import Edit, apply_edit, propose_edit
from dryfit.app.bond_records import HANDWORK, WITHDRAWS, read_built, work_payload
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.prediction import chain_of
from dryfit.app.print_records import prints_of
from dryfit.app.remedies import find_remedies
from dryfit.app.remedy_costs import WORKS, Work
from dryfit.app.remedy_report import Remedy, RemedyOptions, RemedyRefused, RemedyReport, Step
from dryfit.base.errors import DryfitError, LedgerRefused
from dryfit.model.handwork import FaceWork
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger

Progress = Callable[[int, int], None]
REMEDY = "remedy"
MOST_AMOUNT_MM = 20.0


@dataclass(frozen=True, slots=True)
class Taken:
    """A remedy that was decided on.

    record, at  in the ledger   print  of the part that is off
    steps       what is to be done   handwork  record of what was done for it; 0 while nothing was entered
    """

    record: int
    at: str
    part: str
    print: int
    kind: str
    steps: tuple[Step, ...]
    because: str
    by: str
    handwork: int

    @property
    def is_done(self) -> bool:
        """Whether handwork for it was entered."""
        return self.handwork > 0


@dataclass(frozen=True, slots=True)
class Decided:
    """What came of taking a remedy, or of entering that it was done.

    edit     change of the document that belongs to it; None where there is none
    reason   why the document cannot be changed from here; ""
    written  whether the edit was written
    record   of the handwork that was entered; None where none was
    next     what to do
    """

    taken: Taken
    edit: Edit | None
    reason: str
    written: bool
    record: int | None
    next: tuple[str, ...]


def list_remedies(
    path: Path, part: str, options: RemedyOptions | None = None, progress: Progress | None = None
) -> RemedyReport:
    """What can be done about a printed part."""
    opened = open_project(path, progress)
    return _report(opened, part, options)


def take_remedy(
    path: Path,
    part: str,
    number: int,
    because: str,
    by: str = "",
    options: RemedyOptions | None = None,
    progress: Progress | None = None,
) -> Decided:
    """Decide on the remedy of a number in the list, counted from 1, with the reason; kept in the ledger.

    Raises RemedyRefused for a number that is not in the list, or without a reason.
    """
    if not because.strip():
        raise RemedyRefused(
            "a decision needs its reason", "--take", 'say why: --because "the seam is hidden there"'
        )
    opened = open_project(path, progress)
    report = _report(opened, part, options)
    if not 1 <= number <= len(report.remedies):
        do = f"one of 1 to {len(report.remedies)}: dryfit remedy {part} lists them"
        raise RemedyRefused(f"there is no remedy {number}", "--take", do)
    chosen = report.remedies[number - 1]
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        record = ledger.append(REMEDY, _payload(report, chosen, because.strip(), by))
    taken = _taken(record, {})
    edit, reason = _edit(opened.folder, taken)
    return Decided(taken, edit, reason, False, None, _next(taken, edit))


def do_remedy(
    path: Path,
    part: str,
    record: int,
    amounts_mm: Sequence[float] = (),
    std_mm: float | None = None,
    write: bool = False,
    by: str = "",
) -> Decided:
    """Enter that a remedy was done: handwork in the ledger, or the document changed.

    amounts_mm : what was really taken off (negative: added) evenly at each worked face, in the order of its steps; ():
        as it was decided   std_mm : how uncertain that is; None: as it was decided
    write : change the document; without it the difference is only shown
    Raises RemedyRefused where the record is no remedy of the part, or is done by entering something else.
    """
    opened = open_project(path)
    taken = find_taken(opened.folder, part, record)
    works = [step for step in taken.steps if step.kind in ("sand", "shim")]
    others = [step for step in taken.steps if step.kind in ("reprint", "reprint corrected", "change another")]
    edit, reason = _edit(opened.folder, taken)
    if others and not works and edit is None:
        raise RemedyRefused(
            f"{others[0].words}: this is not entered here", f"remedy {record}", _how(others[0])
        )
    if works and taken.is_done:
        do = "withdraw the handwork first (--withdraw RECORD), or take another remedy"
        raise RemedyRefused("its handwork is entered already", f"remedy {record}", do)
    number = None
    if works:
        done = _works(opened, works, amounts_mm, std_mm)
        with open_ledger(opened.folder / LEDGER_NAME) as ledger:
            number = ledger.append(HANDWORK, work_payload(done, by, remedy=record)).id
    elif amounts_mm:
        raise RemedyRefused("nothing is sanded or shimmed by it", f"remedy {record}", "leave out --amount")
    if write and edit is not None:
        apply_edit(opened.folder, edit)
    after = replace(taken, handwork=number or taken.handwork)
    return Decided(
        after, edit, reason, write and edit is not None, number, _next(after, None if write else edit)
    )


def withdraw_remedy(path: Path, record: int, by: str = "") -> int:
    """Take a decision, or handwork, back by a further record; it no longer counts. Returns the new record.

    Raises RemedyRefused where the record is neither, or was taken back already.
    """
    opened = open_project(path)
    records = read_records(opened.folder)
    found = next((item for item in records if item.id == record), None)
    if found is None or found.kind not in (REMEDY, HANDWORK) or found.payload.get(WITHDRAWS) is not None:
        do = "dryfit remedy PART --decided lists those that hold"
        raise RemedyRefused(f"record {record} is no remedy and no handwork", LEDGER_NAME, do)
    if any(item.kind == found.kind and item.payload.get(WITHDRAWS) == record for item in records):
        raise RemedyRefused(f"record {record} was taken back already", LEDGER_NAME, "nothing is to be done")
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        return ledger.append(found.kind, {WITHDRAWS: record, "by": by}).id


def taken_remedies(records: Sequence[LedgerRecord], part: str | None = None) -> tuple[Taken, ...]:
    """Decisions that hold, of a part or of all, oldest first."""
    own = [item for item in sorted(records, key=lambda item: item.id) if item.kind == REMEDY]
    gone = {item.payload[WITHDRAWS] for item in own if item.payload.get(WITHDRAWS) is not None}
    hands = [item for item in records if item.kind == HANDWORK]
    undone = {item.payload[WITHDRAWS] for item in hands if item.payload.get(WITHDRAWS) is not None}
    done = {
        item.payload["remedy"]: item.id
        for item in hands
        if item.id not in undone and "remedy" in item.payload
    }
    held = [item for item in own if item.id not in gone and item.payload.get(WITHDRAWS) is None]
    return tuple(_taken(item, done) for item in held if part in (None, item.payload["part"]))


def list_taken(path: Path, part: str) -> tuple[Taken, ...]:
    """Decisions about a part that hold."""
    return taken_remedies(read_records(open_project(path).folder), part)


def find_taken(folder: Path, part: str, record: int) -> Taken:
    """A decision about a part. Raises RemedyRefused where there is none of that number."""
    held = taken_remedies(read_records(folder), part)
    found = next((item for item in held if item.record == record), None)
    if found is None:
        listed = ", ".join(str(item.record) for item in held)
        do = (
            f"those that hold: records {listed}"
            if listed
            else f"take one first: dryfit remedy {part} --take N"
        )
        raise RemedyRefused(f'record {record} is no remedy that was taken for "{part}"', LEDGER_NAME, do)
    return found


def read_work_minutes(words: Sequence[str]) -> dict[Work, float]:
    """Minutes by kind of work of words like "sand=30". Raises RemedyRefused for others."""
    found: dict[Work, float] = {}
    for word in words:
        name, mark, text = word.partition("=")
        known = next((work for work in WORKS if work == name.strip().lower()), None)
        try:
            value = float(text) if mark else None
        except ValueError:
            value = None
        if known is None or value is None:
            do = f"write sand=30; the kinds of work are {', '.join(WORKS)}"
            raise RemedyRefused(f'"{word}" states no minutes of a kind of work', "--minutes", do)
        found[known] = value
    return found


def _report(opened: Opened, part: str, options: RemedyOptions | None) -> RemedyReport:
    records = read_records(opened.folder)
    return find_remedies(chain_of(opened), part, prints_of(records), read_built(records), options)


def _payload(report: RemedyReport, chosen: Remedy, because: str, by: str) -> dict[str, Any]:
    steps = [
        {
            "kind": step.kind,
            "words": step.words,
            "joint": step.joint,
            "part": step.part,
            "amounts_mm": list(step.amounts_mm),
            "points_mm": [list(point) for point in step.points_mm],
            "std_mm": step.std_mm,
            "change": step.change,
        }
        for step in chosen.steps
    ]
    return {
        "part": report.part,
        "print": report.print,
        "remedy": chosen.kind,
        "steps": steps,
        "outcomes": [{"id": row.id, "before": row.before, "after": row.after} for row in chosen.outcomes],
        "meets": chosen.meets,
        "because": because,
        "by": by,
    }


def _taken(record: LedgerRecord, done: Mapping[int, int]) -> Taken:
    plain = record.payload
    try:
        return Taken(
            record.id,
            record.recorded_at,
            plain["part"],
            plain["print"],
            plain["remedy"],
            tuple(_step(row) for row in plain["steps"]),
            plain["because"],
            plain["by"],
            done.get(record.id, 0),
        )
    except (KeyError, TypeError, ValueError) as error:
        what = f"the record of a remedy cannot be read: {error}"
        do = "update dryfit, or restore the ledger from a backup"
        raise LedgerRefused(what, f"ledger record {record.id}", do) from error


def _step(row: Mapping[str, Any]) -> Step:
    points = tuple((float(x), float(y), float(z)) for x, y, z in row["points_mm"])
    return Step(
        row["kind"],
        row["words"],
        row["joint"],
        row["part"],
        tuple(float(value) for value in row["amounts_mm"]),
        points,
        float(row["std_mm"]),
        row["change"],
    )


def _edit(folder: Path, taken: Taken) -> tuple[Edit | None, str]:
    """The change of the document that belongs to a remedy, or why it cannot be made from here."""
    changes = [step.change for step in taken.steps if step.change]
    if not changes:
        return None, ""
    try:
        return propose_edit(folder, changes), ""
    except DryfitError as error:
        return None, f"{error.what}: {error.do}"


def _works(
    opened: Opened, steps: Sequence[Step], amounts_mm: Sequence[float], std_mm: float | None
) -> tuple[FaceWork, ...]:
    if amounts_mm and len(amounts_mm) != len(steps):
        do = f"give {len(steps)}, one for each worked face"
        raise RemedyRefused(f"{len(amounts_mm)} amounts for {len(steps)} faces", "--amount", do)
    for value in (*amounts_mm, *([] if std_mm is None else [std_mm])):
        if not abs(value) <= MOST_AMOUNT_MM:
            raise RemedyRefused(f"{value:g} mm", "--amount", f"state at most {MOST_AMOUNT_MM:g} mm")
    if std_mm is not None and std_mm < 0:
        raise RemedyRefused("a standard uncertainty cannot be negative", "--std", "state 0 mm or more")
    printed = {
        item.part: item.record for item in prints_of(read_records(opened.folder)) if item.result == "good"
    }
    found = []
    for place, step in enumerate(steps):
        if step.part not in printed:
            raise RemedyRefused(
                f'"{step.part}" is not printed', "ledger.db", f"dryfit printed {step.part} first"
            )
        amounts = (float(amounts_mm[place]),) * len(step.points_mm) if amounts_mm else step.amounts_mm
        std = step.std_mm if std_mm is None else std_mm
        found.append(FaceWork(0, step.joint, step.part, printed[step.part], step.points_mm, amounts, std))
    return tuple(found)


def _how(step: Step) -> str:
    if step.kind == "reprint corrected":
        return f"make the copy (dryfit compensate), print it, and enter it: dryfit printed {step.part} --result good"
    if step.kind == "reprint":
        return f"print it, and enter it: dryfit printed {step.part} --result good"
    return f"move the face in the model of {step.part} and import it again: dryfit import FILE --again"


def _next(taken: Taken, edit: Edit | None) -> tuple[str, ...]:
    words = []
    if any(step.kind in ("sand", "shim") for step in taken.steps) and not taken.is_done:
        words.append(f"when it is done: dryfit remedy {taken.part} --done {taken.record}")
    if edit is not None:
        words.append(f"to change the document: dryfit remedy {taken.part} --done {taken.record} --write")
    words += [_how(step) for step in taken.steps if step.kind.startswith(("reprint", "change"))]
    if taken.is_done:
        words.append(f"read {taken.part} again if you can (dryfit read {taken.part}); then: dryfit forecast")
    return tuple(words)
