"""Remedies in words and rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryfit.app.changes_price import Amount
from dryfit.app.remedy_report import Outcome, Remedy, RemedyReport
from dryfit.app.remedying import Decided, Taken
from dryfit.model.finding import State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_number, write_probability

_NAMES = {
    "as is": "use as it is",
    "sand": "sand",
    "shim": "shim",
    "bond line": "bond line",
    "turn another": "turn a part to come",
    "change another": "change a part to come",
    "reprint": "print again",
    "reprint corrected": "print again, corrected",
    "two together": "two together",
}


def remedy_blocks(report: RemedyReport) -> list[Block]:
    """What is at risk, then every remedy in order."""
    meeting = report.count_meeting
    risk = write_probability(report.risk)
    if not report.at_risk:
        heading = f"{report.part} is within what the assembly bears: use it as it is"
        state: State = "pass"
    elif meeting:
        heading = (
            f"{report.part}: {meeting} of {len(report.remedies)} remedies meet the stated risk of {risk}"
        )
        state = "caution"
    else:
        heading = f"{report.part}: no remedy meets the stated risk of {risk}"
        state = "stop"
    blocks: list[Block] = [Heading(f"{report.project}: {heading}", state)]
    if report.at_risk:
        blocks.append(
            Sentence(f"Print {report.print}. At risk, and moved by this part: {', '.join(report.at_risk)}.")
        )
        blocks.append(_table(report.remedies))
        blocks += _details(report.remedies)
    if report.others:
        text = f"Beyond the stated risk as well, but not moved by this part: {', '.join(report.others)}."
        blocks.append(Sentence(text, "caution", mark=True))
    blocks += [Sentence(f"{note[0].upper()}{note[1:]}.", mark=True) for note in report.notes]
    if report.at_risk:
        blocks += [Sentence(text, mark=True) for text in _practice(report)]
        blocks.append(Sentence(f"Decide: dryfit remedy {report.part} --take N --because TEXT"))
    return blocks


def _table(remedies: Sequence[Remedy]) -> Table:
    heads = ("", "remedy", "worst after", "minutes", "hours", "grams")
    rows = tuple(
        (
            str(number),
            _NAMES[item.kind],
            write_probability(item.worst),
            write_number(item.cost.minutes, 0),
            _amount(item.cost.hours, 1),
            _amount(item.cost.grams, 0),
        )
        for number, item in enumerate(remedies, 1)
    )
    return Table(heads, rows, frozenset({0, 2, 3, 4, 5}), tuple(remedy_state(item) for item in remedies))


def remedy_state(item: Remedy) -> State:
    """pass where it meets the stated risk."""
    return "pass" if item.meets else "stop"


def _amount(amount: Amount, decimals: int) -> str:
    if amount.value is None:
        return "not known"
    if amount.value == 0.0:
        return NONE
    about = "about " if amount.is_estimate else ""
    return f"{about}{write_number(amount.value, decimals)}"


def _details(remedies: Sequence[Remedy]) -> list[Block]:
    blocks: list[Block] = []
    for number, item in enumerate(remedies, 1):
        what = "; ".join(step.words for step in item.steps) or "use it as it is"
        blocks.append(
            Sentence(f"{number}: {what}. {outcome_words(item.outcomes)}", remedy_state(item), mark=True)
        )
        blocks += [Sentence(f"{caution}.", "caution", mark=True) for caution in item.cautions]
        for noun, amount in (("hours", item.cost.hours), ("grams", item.cost.grams)):
            if amount.is_estimate or amount.value is None:
                blocks.append(Sentence(f"{number}: {noun} {amount.whence}.", mark=True))
    return blocks


def outcome_words(outcomes: Sequence[Outcome]) -> str:
    """ "Out of limits: ring-closure 40.1 % -> 0.50 %." """
    listed = "; ".join(
        f"{row.id} {write_probability(row.before)} -> {write_probability(row.after)}" for row in outcomes
    )
    return f"Out of limits: {listed}."


def _practice(report: RemedyReport) -> list[str]:
    options = report.options
    return [
        f"Common practice, no source: a face sanded up to {write_number(options.sand_most_mm)} mm and shimmed up to "
        f"{write_number(options.shim_most_mm)} mm, in steps of {write_number(options.step_mm)} mm, uncertain by "
        f"{write_number(options.hand_std_mm)} mm at each contact; minutes of handwork likewise. Options state others.",
        "Sand wet or with a mask and extraction, and measure often: nothing puts material back evenly.",
    ]


def decided_blocks(decided: Decided) -> list[Block]:
    """What was decided or done, the change of the document, and what comes next."""
    taken = decided.taken
    heading = (
        f"Entered: handwork, record {decided.record}"
        if decided.record
        else f"Remedy {taken.record} for {taken.part}"
    )
    blocks: list[Block] = [Heading(heading, "pass")]
    blocks += [Sentence(f"{step.words[0].upper()}{step.words[1:]}.", mark=True) for step in taken.steps]
    if not taken.steps:
        blocks.append(Sentence("Use it as it is.", mark=True))
    blocks.append(Sentence(f"Because: {taken.because}"))
    if decided.edit is not None:
        blocks.append(
            Sentence(
                "Written to project.toml:" if decided.written else "Change of project.toml, not written:"
            )
        )
        blocks += [Sentence(words, mark=True) for words in decided.edit.words]
        blocks += [Sentence(line) for line in decided.edit.diff.splitlines() if line.startswith(("+", "-"))]
    if decided.reason:
        blocks.append(Sentence(f"The document is yours to change: {decided.reason}.", "caution", mark=True))
    blocks += [Sentence(f"Next: {words}") for words in decided.next]
    return blocks


def taken_blocks(part: str, held: Sequence[Taken]) -> list[Block]:
    """Decisions about a part that hold."""
    blocks: list[Block] = [
        Heading(f"{part}: {len(held)} remedies taken" if held else f"{part}: no remedy is taken")
    ]
    for item in held:
        what = "; ".join(step.words for step in item.steps) or "use it as it is"
        done = ", done" if item.is_done else ""
        blocks.append(Sentence(f"record {item.record}{done}: {what}. Because: {item.because}", mark=True))
    return blocks


def remedies_plain(report: RemedyReport) -> dict[str, Any]:
    """Keys of `dryfit remedy --json`."""
    return {
        "project": report.project,
        "part": report.part,
        "print": report.print,
        "risk": report.risk,
        "at_risk": list(report.at_risk),
        "not_moved": list(report.others),
        "remedies": [_remedy_plain(number, item) for number, item in enumerate(report.remedies, 1)],
        "notes": list(report.notes),
    }


def _remedy_plain(number: int, item: Remedy) -> dict[str, Any]:
    return {
        "number": number,
        "kind": item.kind,
        "meets_risk": item.meets,
        "worst_p_out": item.worst,
        "outcomes": [
            {"id": row.id, "p_out_before": row.before, "p_out_after": row.after} for row in item.outcomes
        ],
        "steps": [
            {
                "kind": step.kind,
                "words": step.words,
                "joint": step.joint,
                "part": step.part,
                "points_mm": [list(point) for point in step.points_mm],
                "taken_off_mm": list(step.amounts_mm),
                "std_mm": step.std_mm,
                "change": step.change,
            }
            for step in item.steps
        ],
        "minutes": item.cost.minutes,
        "hours": _amount_plain(item.cost.hours),
        "grams": _amount_plain(item.cost.grams),
        "cautions": list(item.cautions),
    }


def _amount_plain(amount: Amount) -> dict[str, Any]:
    return {"value": amount.value, "from": amount.whence, "is_estimate": amount.is_estimate}


def decided_plain(decided: Decided) -> dict[str, Any]:
    """Keys of `dryfit remedy --take/--done --json`."""
    edit = decided.edit
    return {
        "taken": taken_plain(decided.taken),
        "handwork_record": decided.record,
        "changes": [] if edit is None else list(edit.words),
        "diff": "" if edit is None else edit.diff,
        "written": decided.written,
        "not_writable": decided.reason,
        "next": list(decided.next),
    }


def taken_plain(item: Taken) -> dict[str, Any]:
    """A decision as plain keys."""
    return {
        "record": item.record,
        "at": item.at,
        "part": item.part,
        "print": item.print,
        "kind": item.kind,
        "steps": [step.words for step in item.steps],
        "because": item.because,
        "by": item.by,
        "is_done": item.is_done,
    }
