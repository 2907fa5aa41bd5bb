"""The figures of a machine over time: qualifications with error bars, and squares held before long prints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from dryfit.app.machine_page import MachineFacts
from dryfit.app.preflight_records import FIGURE_OF
from dryfit.model.machine import FIGURES
from dryfit.view.digits import write_number
from dryfit.view.machine_ink import chart_svg, round_ticks, titled
from dryfit.view.qualify import unit_of
from dryfit.view.sheet_ink import line, path, write
from dryfit.view.sources import describe_figure

_COLUMN, _ROW = 78.0, 31.0
_LEFT, _WIDE, _TOP, _TALL = 15.0, 58.0, 7.0, 18.0
_TYPE = 2.6
_DAY_S = 86400.0
# Where a figure was known once only, or within a day, so much time is shown about it.
_LEAST_SPAN_S = 2.0 * _DAY_S


@dataclass(frozen=True, slots=True)
class _Mark:
    """One value in the unit in which people read it. kind: qualification, or print for a square held to one."""

    moment: float
    value: float
    reach: float
    kind: str
    title: str


def history_svgs(facts: MachineFacts) -> tuple[str, ...]:
    """One small chart per figure, in the order of FIGURES; bars are 95 % expanded uncertainties."""
    marks = [_marks(facts, place) for place in range(len(FIGURES))]
    span = _span([mark.moment for found in marks for mark in found])
    return tuple(
        chart_svg(_chart(0.0, 0.0, name, found, span), _COLUMN, _ROW, _said(name, found))
        for name, found in zip(FIGURES, marks, strict=True)
    )


def _said(name: str, found: Sequence[_Mark]) -> str:
    words = describe_figure(name)
    return f"{words} over time: {'; '.join(mark.title for mark in found) or 'never measured'}"


def history_words(facts: MachineFacts) -> str:
    """What the marks are."""
    words = "Discs: qualifications, with their 95 % expanded uncertainty."
    kinds = {facts.against[point.record] for points in facts.squares.values() for point in points}
    return f"{words} Rings: a square held to a printed edge." if "print" in kinds else words


def _marks(facts: MachineFacts, place: int) -> list[_Mark]:
    name = FIGURES[place]
    unit, factor = unit_of(name)
    found = [
        _mark(past.at, factor * past.values[place], factor * past.expanded[place], "qualification", unit)
        for past in facts.history
    ]
    for plane, points in facts.squares.items():
        if FIGURE_OF[plane] == name:
            found += [
                _mark(point.at, point.skew_deg, 2.0 * point.whole_std_deg, "print", unit)
                for point in points
                if facts.against.get(point.record) == "print"
            ]
    return found


def _mark(at: str, value: float, reach: float, kind: str, unit: str) -> _Mark:
    title = f"{at[:16].replace('T', ' ')}: {write_number(value)} +- {write_number(reach)} {unit}"
    return _Mark(datetime.fromisoformat(at).timestamp(), value, reach, kind, title)


def _span(moments: Sequence[float]) -> tuple[float, float]:
    if not moments:
        return 0.0, _LEAST_SPAN_S
    first, last = min(moments), max(moments)
    if last - first < _LEAST_SPAN_S:
        middle = 0.5 * (first + last)
        return middle - 0.5 * _LEAST_SPAN_S, middle + 0.5 * _LEAST_SPAN_S
    margin = 0.04 * (last - first)
    return first - margin, last + margin


def _chart(
    left: float, top: float, name: str, found: Sequence[_Mark], span: tuple[float, float]
) -> list[str]:
    unit, _ = unit_of(name)
    words = describe_figure(name)
    start, base = left + _LEFT, top + _TOP + _TALL
    pieces = [
        write(start, top + 4.2, f"{words}, {unit}", 2.8),
        line(start, base, start + _WIDE, base, "narrow"),
        *_dates(start, base, span),
    ]
    if not found:
        return [*pieces, write(start, top + _TOP + 0.5 * _TALL, "never measured", _TYPE, names="soft")]
    low, high = _range(found)

    def x(moment: float) -> float:
        return start + _WIDE * (moment - span[0]) / (span[1] - span[0])

    def y(value: float) -> float:
        return base - _TALL * (value - low) / (high - low)

    if low <= 0.0 <= high:
        pieces.append(line(start, y(0.0), start + _WIDE, y(0.0), "face"))
    ticks, decimals = round_ticks(low, high, 3)
    for tick in ticks:
        text = f"{tick:.{decimals}f}"
        pieces += [
            line(start - 1.0, y(tick), start, y(tick), "narrow"),
            write(start - 1.6, y(tick) + 0.9, "0" if float(text) == 0.0 else text, _TYPE, "end"),
        ]
    qualified = [(x(mark.moment), y(mark.value)) for mark in found if mark.kind == "qualification"]
    pieces.append(path([qualified], "hair") if len(qualified) > 1 else "")
    for mark in found:
        place = x(mark.moment)
        bar = line(place, y(mark.value - mark.reach), place, y(mark.value + mark.reach), "narrow")
        pieces.append(titled(mark.title, bar, _sign(place, y(mark.value), mark.kind)))
    return pieces


def _range(found: Sequence[_Mark]) -> tuple[float, float]:
    low = min(mark.value - mark.reach for mark in found)
    high = max(mark.value + mark.reach for mark in found)
    if high == low:
        low, high = low - 1.0, high + 1.0
    # Zero belongs to it where it is near: then it is seen whether the figure is told from zero.
    if 0.0 < low <= 0.5 * (high - low) or -0.5 * (high - low) <= high < 0.0:
        low, high = min(low, 0.0), max(high, 0.0)
    margin = 0.08 * (high - low)
    return low - margin, high + margin


def _sign(x: float, y: float, kind: str) -> str:
    names = "point" if kind == "qualification" else "ring"
    return f'<circle class="{names}" cx="{x:.2f}" cy="{y:.2f}" r="0.9"/>'


def _dates(start: float, base: float, span: tuple[float, float]) -> list[str]:
    days = [datetime.fromtimestamp(moment, UTC).date().isoformat() for moment in span]
    return [
        write(start, base + 3.8, days[0], _TYPE, names="soft"),
        write(start + _WIDE, base + 3.8, days[1], _TYPE, "end", "soft"),
    ]
