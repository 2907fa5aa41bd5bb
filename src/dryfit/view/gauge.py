"""Gauge studies in words and rows."""

from __future__ import annotations

import math
from typing import Any

from dryfit.app.gauge import FEW_DOF, GOOD_SHARE, SPREAD_STDS, USABLE_SHARE, GaugeReport
from dryfit.app.gauge_desk import GaugeDesk
from dryfit.app.gauge_records import GaugeReading, Place
from dryfit.calc.gauging import Budget
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_number, write_share

HELP = "A number is a reading, in mm. Else: undo (take the last one back), leave (the rest keeps until next time)."


def opening_lines(desk: GaugeDesk) -> list[str]:
    """What is said before the first reading."""
    plan = desk.plan
    done, of = desk.progress()
    if desk.was_begun:
        begun = f"The study of {desk.instrument.id} goes on: {done} of {of} readings are taken."
    else:
        people = "" if plan.people == ("",) else f" by {', '.join(plan.people)}"
        begun = (
            f"Gauge study of {desk.instrument.id}: {len(plan.parts)} parts, {plan.trials} times each{people}, "
            f"{of} readings."
        )
    return [
        begun,
        f"Mark {len(plan.parts)} lengths on printed parts with 1 to {len(plan.parts)}, as different as those that "
        "will be read. They come in shuffled order, and what was read before is not shown.",
        HELP,
    ]


def prompt(desk: GaugeDesk, place: Place) -> str:
    """What stands before the cursor."""
    done, of = desk.progress()
    who = f"{place.person}, " if place.person else ""
    return f"[{done + 1} of {of}] {who}part {place.part}, mm: "


def taken_line(reading: GaugeReading) -> str:
    """That it is on the disk."""
    return f"  kept as record {reading.record}"


def undone_line(reading: GaugeReading | None) -> str:
    """What was taken back; its value is not shown, so that nobody remembers it."""
    if reading is None:
        return "  nothing of this sitting is left to take back"
    return f"  taken back: record {reading.record}, part {reading.place.part}"


def left_line(desk: GaugeDesk) -> str:
    """What is kept when the study ends before its time."""
    done, of = desk.progress()
    return f"left; {done} of {of} readings are kept: dryfit gauge {desk.instrument.id} goes on"


def left_plain(desk: GaugeDesk) -> dict[str, Any]:
    """Keys of `dryfit gauge --json` where the study is not complete."""
    done, of = desk.progress()
    return {
        "project": desk.project.name,
        "instrument": desk.instrument.id,
        "plan": desk.plan.record,
        "complete": False,
        "read": done,
        "planned": of,
    }


def gauge_blocks(report: GaugeReport) -> list[Block]:
    """The result of a study."""
    crossed = report.crossed
    dof = crossed.dof
    low, high = crossed.repeatability_interval.low, crossed.repeatability_interval.high
    people = "" if len(report.people) == 1 else f", {len(report.people)} people"
    blocks: list[Block] = [
        Heading(
            f"{report.project}: {report.instrument.id} repeats within {_mm(crossed.repeatability)} mm "
            f"(one standard deviation)",
            report.state,
        ),
        Sentence(
            f"From {len(report.parts)} parts, {report.trials} readings of each{people}: {dof} degrees of freedom, "
            f"95 % between {_mm(low)} and {_mm(high)} mm. Record {report.record} of the ledger: from now on the "
            "repeatability of this instrument."
        ),
        _spread_table(report),
    ]
    if crossed.repeatability == 0.0:
        step = f"{report.instrument.resolution_mm:g}"
        blocks.append(Sentence(f"All repeats agree: the step of {step} mm hides what is smaller.", "caution"))
    if dof < FEW_DOF:
        text = f"{dof} degrees of freedom tell little; {FEW_DOF} or more are common practice: more parts or trials."
        blocks.append(Sentence(text, "caution"))
    if len(report.people) == 1:
        blocks.append(Sentence("One person read: what people differ by was not checked.", "not checked"))
    elif not crossed.is_pooled:
        text = "People differ part by part, beyond chance: agree on how to hold the instrument, then do it again."
        blocks.append(Sentence(text, "caution"))
    blocks.append(_band_sentence(report))
    if report.budget is not None:
        length = write_number(report.length_mm, 1)
        blocks.append(Heading(f"One reading of {length} mm with {report.instrument.id}"))
        blocks += budget_blocks(report.budget)
    return blocks


