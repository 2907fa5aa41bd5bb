"""The routine before a long print in words and rows: cautions, questions, what was found, what the charts say."""

from __future__ import annotations

import math
from typing import Any

from dryfit.app.preflight import PreflightReport
from dryfit.app.preflight_input import Entry
from dryfit.app.preflight_records import preflight_payload
from dryfit.app.preflight_watch import PROVISIONAL_BELOW, Watch
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import write_estimate
from dryfit.view.plain import to_plain

CAUTIONS = (
    "The nozzle and the bed stay hot long after a print: let them cool, or wear gloves and use tools.",
    "Motors start without warning: switch them off, and keep fingers, hair and sleeves out of belts and gantry.",
    "Pull the mains plug before any cover over wires or supply is opened; mains work is for a qualified person.",
    "Work on a heavy upright or gantry with two, and prop it before a fastener is loosened.",
)
# A line is not trusted farther ahead than this many times its own length (common practice, no source).
FORESEEN = 10.0
HELP = (
    "An answer for each line. Lines of the routine take ok, skip, or in words what is wrong. leave goes without "
    "recording anything."
)

# In the order of the work: nothing is squared before it is tight.
QUESTIONS: tuple[tuple[str, str], ...] = (
    ("hours", "hour meter of the machine, h: "),
    ("by", "who looks: "),
    ("adjusted", "what was turned or tightened since the last check, empty for nothing: "),
    ("fasteners", "fasteners of frame, uprights and gantry tight: "),
    ("belts", "belts tight and alike, pulleys fast on their shafts: "),
    ("bed", "bed clean, level cold and warm: "),
    ("nozzle", "nozzle clean and not worn: "),
    ("dry", "filament dry: "),
    ("filament_g", "filament on the spool, g (weigh it, less the empty spool): "),
    ("part", "part that is printed next, empty for the largest: "),
    ("against", "square held against upright or print, empty for upright: "),
    ("height_mm", "height of the gap over the stock, mm, as high as the square reaches: "),
    ("xz_gap_mm", "stock along X, blade up: gap, mm, positive at the tip, negative at the heel: "),
    ("yz_gap_mm", "stock along Y, blade up: gap, mm: "),
    ("xy_gap_mm", "stock along X, blade along Y, empty where it is not read: gap, mm: "),
)


def opening_lines(machine: str) -> list[str]:
    """What is said before the first question."""
    return [
        f"Before a long print on {machine}. Nothing is recorded before the last answer.",
        *(f"Caution: {text}" for text in CAUTIONS),
        HELP,
    ]


def left_line() -> str:
    """What is said where the routine was left."""
    return "left; nothing was recorded"


def summary_line(entry: Entry) -> str:
    """What is about to be recorded."""
    squares = ", ".join(f"{item.plane.upper()} {item.gap_mm:+g} mm" for item in entry.squares) or "no square"
    return f"At {entry.hours:g} h: {squares}. Record it? (yes or no) "


def preflight_blocks(report: PreflightReport) -> list[Block]:
    """Lines of the last check, then one paragraph for each squareness figure."""
    last = report.watching.last
    if last is None:
        return [
            Heading(f"{report.project}: {report.machine} was never checked before a print", "not checked"),
            *cautions(),
            Sentence(f"Begin with: dryfit preflight {report.machine} --hours N"),
        ]
    who = f" by {last.by}" if last.by else ""
    blocks: list[Block] = [
        Heading(
            f"{report.project}: {report.machine} at {last.hours:g} h, checked on {last.at[:10]}{who}: {report.state}",
            report.state,
        ),
        *cautions(),
        Table(
            ("check", "of", "state", "why", "what to do"),
            tuple((line.topic, line.subject, line.state, line.reason, line.do) for line in report.lines),
            states=tuple(line.state for line in report.lines),
        ),
    ]
    for watch in report.watching.watches:
        blocks += _watch_blocks(watch)
    blocks += _closing(report)
    return blocks


def cautions() -> list[Block]:
    """The cautions of the work."""
    return [Sentence(text, "caution", mark=True) for text in CAUTIONS]


def _watch_blocks(watch: Watch) -> list[Block]:
    count = len(watch.points)
    noun = "check" if count == 1 else "checks"
    blocks: list[Block] = [Heading(f"Squareness {watch.plane.upper()} over {count} {noun}"), _points(watch)]
    if watch.individuals is None or watch.ewma is None:
        blocks.append(Sentence("No chart yet: it takes two checks."))
        return blocks
    provisional = (
        "" if count >= PROVISIONAL_BELOW else f" Provisional: fewer than {PROVISIONAL_BELOW} points."
    )
    chart, ewma = watch.individuals, watch.ewma
    blocks.append(
        Sentence(
            f"Individuals: mean {chart.center:+.3f}, limits {chart.lower[-1]:+.3f} to {chart.upper[-1]:+.3f} degrees; "
            f"{_beyond(chart.is_outside.sum())}. Weighted average {ewma.points[-1]:+.3f}, limits {ewma.lower[-1]:+.3f} "
            f"to {ewma.upper[-1]:+.3f}; {_beyond(ewma.is_outside.sum())}.{provisional}"
        )
    )
    blocks.append(Sentence(drift_words(watch)))
    return blocks


