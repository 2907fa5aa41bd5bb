"""A qualification in rows and sentences: figures, what they rest on, and what speaks against them."""

from __future__ import annotations

import math
from typing import Any

from dryfit.app.qualify import Figure, LeftOut, QualifyReport, ReadReport
from dryfit.app.reading_blunders import SuspectReading
from dryfit.model.finding import State, gravest
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import (
    write_estimate,
    write_number,
    write_probability,
    write_signed,
)
from dryfit.view.outcome_changes import outcome_table, outcomes_plain
from dryfit.view.sources import describe_figure
from dryfit.view.trueing import trueing_blocks, trueing_plain

# Scales are read by people as per cent, lengths in mm, leans in degrees.
_UNITS = {"scale": ("%", 100.0), "skew": ("degrees", 1.0)}
_WORST_SHOWN = 6


def qualify_state(report: QualifyReport) -> State:
    """Stop while a reading is suspect; caution where the residuals are larger than expected or it has moved."""
    states: list[State] = []
    if report.suspects:
        states.append("caution" if report.is_kept else "stop")
    if report.p_value is not None and report.p_value < 0.05:
        states.append("caution")
    if report.moved is not None and report.moved.has_moved:
        states.append("caution")
    return gravest(states) if states else "pass"


def qualify_blocks(report: QualifyReport, brief: bool = False) -> list[Block]:
    """Verdict, figures, suspects, residuals, what to turn, and what it makes of the assembly."""
    blocks: list[Block] = [Heading(_title(report), qualify_state(report)), *_suspects(report)]
    blocks.append(figure_table(report.figures))
    blocks += _scatter(report)
    blocks += _moved(report)
    if not brief:
        blocks += _residuals(report)
        blocks += [Sentence(f"{_left_out(item)}.", mark=True) for item in report.left_out]
    blocks += trueing_blocks(report.trueing)
    blocks += _effect(report)
    if not brief:
        blocks += [Sentence(f"assumed: {note}", mark=True) for note in report.notes]
    return blocks


def _title(report: QualifyReport) -> str:
    held = f"{len(report.readings)} readings of {len({item.measure for item in report.readings})} measures"
    if report.is_recorded:
        return f"{report.machine}: qualified from {held} (ledger record {report.qualification.record})"
    return f"{report.machine}: {held}; not recorded: {report.why_not}"


def figure_table(figures: tuple[Figure, ...]) -> Table:
    """The eight figures with standard and expanded uncertainty, and the last ones where there are any."""
    has_before = any(item.before is not None for item in figures)
    rows = []
    for item in figures:
        unit, factor = unit_of(item.name)
        row = [
            describe_figure(item.name),
            write_estimate(item.value * factor, item.std * factor),
            f"+-{write_number(item.expanded * factor)}",
            unit,
            "known" if math.isinf(item.dof) else f"{item.dof:.0f}",
        ]
        if has_before:
            row.append("-" if item.before is None else _before(item, factor))
        rows.append(tuple(row))
    heads = ("figure", "estimate", "95 % +-", "unit", "degrees of freedom")
    if has_before:
        return Table((*heads, "last time"), tuple(rows), frozenset({1, 2, 4, 5}))
    return Table(heads, tuple(rows), frozenset({1, 2, 4}))


def unit_of(name: str) -> tuple[str, float]:
    """Unit in which people read a figure, and the factor to it."""
    for start, found in _UNITS.items():
        if name.startswith(start):
            return found
    return "mm", 1.0


def _before(item: Figure, factor: float) -> str:
    return write_estimate((item.before or 0.0) * factor, (item.before_std or 0.0) * factor)


def _suspects(report: QualifyReport) -> list[Block]:
    state: State = "caution" if report.is_kept else "stop"
    return [Sentence(suspect_words(report, item), state, mark=True) for item in report.suspects]


def suspect_words(report: QualifyReport, item: SuspectReading) -> str:
    """What is wrong with a reading, why, and what to do."""
    read = [report.readings[place] for place in item.places]
    which = f"measure {read[0].number} ({read[0].kind}: {read[0].words})"
    values = ", ".join(f"{write_number(entry.value_mm)} mm (record {entry.record})" for entry in read)
    off = write_signed(item.off_mm, item.off_std_mm)
    chance = write_probability(item.p_value)
    text = f"{which}: {values} is off by {off} mm, {abs(item.test_value):.1f} times its standard uncertainty"
    text += f" (chance of any such reading {chance})."
    if item.exchanged is not None:
        other = report.readings[item.exchanged]
        text += f" It and record {other.record} (measure {other.number}) look exchanged."
    if item.alike:
        text += f" It cannot be told from: {', '.join(item.alike)}."
    records = " ".join(f"--without {entry.record}" for entry in read)
    if report.is_kept:
        return f"{text} It is kept in, knowingly."
    return (
        f"{text} Read it again (dryfit read {report.machine} --measure {read[0].number}), or leave it out with a "
        f"reason ({records} --because ...), or keep it knowingly (--keep)."
    )


