"""The history of a squareness figure as a drawing: readings, their chart, the drift ahead, and the band."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from dryfit.app.preflight_watch import COVERAGE, Watch
from dryfit.view.digits import write_number
from dryfit.view.preflight import drift_words
from dryfit.view.sheet_ink import STYLE, box, line, path, state_mark, text_width, write

_LABEL = 2.4
_LEFT, _RIGHT, _TOP, _FOOT = 15.0, 38.0, 7.0, 8.0
_STEPS = 48
_AHEAD = 0.5  # of the hours so far are drawn ahead, at most to where the band is left
_GAP = 2.8  # between labels that would touch
_FAR = 6.0  # spans of the readings: an end of the band farther off is named, not drawn

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where hours and degrees lie on the paper; x to the right and y down [mm]."""

    width: float
    height: float
    hours: tuple[float, float]
    degrees: tuple[float, float]

    @property
    def right(self) -> float:
        return self.width - _RIGHT

    @property
    def base(self) -> float:
        return self.height - _FOOT

    def x(self, hours: float) -> float:
        low, high = self.hours
        return _LEFT + (hours - low) * (self.right - _LEFT) / (high - low)

    def y(self, degrees: float) -> float:
        low, high = self.degrees
        return self.base - (degrees - low) * (self.base - _TOP) / (high - low)


def history_picture(watch: Watch, width: float = 180.0, height: float = 62.0) -> str:
    """A fragment of SVG from (0, 0) to (width, height), in the classes of the sheet's style.

    Heavy lines: the band that the project bears. Dashed: limits of the individuals chart. Points: readings, a filled
    square where one lies out of the band. Polyline: weighted average, between its limits. Ahead of the last reading:
    the drift, and where a further reading lies at 95 %.
    """
    frame = _frame(watch, width, height)
    pieces = [f'<g role="img"><title>{escape(_title(watch))}</title>']
    pieces += _ahead(watch, frame)
    pieces += _scales(frame)
    labels = [*_band(watch, frame, pieces), *_limits(watch, frame, pieces)]
    pieces += _average(watch, frame)
    pieces += _points(watch, frame)
    pieces += _spread_labels(labels, frame)
    name = f"squareness {watch.plane.upper()}, degrees, over hours of printing"
    pieces.append(write(_LEFT, _TOP - 3.2, name, _LABEL, "start", "bold"))
    key = "points: readings, limits dashed; line: weighted average, limits thin; grey: ahead, 95 %"
    pieces.append(write(width - 1.0, _TOP - 3.2, key, 0.85 * _LABEL, "end", "soft"))
    return "".join([*pieces, "</g>"])


def history_svg(watches: Sequence[Watch], width: float = 180.0, height: float = 62.0) -> str:
    """One SVG that needs nothing else, with a picture for each figure one below the other."""
    whole = height * max(len(watches), 1)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dryfit-sheet" viewBox="0 0 {width:g} {whole:g}" '
        f'width="{width:g}mm" height="{whole:g}mm"><style>{STYLE}</style>{box(0, 0, width, whole, "paper")}'
    )
    parts = [
        f'<g transform="translate(0 {index * height:g})">{history_picture(watch, width, height)}</g>'
        for index, watch in enumerate(watches)
    ]
    return "".join([head, *parts, "</svg>"])


def _title(watch: Watch) -> str:
    last = watch.last
    return (
        f"Squareness {watch.plane.upper()}: {len(watch.points)} readings, the last {last.skew_deg:+.3f} degrees at "
        f"{last.hours:g} h. {drift_words(watch)}"
    )


def _frame(watch: Watch, width: float, height: float) -> _Frame:
    first, last = watch.points[0].hours, watch.last.hours
    span = (last - first) or 10.0
    until = last + _AHEAD * span
    if watch.leaving is not None and watch.leaving.earliest is not None:
        leaves = watch.leaving.earliest + 0.1 * span
        until = max(until, leaves) if leaves < last + 1.5 * span else until
    values = [p.skew_deg + side * p.std_deg for p in watch.points for side in (-1.0, 1.0)]
    if watch.individuals is not None:
        values += [float(watch.individuals.lower[0]), float(watch.individuals.upper[0])]
    if watch.drift is not None:
        reach = watch.drift.factor(COVERAGE) * watch.drift.prediction_std(until)
        values += [watch.drift.value(until) - reach, watch.drift.value(until) + reach]
    size = max(max(values) - min(values), 2.0 * watch.last.std_deg, 1e-6)
    middle = 0.5 * (max(values) + min(values))
    values += [
        end for end in (watch.low_deg, watch.high_deg) if end is not None and abs(end - middle) < _FAR * size
    ]
    low, high = min(values), max(values)
    margin = 0.12 * ((high - low) or size)
    return _Frame(width, height, (first - 0.04 * span, until), (low - margin, high + margin))


def _scales(frame: _Frame) -> list[str]:
    pieces = [line(_LEFT, frame.base, frame.right, frame.base), line(_LEFT, frame.base, _LEFT, _TOP)]
    for hours in _round_steps(*frame.hours):
        x = frame.x(hours)
        pieces += [
            line(x, frame.base, x, frame.base + 1.2),
            write(x, frame.base + 4.2, write_number(hours), _LABEL, "middle", "soft"),
        ]
    for degrees in _round_steps(*frame.degrees):
        y = frame.y(degrees)
        pieces += [
            line(_LEFT - 1.2, y, _LEFT, y),
            line(_LEFT, y, frame.right, y, "hair"),
            write(_LEFT - 1.8, y + 0.8, write_number(degrees), _LABEL, "end", "soft"),
        ]
    pieces.append(write(frame.right, frame.base + 7.2, "h", _LABEL, "end", "soft"))
    return pieces


