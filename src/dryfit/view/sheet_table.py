"""The characteristics of a forecast as rows of a sheet, each with its limits picture."""

from __future__ import annotations

from dryfit.app.drawing import Drawing
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.view.blocks import State
from dryfit.view.digits import write_estimate, write_probability
from dryfit.view.forecast import main_causes, state_of
from dryfit.view.sheet_ink import line, number, shorten, state_mark, wrap, write
from dryfit.view.sheet_limits import limits_picture
from dryfit.view.sources import describe_source

_GRAVEST: tuple[State, ...] = ("stop", "not checked", "caution", "pass")
_TEXT, _SMALL, _HEAD = 3.0, 2.35, 2.2
_PICTURE = 60.0
# From the left edge of the table: state, id, the decimal point of the value, its unit, what lies outside.
_STATE, _ID, _POINT, _UNIT, _OUTSIDE = 1.0, 6.0, 69.0, 86.0, 112.0
_LEAST, _MOST = 13.2, 24.0


def table(
    drawing: Drawing, report: ForecastReport, x: float, y: float, width: float, height: float
) -> list[str]:
    """As many rows as go into the height, the gravest first; what is left out is counted."""
    items = _in_order(report)
    pieces = _heads(x, y, width)
    top, room = y + 5.0, height - 5.0
    fitting = int(room / _LEAST)
    shown = items if len(items) <= fitting else items[: int((room - 4.5) / _LEAST)]
    tall = min(_MOST, room / max(len(shown), 1)) if len(items) <= fitting else _LEAST
    for index, item in enumerate(shown):
        at = top + index * tall
        pieces += _row(item, report.risk, x, at, width, tall, item.id == drawing.worst)
        pieces.append(line(x, at + tall, x + width, at + tall, "hair"))
    if len(shown) < len(items):
        pieces.append(
            write(x + _ID, top + len(shown) * tall + 3.4, _left_out(items[len(shown) :], report.risk))
        )
    if not items:
        pieces.append(write(x + _ID, top + 6, "No characteristic is stated."))
    return pieces


def _in_order(report: ForecastReport) -> list[CharacteristicForecast]:
    return sorted(report.characteristics, key=lambda item: _GRAVEST.index(state_of(item, report.risk)))


def _left_out(items: list[CharacteristicForecast], risk: float) -> str:
    states = [state_of(item, risk) for item in items]
    counts = ", ".join(f"{states.count(state)} {state}" for state in _GRAVEST if state in states)
    return f"and {len(items)} more that do not go on this sheet: {counts}"


def _heads(x: float, y: float, width: float) -> list[str]:
    base = y + 3.2
    return [
        write(x + _ID, base, "characteristic", _HEAD, names="soft"),
        write(x + _POINT, base, "predicted (std)", _HEAD, "middle", "soft"),
        write(x + _OUTSIDE, base, "outside", _HEAD, "end", "soft"),
        write(x + width - 0.5 * _PICTURE, base, "limits and prediction", _HEAD, "middle", "soft"),
        line(x, y + 5.0, x + width, y + 5.0, "narrow"),
    ]


def _row(
    item: CharacteristicForecast, risk: float, x: float, y: float, width: float, tall: float, is_worst: bool
) -> list[str]:
    state = state_of(item, risk)
    base = y + 4.4
    bold = "bold" if is_worst else ""
    pieces = []
    if is_worst:
        pieces.append(line(x - 1.2, y + 1.2, x - 1.2, y + tall - 1.2, "wide"))
    pieces.append(state_mark(x + _STATE + 1.5, base - 1.1, state))
    pieces.append(write(x + _ID, base, shorten(item.id, _TEXT, 52.0), _TEXT, names=bold))
    pieces += _value(item, x + _POINT, base, bold)
    pieces.append(write(x + _UNIT, base, item.unit, _SMALL, names="soft"))
    outside = "" if item.p_out is None else write_probability(item.p_out)
    pieces.append(write(x + _OUTSIDE, base, outside, _TEXT, "end", bold))
    words = f"{state}; {_causes(item)}"
    for number_of, text in enumerate(wrap(words, _SMALL, _OUTSIDE - _ID - 1.0, 2)):
        pieces.append(write(x + _ID, base + 3.6 + 3.1 * number_of, text, _SMALL, names="soft"))
    picture = limits_picture(item, risk, _PICTURE, tall - 1.6)
    pieces.append(f'<g transform="translate({number(x + width - _PICTURE)} {number(y + 0.8)})">{picture}</g>')
    return pieces


def _value(item: CharacteristicForecast, point: float, base: float, bold: str) -> list[str]:
    """The value, so that decimal points stand under one another."""
    if item.p_out is None:
        return [write(point, base, "undetermined", _TEXT, "middle", bold)]
    text = write_estimate(item.predicted, item.std)
    whole, dot, rest = text.partition(".")
    if not dot:
        whole, bracket, rest = text.partition("(")
        dot = bracket
    return [
        write(point, base, whole, _TEXT, "end", bold),
        write(point, base, f"{dot}{rest}", _TEXT, names=bold),
    ]


def _causes(item: CharacteristicForecast) -> str:
    """Main causes, the sources in plain words."""
    words = main_causes(item)
    if not words:
        return "no cause stands out"
    named = []
    for text in words:
        source, _, rest = text.partition(" ")
        named.append(f"{describe_source(source)} {rest}")
    return ", ".join(named)