def budget_blocks(budget: Budget) -> list[Block]:
    """The uncertainty of a reading by component."""
    rows = tuple(
        (
            item.name,
            f"{item.std:.3g} {item.unit}",
            f"{item.sensitivity:.3g}",
            f"{item.contribution_mm:.4f}",
            _dof(item.dof),
            write_share(budget.share(item)),
            "all readings alike" if item.is_shared else "each reading",
            item.basis,
        )
        for item in budget.components
    )
    heads = ("component", "std", "times", "mm", "dof", "of variance", "acts on", "from")
    dof = _dof(budget.dof)
    total = f"Combined standard uncertainty {budget.std_mm:.4f} mm, effective degrees of freedom {dof}."
    return [Table(heads, rows, frozenset({1, 2, 3, 4, 5})), Sentence(total)]


def budget_plain(budget: Budget) -> dict[str, Any]:
    """A budget as keys; infinite degrees of freedom are null."""
    return {
        "std_mm": budget.std_mm,
        "dof": None if math.isinf(budget.dof) else budget.dof,
        "components": [
            {
                "name": item.name,
                "std": item.std,
                "unit": item.unit,
                "sensitivity": item.sensitivity,
                "contribution_mm": item.contribution_mm,
                "dof": None if math.isinf(item.dof) else item.dof,
                "is_shared": item.is_shared,
                "basis": item.basis,
            }
            for item in budget.components
        ],
    }


def gauge_plain(report: GaugeReport) -> dict[str, Any]:
    """Keys of `dryfit gauge --json`."""
    crossed, ranges = report.crossed, report.ranges
    between = crossed.reproducibility_interval
    return {
        "project": report.project,
        "instrument": report.instrument.id,
        "complete": True,
        "state": report.state,
        "record": report.record,
        "people": list(report.people),
        "parts": list(report.parts),
        "trials": report.trials,
        "repeatability_mm": crossed.repeatability,
        "dof": crossed.dof,
        "repeatability_low_95_mm": crossed.repeatability_interval.low,
        "repeatability_high_95_mm": crossed.repeatability_interval.high,
        "reproducibility_mm": crossed.reproducibility,
        "reproducibility_low_95_mm": None if between is None else between.low,
        "reproducibility_high_95_mm": None if between is None else between.high,
        "both_mm": crossed.both,
        "parts_std_mm": crossed.parts,
        "interaction_is_pooled": crossed.is_pooled,
        "by_ranges": None
        if ranges is None
        else {
            "repeatability_mm": ranges.repeatability,
            "dof": ranges.dof,
            "reproducibility_mm": ranges.reproducibility,
            "both_mm": ranges.both,
        },
        "decide_mm": None if report.band is None else report.band.width_mm,
        "decide": None if report.band is None else report.band.words,
        "share": report.share,
        "budget": None if report.budget is None else budget_plain(report.budget),
    }


def _spread_table(report: GaugeReport) -> Table:
    crossed, ranges = report.crossed, report.ranges
    checks = (
        (None, None, None) if ranges is None else (ranges.repeatability, ranges.reproducibility, ranges.both)
    )
    names = (
        "repeatability: one person, one part",
        "reproducibility: between people",
        "both: any person, one part",
    )
    values = (crossed.repeatability, crossed.reproducibility, crossed.both)
    rows = tuple(
        (name, NONE if value is None else _mm(value), NONE if check is None else _mm(check))
        for name, value, check in zip(names, values, checks, strict=True)
    )
    heads = ("standard deviation", "by analysis of variance, mm", "check by ranges, mm")
    return Table(heads, rows, frozenset({1, 2}))


def _band_sentence(report: GaugeReport) -> Sentence:
    share = report.share
    if report.band is None or share is None:
        text = (
            "What is to be decided was not stated, and no characteristic has two limits in mm: --decide MM."
        )
        return Sentence(text, "not checked")
    spread = SPREAD_STDS * report.reading_std_mm
    words = (
        f"Readings spread over {_mm(spread)} mm (6 standard deviations), {100.0 * share:.0f} % of the "
        f"{write_number(report.band.width_mm)} mm that are to be decided ({report.band.words})"
    )
    good, usable = f"{100 * GOOD_SHARE:.0f} %", f"{100 * USABLE_SHARE:.0f} %"
    if share <= GOOD_SHARE:
        return Sentence(f"{words}: below {good}, it decides.", "pass")
    if share <= USABLE_SHARE:
        return Sentence(f"{words}: between {good} and {usable}, take repeats and their mean.", "caution")
    do = "a finer instrument, a better hold, or many repeats"
    return Sentence(f"{words}: above {usable}, it does not decide. To do: {do}.", "stop")


def _mm(value: float) -> str:
    """Two significant digits of a standard deviation, or its third decimal where that is more."""
    if value <= 0.0 or math.isinf(value):
        return "0" if value <= 0.0 else "unbounded"
    return f"{value:.{max(0, 1 - math.floor(math.log10(value)))}f}"


def _dof(dof: float) -> str:
    return "inf" if math.isinf(dof) else f"{dof:.0f}"