def _round_steps(low: float, high: float, most: int = 6) -> list[float]:
    """Round values within a span: 1, 2 or 5 times a power of ten apart."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough)
    first = math.ceil(low / step)
    return [number * step for number in range(first, math.floor(high / step) + 1)]


def _band(watch: Watch, frame: _Frame, pieces: list[str]) -> list[tuple[float, str]]:
    """Lines of the band; the labels beside them."""
    labels = []
    for end, name in ((watch.high_deg, watch.high_by), (watch.low_deg, watch.low_by)):
        if end is None:
            continue
        is_drawn = frame.degrees[0] <= end <= frame.degrees[1]
        if is_drawn:
            pieces.append(line(_LEFT, frame.y(end), frame.right, frame.y(end), "lim-axis"))
        y = frame.y(end) if is_drawn else _TOP if end > frame.degrees[1] else frame.base - _GAP
        # Too far off to be drawn to scale: named at the edge.
        labels += [(y, f"band {end:+.3f}{'' if is_drawn else ', off the sheet'}"), (y + 0.01, f"by {name}")]
    return labels


def _limits(watch: Watch, frame: _Frame, pieces: list[str]) -> list[tuple[float, str]]:
    chart = watch.individuals
    if chart is None:
        return []
    x = frame.x(watch.last.hours)
    labels = []
    for value, words in (
        (float(chart.upper[0]), "limit of chance"),
        (chart.center, "mean"),
        (float(chart.lower[0]), "limit of chance"),
    ):
        y = frame.y(value)
        pieces.append(line(_LEFT, y, x, y, "nominal" if words == "mean" else "face"))
        labels.append((y, f"{words} {value:+.3f}"))
    return labels


def _ahead(watch: Watch, frame: _Frame) -> list[str]:
    drift = watch.drift
    if drift is None:
        return []
    width = drift.factor(COVERAGE)
    start, end = watch.last.hours, frame.hours[1]
    times = [start + (end - start) * step / _STEPS for step in range(_STEPS + 1)]
    low, high = frame.degrees

    def at(time: float, side: float) -> Point:
        value = drift.value(time) + side * width * drift.prediction_std(time)
        return frame.x(time), frame.y(min(max(value, low), high))

    wedge = [at(time, 1.0) for time in times] + [at(time, -1.0) for time in reversed(times)]
    first = watch.points[0].hours
    ends = [(frame.x(time), frame.y(drift.value(time))) for time in (first, end)]
    pieces = [path([wedge], "lim-curve", is_closed=True), path([ends], "face")]
    if watch.leaving is not None and watch.leaving.earliest is not None:
        leaves = watch.leaving.earliest
        if start <= leaves <= end:
            x = frame.x(leaves)
            day = f", {watch.leaves_on}" if watch.leaves_on else ""
            pieces += [
                line(x, frame.base, x, _TOP, "narrow"),
                write(x - 0.8, _TOP + 2.4, f"may leave from {leaves:.0f} h on{day}", _LABEL, "end", "halo"),
            ]
    return pieces


def _average(watch: Watch, frame: _Frame) -> list[str]:
    if watch.ewma is None:
        return []
    run = [
        (frame.x(point.hours), frame.y(float(value)))
        for point, value in zip(watch.points, watch.ewma.points, strict=True)
    ]
    pieces = [path([run], "narrow")]
    for limits in (watch.ewma.lower, watch.ewma.upper):
        edge = [
            (frame.x(point.hours), frame.y(float(value)))
            for point, value in zip(watch.points, limits, strict=True)
        ]
        pieces.append(path([edge], "nominal"))
    return pieces


def _points(watch: Watch, frame: _Frame) -> list[str]:
    low = -math.inf if watch.low_deg is None else watch.low_deg
    high = math.inf if watch.high_deg is None else watch.high_deg
    pieces = []
    for point in watch.points:
        x, y = frame.x(point.hours), frame.y(point.skew_deg)
        reach = frame.y(point.skew_deg - point.std_deg) - y
        pieces.append(line(x, y - reach, x, y + reach, "narrow"))
        if low <= point.skew_deg <= high:
            pieces.append(f'<circle class="arrow" cx="{x:.2f}" cy="{y:.2f}" r="0.75"/>')
        else:
            pieces.append(state_mark(x, y, "stop", 2.2))
    return pieces


def _spread_labels(labels: list[tuple[float, str]], frame: _Frame) -> list[str]:
    """Labels at the right, moved apart where they would touch."""
    pieces = []
    least = -math.inf
    ordered = sorted(labels)
    # From the top down; where they run over the foot, all are lifted by that much.
    places = []
    for y, _ in ordered:
        least = max(y, least + _GAP)
        places.append(least)
    over = max(places[-1] - frame.base, 0.0) if places else 0.0
    for (_, words), y in zip(ordered, places, strict=True):
        shown = words
        while text_width(shown, _LABEL) > _RIGHT - 1.5 and len(shown) > 8:
            shown = f"{shown[:-4]}..."
        pieces.append(write(frame.right + 1.2, y - over + 0.8, shown, _LABEL, "start", "soft"))
    return pieces
