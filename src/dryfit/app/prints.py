"""What came off the bed: enter a print in the ledger, correct it, take it back, list all."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC
from pathlib import Path

from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.moments import parse_moment
from dryfit.app.print_records import PRINT, print_from, print_payload, prints_of
from dryfit.app.shape_hash import hash_shape
from dryfit.base.errors import DryfitError, ReferenceUnknown
from dryfit.model.part import Bed, Compensation, Part
from dryfit.model.printing import PRINT_RESULTS, Print, PrintResult
from dryfit.model.project import Project
from dryfit.store.ledger import LEDGER_NAME, open_ledger, write_time
from dryfit.store.words import suggest

Progress = Callable[[int, int], None]

MOST_HOURS = 2_000.0  # a quarter of a year on one part: more is a slip
MOST_GRAMS = 50_000.0


class PrintRefused(DryfitError):
    """An entry that cannot be a print."""


@dataclass(frozen=True, slots=True)
class Answers:
    """What is entered of a print. None: not stated; of a new print the document's, of a correction as it was.

    bed       euler angles as in the document [deg]
    started, ended  a date or a time, UTC or with its offset, ISO 8601
    is_uncorrected  the mesh itself was printed, although the document names a corrected copy
    """

    result: str | None = None
    machine: str | None = None
    material: str | None = None
    bed: tuple[float, float, float] | None = None
    release: str | None = None
    spool: str | None = None
    started: str | None = None
    ended: str | None = None
    failed_at_mm: float | None = None
    because: str | None = None
    hours: float | None = None
    grams: float | None = None
    note: str | None = None
    is_uncorrected: bool = False
    by: str = ""


@dataclass(frozen=True, slots=True)
class PrintsReport:
    """Prints that count, with what the document has now.

    entered    the one that was entered or corrected now; None where none was
    withdrawn  the one that was taken back now; None where none was
    other_shape  records of prints whose mesh is not the document's present one
    not_printed  ids of parts without a good print of their present shape
    parts      how many the document has
    """

    project: str
    prints: tuple[Print, ...]
    entered: Print | None
    withdrawn: Print | None
    other_shape: frozenset[int]
    not_printed: tuple[str, ...]
    parts: int


def enter_print(path: Path, part: str, answers: Answers, progress: Progress | None = None) -> PrintsReport:
    """Enter a print of a part. Raises PrintRefused or ReferenceUnknown for what cannot be one."""
    opened = open_project(path, progress)
    wanted = _find_part(opened.project, part)
    blank = Print(
        record=0,
        at="",
        part=wanted.id,
        machine=wanted.machine,
        material=wanted.material,
        bed=wanted.bed,
        result="good",
        shape_sha256=hash_shape(opened.shapes[wanted.id]),
        mesh_sha256=opened.shapes[wanted.id].mesh.sha256,
    )
    if answers.result is None:
        do = f"say it: --result {', '.join(PRINT_RESULTS)}"
        raise PrintRefused("what became of the print is not stated", f"print of {part}", do)
    item = _answered(opened.project, wanted, blank, answers)
    item = replace(item, compensation=_copy_printed(wanted, item, answers))
    return _append(opened, item)


def correct_print(
    path: Path, record: int, answers: Answers, progress: Progress | None = None
) -> PrintsReport:
    """Replace a print by a corrected one; what is not stated stays as it was. Its readings stay with it.

    Which mesh was printed is not changed by a correction: enter another print for it.
    """
    opened = open_project(path, progress)
    old = _find_print(opened, record)
    wanted = _find_part(opened.project, old.part)
    item = _answered(opened.project, wanted, old, answers)
    if answers.is_uncorrected:
        item = replace(item, compensation=None)
    return _append(opened, replace(item, record=0, at="", corrects=_latest_record(opened, old)))


def withdraw_print(path: Path, record: int, by: str = "", progress: Progress | None = None) -> PrintsReport:
    """Take a print back by a correcting record: it never counts again, nor do its readings."""
    opened = open_project(path, progress)
    old = _find_print(opened, record)
    item = replace(old, record=0, at="", corrects=_latest_record(opened, old), is_withdrawn=True, by=by)
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        ledger.append(PRINT, print_payload(item))
    return _report(opened, None, old)


def list_prints(path: Path, progress: Progress | None = None) -> PrintsReport:
    """All prints that count."""
    return _report(open_project(path, progress), None, None)


def _append(opened: Opened, item: Print) -> PrintsReport:
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        record = ledger.append(PRINT, print_payload(item))
    made = print_from(record)
    prints = prints_of(read_records(opened.folder, PRINT))
    entered = made if made.corrects is None else _counting(prints, made)
    return _report(opened, entered, None)


def _counting(prints: tuple[Print, ...], made: Print) -> Print:
    """A correction under the number of the print that it corrects."""
    return next((item for item in prints if replace(item, record=made.record) == made), made)


def _report(opened: Opened, entered: Print | None, withdrawn: Print | None) -> PrintsReport:
    prints = prints_of(read_records(opened.folder, PRINT))
    present = {part.id: hash_shape(opened.shapes[part.id]) for part in opened.project.parts}
    other = frozenset(item.record for item in prints if present.get(item.part) != item.shape_sha256)
    good = {item.part for item in prints if item.result == "good" and item.record not in other}
    return PrintsReport(
        project=opened.project.name,
        prints=prints,
        entered=entered,
        withdrawn=withdrawn,
        other_shape=other,
        not_printed=tuple(part.id for part in opened.project.parts if part.id not in good),
        parts=len(opened.project.parts),
    )


def _answered(project: Project, part: Part, item: Print, answers: Answers) -> Print:
    """The print with what was answered put in. Raises PrintRefused with what cannot be."""
    where = f"print of {part.id}"
    if answers.machine is not None and answers.machine not in {machine.id for machine in project.machines}:
        do = suggest(answers.machine, [machine.id for machine in project.machines], "machines")
        raise ReferenceUnknown(f'there is no machine "{answers.machine}"', where, do)
    if answers.material is not None and answers.material not in {row.id for row in project.materials}:
        do = suggest(answers.material, [row.id for row in project.materials], "materials")
        raise ReferenceUnknown(f'there is no material "{answers.material}"', where, do)
    result: PrintResult = item.result if answers.result is None else _result(answers.result, where)
    given = {
        name: value
        for name in ("machine", "material", "release", "spool", "because", "note")
        if (value := getattr(answers, name)) is not None
    }
    given |= {name: value for name in ("hours", "grams") if (value := getattr(answers, name)) is not None}
    given |= {
        name: read_moment(value, f"--{word}")
        for name, word in (("started", "from"), ("ended", "to"))
        if (value := getattr(answers, name)) is not None
    }
    if answers.bed is not None:
        given["bed"] = Bed(answers.bed)
    if answers.failed_at_mm is not None:
        given["failed_at_mm"] = answers.failed_at_mm
    made = replace(item, **given, result=result, by=answers.by)
    if made.result == "good":
        if answers.failed_at_mm is not None:
            do = "leave out --failed-at, or state --result failed"
            raise PrintRefused("a good print has no height at which it failed", where, do)
        made = replace(made, failed_at_mm=None)
    _check(made, project, where)
    return made


def _result(text: str, where: str) -> PrintResult:
    for known in PRINT_RESULTS:
        if text.strip().lower() == known:
            return known
    raise PrintRefused(f'"{text}" is no result of a print', where, f"one of: {', '.join(PRINT_RESULTS)}")


def _check(item: Print, project: Project, where: str) -> None:
    for name, value, most in (("hours", item.hours, MOST_HOURS), ("grams", item.grams, MOST_GRAMS)):
        if value is not None and not (math.isfinite(value) and 0 <= value <= most):
            raise PrintRefused(f"{value:g} {name}", where, f"state {name} from 0 to {most:g}")
    height = item.failed_at_mm
    volumes = {machine.id: machine.build_volume_mm for machine in project.machines}
    tallest = volumes[item.machine][2] if item.machine in volumes else math.inf
    if height is not None and not (math.isfinite(height) and 0 <= height <= tallest):
        do = f"state the height over the bed in mm, 0 to {tallest:g}"
        raise PrintRefused(f"failed at {height:g} mm, which is not on machine {item.machine}", where, do)
    if not all(math.isfinite(angle) for angle in item.bed.euler_xyz_deg):
        raise PrintRefused("the pose holds no finite angles", where, "three angles: --bed 0,0,90")
    if item.result == "failed" and not item.because.strip():
        raise PrintRefused("why it failed is not said", where, 'say why: --because "came off the bed"')
    if item.started and item.ended and item.ended < item.started:
        raise PrintRefused("it ended before it began", where, "exchange --from and --to, or mend one of them")


def read_moment(text: str, where: str) -> str:
    """UTC, ISO 8601, of a date (its noon) or a time; without an offset it is taken as UTC."""
    try:
        moment = parse_moment(text)
    except ValueError as error:
        do = "write it as 2026-11-18, 2026-11-18T14:30 (UTC) or 2026-11-18T14:30+01:00"
        raise PrintRefused(f'"{text}" is no date or time', where, do) from error
    return write_time(moment if moment.tzinfo else moment.replace(tzinfo=UTC))


def _copy_printed(part: Part, item: Print, answers: Answers) -> Compensation | None:
    """The corrected copy that was printed: the document's, where it was made for this machine and pose."""
    made = part.compensation
    if made is None or answers.is_uncorrected:
        return None
    if made.machine != item.machine or made.bed != item.bed:
        raise PrintRefused(
            f"the corrected copy of {part.id} was made for machine {made.machine} in the pose "
            f"{', '.join(f'{angle:g}' for angle in made.bed.euler_xyz_deg)}",
            f"print of {part.id}",
            "state --uncorrected where the mesh itself was printed; else state the machine and pose of the copy",
        )
    return made


