"""The inspection plan in words and rows."""

from __future__ import annotations

from typing import Any

from dryfit.app.inspecting import InspectionPlan, PartPlan, Proposed
from dryfit.calc.gauging import Acceptance
from dryfit.model.finding import State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import (
    NONE,
    decimals_of,
    write_estimate,
    write_limits,
    write_number,
    write_probability,
)

_STATES: dict[str | None, State] = {
    "accept": "pass",
    "reject": "stop",
    "cannot tell": "caution",
    None: "not checked",
}
_POOR, _FAIR = 1.0, 2.5  # limits over four standard uncertainties: below, an instrument decides little


def inspection_blocks(plan: InspectionPlan) -> list[Block]:
    """What is at risk, then for each printed part what to read and what was read."""
    count = sum(len(part.readings) for part in plan.parts)
    heading = "nothing is worth reading now" if not count else f"{count} measures are worth reading"
    if not plan.parts:
        heading = "no part is printed yet"
    blocks: list[Block] = [Heading(f"{plan.project}: {heading}")]
    if not plan.parts:
        blocks.append(Sentence("Enter a print when it comes off the bed: dryfit printed PART --result good"))
        return blocks
    risks = [(name, risk) for name, risk in plan.at_risk if risk >= 0.0001]
    if risks:
        listed = ", ".join(f"{name} {write_probability(risk)}" for name, risk in risks[:5])
        blocks.append(
            Sentence(f"At risk, though what is known is taken up by shims or in the parts to come: {listed}.")
        )
    for part in plan.parts:
        blocks += _part(part)
    blocks += [Sentence(f"{text}.", "caution", mark=True) for text in plan.cautions]
    if count:
        first = next(part for part in plan.parts if part.readings)
        blocks.append(Sentence(f"Next: dryfit read {first.part} --measure {first.readings[0].number}"))
    return blocks


def _part(plan: PartPlan) -> list[Block]:
    blocks: list[Block] = [
        Sentence(f"{plan.part}, print {plan.print}{f': {plan.note}' if plan.note else ''}.")
    ]
    if plan.readings:
        rows = tuple(_row(item) for item in plan.readings)
        heads = (
            "measure",
            "what",
            "with",
            "nominal",
            "expected",
            "accept",
            "risk less by",
            "a minute",
            "tells of",
        )
        blocks.append(Table(heads, rows, frozenset({0, 3, 4, 6, 7})))
        blocks += [Sentence(text, mark=True) for text in (where_words(item) for item in plan.readings)]
    if plan.done:
        blocks.append(_done_table(plan.done))
    return blocks


def where_words(item: Proposed) -> str:
    """Where a measure is taken: "measure 3, diagonal: from the edge ..."."""
    return f"measure {item.number}, {item.repeats} times: {item.words}"


def _row(item: Proposed) -> tuple[str, ...]:
    return (
        str(item.number),
        item.kind,
        item.instrument,
        write_number(item.nominal_mm, 2),
        write_estimate(item.expected_mm, item.expected_std_mm),
        acceptance_words(item.acceptance, item.limits_from),
        write_probability(item.gain),
        write_probability(item.gain_per_minute),
        ", ".join(name for name, _ in item.helps),
    )


def acceptance_words(limits: Acceptance | None, whence: str) -> str:
    """From where to where a reading is accepted, and by what."""
    if limits is None:
        return whence or NONE
    if not limits.can_accept:
        return f"none: the uncertainty fills the limits ({whence})"
    low, high = limits.accept_lower, limits.accept_upper
    decimals = decimals_of(limits.std) if limits.std > 0 else 3
    shown = write_limits(
        None if low is None else round(low, decimals), None if high is None else round(high, decimals)
    )
    return f"{shown} ({whence})"


def _done_table(items: tuple[Proposed, ...]) -> Table:
    rows = []
    states: list[State] = []
    for item in items:
        done = item.done
        if done is None:
            continue
        rows.append(
            (
                str(item.number),
                item.kind,
                f"{write_number(done.mean_mm)} mm",
                str(len(done.records)),
                acceptance_words(item.acceptance, item.limits_from),
                done.verdict or "no limits",
                capability_words(item),
            )
        )
        states.append(_STATES[done.verdict])
    heads = ("measure", "what", "read", "times", "accept", "verdict", "capability")
    return Table(heads, tuple(rows), frozenset({0, 2, 3}), tuple(states))


def capability_words(item: Proposed) -> str:
    """Limits over four standard uncertainties, and where the repeatability comes from."""
    value = None if item.acceptance is None else item.acceptance.capability
    if value is None:
        return NONE
    word = "poor" if value < _POOR else "fair" if value < _FAIR else "good"
    return f"{write_number(value, 1)}, {word} (repeatability {item.repeatability_from})"


def is_accepted(plan: InspectionPlan) -> bool:
    """Whether nothing that was read is rejected."""
    return all(
        item.done is None or item.done.verdict != "reject" for part in plan.parts for item in part.done
    )


def inspection_plain(plan: InspectionPlan) -> dict[str, Any]:
    """Keys of `dryfit inspect --json`."""
    return {
        "project": plan.project,
        "at_risk": [{"characteristic": name, "risk": risk} for name, risk in plan.at_risk],
        "parts": [
            {
                "part": part.part,
                "print": part.print,
                "note": part.note,
                "readings": [proposed_plain(item) for item in part.readings],
                "done": [proposed_plain(item) for item in part.done],
            }
            for part in plan.parts
        ],
        "not_printed": list(plan.not_printed),
        "cautions": list(plan.cautions),
        "minutes_per_reading": dict(plan.minutes),
    }


def proposed_plain(item: Proposed) -> dict[str, Any]:
    """A measure that is worth reading, or was read."""
    limits = item.acceptance
    return {
        "number": item.number,
        "id": item.id,
        "kind": item.kind,
        "words": item.words,
        "first_mm": list(item.first_mm),
        "second_mm": list(item.second_mm),
        "instrument": item.instrument,
        "repeatability_from": item.repeatability_from,
        "nominal_mm": item.nominal_mm,
        "expected_mm": item.expected_mm,
        "expected_std_mm": item.expected_std_mm,
        "repeats": item.repeats,
        "minutes": item.minutes,
        "risk_reduction": item.gain,
        "risk_reduction_per_minute": item.gain_per_minute,
        "tells_of": [{"characteristic": name, "share": share} for name, share in item.helps],
        "limits_from": item.limits_from,
        "lower_limit_mm": None if limits is None else limits.lower,
        "upper_limit_mm": None if limits is None else limits.upper,
        "guard_mm": None if limits is None else limits.guard,
        "accept_from_mm": None if limits is None else limits.accept_lower,
        "accept_to_mm": None if limits is None else limits.accept_upper,
        "can_accept": None if limits is None else bool(limits.can_accept),
        "reading_std_mm": None if limits is None else limits.std,
        "capability": None if limits is None else limits.capability,
        "records": [] if item.done is None else list(item.done.records),
        "read_mm": None if item.done is None else item.done.mean_mm,
        "verdict": None if item.done is None else item.done.verdict,
    }