def _points(watch: Watch) -> Table:
    rows = tuple(
        (
            f"{point.hours:g}",
            point.at[:10],
            write_estimate(point.skew_deg, point.std_deg),
            "" if watch.ewma is None else f"{watch.ewma.points[index]:+.3f}",
            str(point.record),
        )
        for index, point in list(enumerate(watch.points))[-12:]
    )
    heads = ("hours", "on", "skew in degrees", "weighted average", "record")
    return Table(heads, rows, frozenset({0, 2, 3, 4}))


def drift_words(watch: Watch) -> str:
    """Drift per hundred hours with its uncertainty, and when it leaves the band."""
    if watch.drift is None:
        return "No drift can be told: the checks are all at one hour."
    rate = write_estimate(100.0 * watch.drift.rate, 100.0 * watch.drift.rate_std)
    told = "" if watch.is_drifting else " (no more than chance)"
    words = f"Drift {rate} degrees per hundred hours{told}."
    if not watch.has_band:
        return f"{words} No characteristic of the project minds it within 2 degrees."
    if watch.leaving is None or watch.leaving.earliest is None:
        return f"{words} At that rate it does not leave its band."
    left = watch.leaving.earliest - watch.last.hours
    if left <= 0.0:
        return f"{words} A further reading may lie out of the band already, at 95 %."
    span = watch.last.hours - watch.points[0].hours
    if left > FORESEEN * span:
        return f"{words} It stays in its band for longer than {FORESEEN:g} times the hours watched so far."
    day = f", {watch.leaves_on}" if watch.leaves_on else ""
    line = watch.leaving.expected
    expected = "" if line is None else f"; the line itself at {line:.0f} h"
    return (
        f"{words} At 95 % a reading may leave the band from {watch.leaving.earliest:.0f} h on, {left:.0f} hours from "
        f"now{day}{expected}."
    )


def _beyond(count: int) -> str:
    return "no point beyond" if count == 0 else f"{count} point{'' if count == 1 else 's'} beyond"


def _closing(report: PreflightReport) -> list[Block]:
    watching = report.watching
    every = f"every {watching.interval_h:g} hours, {watching.interval_from}"
    sentences = [f"The next check is due at {watching.due_hours:g} h: {every}."]
    if any(watch.reference_deg != 0.0 for watch in watching.watches):
        sentences.append(
            "The square was held against an upright: its band is counted from the check nearest to the last "
            "qualification, or from the first of the series."
        )
    if report.bands.left_out:
        names = ", ".join(report.bands.left_out[:6])
        sentences.append(
            f"Left out of the bands, as they are beyond the risk or undetermined already: {names}."
        )
    if report.recorded:
        numbers = ", ".join(str(number) for number in report.recorded[:8])
        sentences.append(f"Recorded in the ledger: {numbers}.")
    return [Sentence(text, mark=True) for text in sentences]


def preflight_plain(report: PreflightReport) -> dict[str, Any]:
    """Keys of `dryfit preflight --json`."""
    watching = report.watching
    last = watching.last
    return {
        "project": report.project,
        "machine": report.machine,
        "state": report.state,
        "recorded": list(report.recorded),
        "last": None if last is None else {"record": last.record, **preflight_payload(last)},
        "checks": [to_plain(line) for line in report.lines],
        "squareness": [_watch_plain(watch) for watch in watching.watches],
        "hours_per_day": watching.hours_per_day,
        "interval_h": watching.interval_h,
        "interval_from": watching.interval_from,
        "due_hours": watching.due_hours,
        "left_out": list(report.bands.left_out),
        "cautions": list(CAUTIONS),
    }


def _watch_plain(watch: Watch) -> dict[str, Any]:
    drift, leaving = watch.drift, watch.leaving
    return {
        "figure": watch.figure,
        "points": [to_plain(point) for point in watch.points],
        "band_low_deg": watch.low_deg,
        "band_high_deg": watch.high_deg,
        "band_low_by": watch.low_by,
        "band_high_by": watch.high_by,
        "reference_deg": watch.reference_deg,
        "individuals": _chart_plain(watch.individuals),
        "ewma": _chart_plain(watch.ewma),
        "drift_deg_per_100_h": None if drift is None else 100.0 * drift.rate,
        "drift_std_deg_per_100_h": None if drift is None else 100.0 * drift.rate_std,
        "drift_p_value": None if drift is None else drift.p_value,
        "drift_dof": None if drift is None or math.isinf(drift.dof) else drift.dof,
        "leaves_band_from_hours": None if leaving is None else leaving.earliest,
        "line_leaves_band_at_hours": None if leaving is None else leaving.expected,
        "leaves_on": watch.leaves_on,
    }


def _chart_plain(chart: Any) -> dict[str, Any] | None:
    if chart is None:
        return None
    return {
        "points_deg": chart.points.tolist(),
        "center_deg": chart.center,
        "lower_deg": chart.lower.tolist(),
        "upper_deg": chart.upper.tolist(),
        "std_deg": chart.std,
        "outside": chart.is_outside.tolist(),
    }