def _find_part(project: Project, id: str) -> Part:
    known = {part.id: part for part in project.parts}
    if id not in known:
        do = suggest(id, list(known), "parts")
        raise ReferenceUnknown(f'there is no part "{id}"', "project.toml: part", do)
    return known[id]


def _find_print(opened: Opened, record: int) -> Print:
    prints = prints_of(read_records(opened.folder, PRINT))
    for item in prints:
        if item.record == record:
            return item
    listed = ", ".join(str(item.record) for item in prints[-10:])
    do = (
        f"prints that count: records {listed}"
        if listed
        else "none is entered: dryfit printed PART --result good"
    )
    raise ReferenceUnknown(f"record {record} is no print that counts", LEDGER_NAME, do)


def _latest_record(opened: Opened, old: Print) -> int:
    """The record that is corrected: the last of the print's chain of corrections."""
    number = old.record
    for record in read_records(opened.folder, PRINT):
        if record.payload.get("corrects") == number:
            number = record.id
    return number


def read_angles(text: str) -> tuple[float, float, float]:
    """Three angles in degrees, "0,0,90". Raises PrintRefused for anything else."""
    try:
        x, y, z = (float(word) for word in text.split(","))
    except ValueError as error:
        raise PrintRefused(
            f'"{text}" is no pose', "--bed", "write three angles in degrees: 0,0,90"
        ) from error
    return x, y, z
