"""The bench page in words: what to measure and how, the voice of the page, what was taken, the check before a print."""

from __future__ import annotations

from collections.abc import Sequence

from dryfit.app.inspecting import Proposed
from dryfit.app.machine_page_desk import DeskState, Doubt, LastReading, SheetRow
from dryfit.app.reading_desk import Step, Taken
from dryfit.model.instrument import InstrumentKind, MeasureKind
from dryfit.model.reading import Reading
from dryfit.view.digits import NONE, write_estimate, write_number
from dryfit.view.inspection import acceptance_words
from dryfit.view.preflight import QUESTIONS
from dryfit.view.readings import nominal, number_word, ordinal, place_words

KIND_WORDS: dict[MeasureKind, str] = {
    "outside": "outside",
    "inside": "inside",
    "centres": "centre to centre",
    "step": "step: between two faces that look the same way",
    "height": "height",
    "diagonal": "diagonal",
    "square": "gap of the square",
}
# Common practice, no source.
_HOLD_KIND: dict[MeasureKind, str] = {
    "outside": "Close gently on both faces, rock until the reading is least, and do not squeeze the print.",
    "inside": "Open gently against both faces, rock until the reading is largest across and least along.",
    "centres": "Read over both posts and between them, and enter half the sum: their thickness drops out.",
    "step": "The same side of the jaws to both faces; between treads the rod from the upper one down, beam upright.",
    "height": "One jaw under the body, beam flat on its outer face; or body and gauge on one flat plate.",
    "diagonal": "Over both corners or posts that are marked, in line with both; not sagging, not bent.",
    "square": "Stock flat on the base, blade against the face; the feeler that just goes in at the marked height is "
    "the gap. Open at the tip: positive. Open at the heel: negative.",
}
_HOLD_INSTRUMENT: dict[InstrumentKind, str] = {
    "caliper": "Close it and see 0.00 before each series.",
    "steel rule": "Look straight down at the line; use the 10 or 100 mm line where the end is worn, and take it off.",
    "tape": "Pull it straight; take the 100 mm line rather than the hook, and take it off.",
    "height gauge": "Set it to zero on the plate that the body stands on.",
    "dial indicator": "Set it to zero at the foot of the face, then run it up.",
    "micrometer": "Use the ratchet, and see zero first.",
}


def step_heading(step: Step) -> str:
    """Number and kind of the open measure."""
    return f"Measure {step.measure.number}: {KIND_WORDS[step.measure.kind]}"


def step_rows(step: Step) -> list[tuple[str, str]]:
    """What it should read, with what, which repeat comes, and how to hold the instrument."""
    rows = [("nominal", nominal(step))]
    if step.measure.words:
        rows.insert(0, ("where", step.measure.words))
    count = f"{ordinal(step.done + 1)} of {number_word(max(step.of, step.done + 1))}"
    rows.append(("reading", count))
    if step.last_mm:
        rows.append(("so far", ", ".join(write_number(value) for value in step.last_mm)))
    rows.append(("hold it", hold_words(step)))
    return rows


def hold_words(step: Step) -> str:
    """How to hold the instrument for this measure."""
    kind = step.measure.kind
    # From one tread to another is read like a step; only from the underside up is it a height over the bed.
    words = _HOLD_KIND["step" if kind == "height" and not step.measure.from_bed else kind]
    return f"{words} {_HOLD_INSTRUMENT.get(step.instrument.kind, '')}".strip()


def progress_words(state: DeskState) -> str:
    """How far the sheet is read."""
    return f"{state.read} of {state.planned} readings"


def voice_line(taken: Taken) -> str:
    """What the page says of a reading: "third of five, 0.03 apart, good"."""
    return f"Measure {taken.number}, {write_number(taken.reading.value_mm)} mm: {place_words(taken)}"


def back_line(reading: Reading) -> str:
    """What was taken back."""
    return f"Taken back: {write_number(reading.value_mm)} mm of {reading.measure} (record {reading.record})"


def doubt_words(doubt: Doubt) -> list[str]:
    """Why a value is asked about, one sentence each."""
    return [
        f"{write_number(doubt.value_mm, 6)}: {reason.what}{'' if reason.what.endswith('?') else '.'}"
        for reason in doubt.reasons
    ]


def last_row(last: LastReading) -> tuple[str, ...]:
    """Cells of one of the latest readings: measure, value, instrument, temperature, time, record."""
    reading = last.reading
    temp = "not taken" if reading.temp_c is None else write_number(reading.temp_c, 1)
    confirmed = "confirmed" if reading.is_confirmed else ""
    return (
        NONE if last.number is None else str(last.number),
        write_number(reading.value_mm),
        reading.instrument,
        temp,
        reading.at[11:16],
        confirmed,
    )


LAST_HEADS = ("measure", "mm", "with", "at C", "UTC", "")


def row_name(row: SheetRow) -> str:
    """A measure on the strip, for those who do not see its mark."""
    return f"measure {row.measure.number}: {min(row.done, row.of)} of {row.of} read"


def done_words(state: DeskState, target: str) -> str:
    """What to say when the plan is read. target: the machine, or the part."""
    if state.print is not None:
        return f"Nothing more on {target} is worth a minute. Next: what it teaches, on the board of parts."
    return f"Every reading of the plan is taken. Next: qualify {target}, on its sheet."


def place_of(state: DeskState, target: str) -> str:
    """What lies on the bench."""
    return f"artefact of {target}" if state.print is None else f"{target}, print {state.print}"


def planned_rows(item: Proposed) -> list[tuple[str, str]]:
    """What the inspection plan says of a measure of a part: what it should show, when it is accepted, what it tells."""
    rows = [("expected", f"{write_estimate(item.expected_mm, item.expected_std_mm)} mm")]
    accepted = acceptance_words(item.acceptance, item.limits_from)
    if accepted != NONE:
        rows.append(("accepted", accepted))
    if item.helps:
        rows.append(("tells of", ", ".join(name for name, _ in item.helps)))
    return rows


def no_temperature_words() -> str:
    """Unit of the field, and what an empty one means."""
    return "C, of body and instrument; empty: not corrected to 20 C"


def question_words(field: str) -> str:
    """A line of the routine, as it is asked on the command line, without its colon."""
    return dict(QUESTIONS)[field].rstrip(": ")


def recorded_line(records: Sequence[int]) -> str:
    """That a check is on the disk."""
    return f"Recorded: ledger record {', '.join(str(record) for record in records)}"