def _scatter(report: QualifyReport) -> list[Block]:
    q = report.qualification
    printed = (
        f"{write_estimate(q.repeatability_mm, q.repeatability_std_mm)} mm"
        if q.repeatability_mm > 0
        else f"below what the readings can show ({write_number(q.repeatability_std_mm)} mm)"
    )
    blocks: list[Block] = [
        Sentence(f"Scatter of printed points: {printed}, one standard deviation per axis.")
    ]
    if report.p_value is None:
        blocks.append(
            Sentence("No more readings than unknowns: nothing controls them.", "caution", mark=True)
        )
        return blocks
    expected = f"{write_number(report.scatter_expected_mm)} mm ({report.scatter_from})"
    chance = write_probability(report.p_value)
    if report.p_value < 0.05:
        blocks.append(
            Sentence(
                f"The readings scatter more than expected: with {expected} the chance is {chance}. The uncertainties "
                "above count with the scatter that was found.",
                "caution",
                mark=True,
            )
        )
    else:
        blocks.append(
            Sentence(
                f"They agree with the {expected} that was expected (chance {chance}).", "pass", mark=True
            )
        )
    blocks += [
        Sentence(
            f"{id}: repeats scatter by {write_number(hand.repeats or 0.0)} mm where {write_number(hand.stated)} was "
            f"stated (chance {write_probability(hand.p_value)}); {write_number(hand.std)} mm used.",
            "caution",
            mark=True,
        )
        for id, hand in report.fit.hands.items()
        if hand.p_value is not None and hand.p_value < 0.05
    ]
    return blocks


def _moved(report: QualifyReport) -> list[Block]:
    if report.moved is None:
        return []
    chance = write_probability(report.moved.p_value)
    if report.moved.has_moved:
        return [
            Sentence(
                f"The machine has moved since the last qualification (chance of such a difference otherwise {chance}).",
                "caution",
                mark=True,
            )
        ]
    return [
        Sentence(
            f"No sign that the machine has moved since the last qualification (chance {chance}).",
            "pass",
            mark=True,
        )
    ]


def _residuals(report: QualifyReport) -> list[Block]:
    worst = sorted(report.readings, key=lambda item: -abs(item.off_std or 0.0))[:_WORST_SHOWN]
    rows = tuple(_residual_row(item) for item in worst)
    heads = ("reading", "what", "at 20 C", "by the figures", "off", "in std")
    return [
        Sentence("The readings that lie farthest from the figures:"),
        Table(heads, rows, frozenset({2, 3, 4, 5})),
    ]


def _residual_row(item: ReadReport) -> tuple[str, ...]:
    return (
        str(item.record),
        f"{item.number} {item.kind}",
        f"{item.at_20_mm:.3f}",
        f"{item.predicted_mm:.3f}",
        f"{item.at_20_mm - item.predicted_mm:+.3f}",
        "not controlled" if item.off_std is None else f"{item.off_std:+.1f}",
    )


def _left_out(item: LeftOut) -> str:
    return (
        f"left out: record {item.record} ({item.measure}, {write_number(item.value_mm)} mm): {item.because}"
    )


def _effect(report: QualifyReport) -> list[Block]:
    if not report.effect:
        return []
    return [
        Sentence("What these figures make of the assembly, with the parts as they lie on the bed now:"),
        outcome_table(report.effect, "by what was known", "with these figures"),
    ]


def qualify_plain(report: QualifyReport) -> dict[str, Any]:
    """Keys of `dryfit qualify --json`."""
    q = report.qualification
    return {
        "project": report.project,
        "machine": report.machine,
        "state": qualify_state(report),
        "recorded": report.is_recorded,
        "why_not": report.why_not,
        "record": q.record or None,
        "artefact_record": report.artefact.record,
        "figures": [
            {
                "figure": item.name,
                "value": item.value,
                "std": item.std,
                "expanded_95": item.expanded,
                "dof": None if math.isinf(item.dof) else item.dof,
                "before": item.before,
                "before_std": item.before_std,
            }
            for item in report.figures
        ],
        "covariance": q.covariance.tolist(),
        "repeatability_mm": q.repeatability_mm,
        "repeatability_std_mm": q.repeatability_std_mm,
        "p_value": report.p_value,
        "scatter_expected_mm": report.scatter_expected_mm,
        "moved": None
        if report.moved is None
        else {"has_moved": report.moved.has_moved, "p_value": report.moved.p_value},
        "suspects": [
            {
                "measure": item.measure,
                "records": [report.readings[place].record for place in item.places],
                "off_mm": item.off_mm,
                "off_std_mm": item.off_std_mm,
                "test_value": item.test_value,
                "p_value": item.p_value,
                "redundancy": item.redundancy,
                "exchanged_with": None if item.exchanged is None else report.readings[item.exchanged].record,
                "alike": list(item.alike),
                "figures_without": None if item.without is None else item.without.tolist(),
                "std_without": None if item.without_std is None else item.without_std.tolist(),
            }
            for item in report.suspects
        ],
        "left_out": [
            {
                "record": item.record,
                "measure": item.measure,
                "value_mm": item.value_mm,
                "because": item.because,
            }
            for item in report.left_out
        ],
        "readings": [
            {
                "record": item.record,
                "number": item.number,
                "measure": item.measure,
                "kind": item.kind,
                "instrument": item.instrument,
                "value_mm": item.value_mm,
                "at_20_mm": item.at_20_mm,
                "predicted_mm": item.predicted_mm,
                "off_std": item.off_std,
            }
            for item in report.readings
        ],
        "trueing": trueing_plain(report.trueing),
        "characteristics": outcomes_plain(report.effect),
        "notes": list(report.notes),
    }
