"""Taking readings, in words and rows: prompts, queries, what was recorded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryfit.app.reading import OwnShapeReport, ReadReport
from dryfit.app.reading_desk import Step, Taken
from dryfit.app.reading_queries import Reason
from dryfit.base.errors import DryfitError
from dryfit.model.reading import Reading
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_number

HELP = (
    "A number is a reading, in mm. Else: undo (take the last one back), skip, go 7 (to measure 7), "
    "temp 21.5 (from now on), leave (the rest keeps until next time)."
)
CONFIRM = "yes if the instrument shows it, or the right value: "
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")
_NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def opening_lines(place: str, read: int, planned: int, temp_c: float | None) -> list[str]:
    """What is said before the first reading. place: what lies on the bench, in words."""
    lines = [
        f"{place[:1].upper()}{place[1:]}: {read} of {planned} readings are taken. Each is kept at once.",
        HELP,
    ]
    if temp_c is None:
        lines.append("No temperature is stated: readings are not corrected to 20 C. temp 21.5 states one.")
    return lines


def step_lines(step: Step) -> list[str]:
    """Where to measure, with what, and the last repeats."""
    measure = step.measure
    where = f": {measure.words}" if measure.words else ""
    kind = "gap of the square" if measure.kind == "square" else measure.kind
    lines = [
        f"[{step.read + 1 if step.read < step.planned else step.read} of {step.planned}] "
        f"measure {measure.number}, {kind}{where}",
        f"  with {step.instrument.id}, nominal {nominal(step)}",
    ]
    return [*lines, *last_lines(step)]


def last_lines(step: Step) -> list[str]:
    """The last repeats, where there are any."""
    return [f"  last: {', '.join(write_number(value) for value in step.last_mm)}"] if step.last_mm else []


def nominal(step: Step) -> str:
    """What it should read, in mm."""
    measure = step.measure
    if measure.kind == "square":
        return f"0 at a height of {write_number(measure.length_mm)} mm; a gap at the heel is negative"
    return f"{write_number(measure.length_mm)} mm"


def prompt(step: Step) -> str:
    """What stands before the cursor."""
    return f"{ordinal(step.done + 1)} of {number_word(max(step.of, step.done + 1))}, mm: "


def taken_line(taken: Taken) -> str:
    """That it is on the disk, and how it lies among its fellows."""
    return f"  kept as record {taken.reading.record}: {place_words(taken)}"


def place_words(taken: Taken) -> str:
    """How a reading lies among its fellows: "third of five, 0.03 apart, good"."""
    words = f"{ordinal(taken.count)} of {number_word(max(taken.of, taken.count))}"
    if taken.apart_mm is None:
        return words
    judged = "good" if taken.is_good else "wide: read it once more"
    return f"{words}, {write_number(taken.apart_mm)} apart, {judged}"


def reason_lines(value_mm: float, reasons: Sequence[Reason]) -> list[str]:
    """Why a value is queried."""
    return [
        f"  {write_number(value_mm, 6)}: {reason.what}{'' if reason.what.endswith('?') else '.'}"
        for reason in reasons
    ]


def refused_line(error: DryfitError) -> str:
    """A refusal in the middle of a conversation."""
    return f"  {error.what}: {error.do}."


def undone_line(reading: Reading | None) -> str:
    """What was taken back."""
    if reading is None:
        return "  nothing of this sitting is left to take back; others: dryfit read MACHINE --withdraw RECORD"
    return f"  taken back: record {reading.record}, {write_number(reading.value_mm)} mm of {reading.measure}"


def left_line(taken: Sequence[Taken]) -> str:
    """What is kept when the sitting ends before its time."""
    if not taken:
        return "stopped; no reading was taken in this sitting"
    records = [item.reading.record for item in taken]
    noun = "reading" if len(records) == 1 else "readings"
    which = f"record {records[0]}" if len(records) == 1 else f"records {records[0]} to {records[-1]}"
    return f"stopped; {len(records)} {noun} of this sitting kept ({which})"


def read_blocks(report: ReadReport) -> list[Block]:
    """What was recorded and what is still to be read."""
    is_done = report.read >= report.planned
    blocks: list[Block] = [
        Heading(
            f"{report.project}: {report.read} of {report.planned} {_wanted(report)} of {_target(report)}",
            "pass" if is_done else None,
        )
    ]
    if report.taken:
        blocks.append(_taken_table(report.taken))
    blocks += [
        Sentence(f"Taken back: record {item.record}, {write_number(item.value_mm)} mm of {item.measure}.")
        for item in report.withdrawn
    ]
    if report.uncorrected:
        count = f"{report.uncorrected} reading{'' if report.uncorrected == 1 else 's'}"
        state = f"{count} without a temperature: not corrected to 20 C."
        blocks.append(Sentence(state, "not checked", mark=True))
    if report.confirmed:
        count = f"{report.confirmed} doubtful reading{'' if report.confirmed == 1 else 's'}"
        blocks.append(Sentence(f"{count} confirmed by the reader.", "caution", mark=True))
    if is_done:
        following = "dryfit forecast" if report.is_part else f"dryfit qualify {report.machine}"
        blocks.append(Sentence(f"The plan is read. Next: {following}"))
    return blocks


def own_shape_blocks(report: OwnShapeReport) -> list[Block]:
    """What was decided of a print, and what follows."""
    head = f"{report.project}: {report.part} (print {report.print})"
    because = f"because {report.because} (record {report.record})"
    following = "Next: dryfit forecast"
    if report.std_mm == 0.0:
        return [
            Heading(f"{head} is taken as its machine makes it again"),
            Sentence(f"{because[:1].upper()}{because[1:]}. {following}"),
        ]
    was = "" if report.before is None else f", before {write_number(report.before.std_mm)} mm"
    return [
        Heading(f"{head} is taken as off for a reason of its own"),
        Sentence(
            f"By about {write_number(report.std_mm)} mm{was}, {because}. Its readings tell how far each face is off, "
            "and hardly anything of its machine; what was not read of it is uncertain by as much."
        ),
        Sentence(following),
    ]


def own_shape_plain(report: OwnShapeReport) -> dict[str, Any]:
    """Keys of `dryfit read PART --own-shape MM --json`."""
    return {
        "project": report.project,
        "part": report.part,
        "print": report.print,
        "record": report.record,
        "own_shape_mm": report.std_mm,
        "because": report.because,
        "own_shape_before_mm": None if report.before is None else report.before.std_mm,
    }


def _wanted(report: ReadReport) -> str:
    """What is counted. Of a part other measures may be read than the plan asks for, which changes with each reading."""
    return "planned readings" if report.is_part else "readings"


def _target(report: ReadReport) -> str:
    if report.is_part:
        return f"the part {report.target} (print {report.artefact})"
    return f"the artefact of {report.machine}"


def read_plain(report: ReadReport) -> dict[str, Any]:
    """Keys of `dryfit read --json`."""
    return {
        "project": report.project,
        "machine": report.machine,
        "part": report.target if report.is_part else None,
        "artefact": report.artefact,
        "taken": [
            {
                "record": item.reading.record,
                "at": item.reading.at,
                "measure": item.reading.measure,
                "number": item.number,
                "value_mm": item.reading.value_mm,
                "instrument": item.reading.instrument,
                "temp_c": item.reading.temp_c,
                "corrects": item.reading.corrects,
                "is_confirmed": item.reading.is_confirmed,
                "by": item.reading.by,
                "repeats_apart_mm": item.apart_mm,
            }
            for item in report.taken
        ],
        "withdrawn": [item.record for item in report.withdrawn],
        "read": report.read,
        "planned": report.planned,
        "not_temperature_corrected": report.uncorrected,
        "confirmed": report.confirmed,
    }


def ordinal(number: int) -> str:
    """first, second ... 11th, 21st"""
    if 1 <= number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    ending = "th" if 10 < number % 100 < 14 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def number_word(number: int) -> str:
    """one, two ... 11"""
    return _NUMBERS[number] if 0 <= number < len(_NUMBERS) else str(number)


def _taken_table(taken: Sequence[Taken]) -> Table:
    rows = tuple(
        (
            str(item.reading.record),
            str(item.number),
            item.reading.measure,
            write_number(item.reading.value_mm),
            item.reading.instrument,
            NONE if item.reading.temp_c is None else write_number(item.reading.temp_c, 1),
            NONE if item.apart_mm is None else write_number(item.apart_mm),
            "confirmed" if item.reading.is_confirmed else "",
        )
        for item in taken
    )
    heads = ("record", "measure", "", "value in mm", "instrument", "at C", "repeats apart", "")
    # A column of nothing would cost the others a character, and their words a line.
    count = len(heads) if any(item.reading.is_confirmed for item in taken) else len(heads) - 1
    return Table(heads[:count], tuple(row[:count] for row in rows), frozenset({0, 1, 3, 5, 6}))
