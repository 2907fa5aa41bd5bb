"""The readings against the figures that they gave: how far each lies off, in its own standard deviations."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from dryfit.app.qualify_report import QualifyReport, ReadReport
from dryfit.view.digits import write_number
from dryfit.view.machine_ink import chart_svg, titled
from dryfit.view.sheet_ink import arrow, box, line, write

_WIDTH, _HEIGHT = 160.0, 62.0
_LEFT, _RIGHT, _TOP, _FOOT = 10.0, 3.0, 5.0, 12.0
_MOST = 5.0  # standard deviations that are drawn; what lies beyond is an arrow at the edge
_TYPE = 2.6
_USUAL = 2.0  # within this lie 95 % of readings


def residuals_svg(report: QualifyReport) -> str:
    """One mark per reading over the number of its measure; suspects are squares with their record."""
    readings = sorted(report.readings, key=lambda item: (item.number, item.record))
    suspects = {report.readings[place].record for item in report.suspects for place in item.places}
    numbers = sorted({item.number for item in readings})
    room = (_WIDTH - _LEFT - _RIGHT) / max(len(numbers), 1)
    pieces = _grid()
    for column, (_, group) in enumerate(groupby(readings, key=lambda item: item.number)):
        pieces += _column(_LEFT + room * column, room, list(group), suspects)
    pieces += _foot_marks(numbers, room)
    return chart_svg(
        pieces,
        _WIDTH,
        _HEIGHT,
        f"{report.machine}: departure of {len(readings)} readings",
        residual_words(report),
    )


def residual_words(report: QualifyReport) -> str:
    """How many readings lie where."""
    judged = [item for item in report.readings if item.off_std is not None]
    beyond = sum(1 for item in judged if abs(item.off_std or 0.0) > _USUAL)
    words = f"{beyond} of {len(judged)} readings lie farther off than 2 standard deviations"
    words += f"; {_expected(len(judged))} would by chance." if judged else "."
    free = len(report.readings) - len(judged)
    if free:
        words += f" {free} {'is' if free == 1 else 'are'} controlled by nothing: rings on the line."
    return words


def _expected(count: int) -> str:
    about = round(0.0455 * count)  # of a normal distribution beyond two standard deviations
    return f"about {about}" if about else "hardly any"


def _y(off: float) -> float:
    tall = _HEIGHT - _TOP - _FOOT
    return _TOP + tall * (_MOST - off) / (2.0 * _MOST)


def _grid() -> list[str]:
    pieces = [box(_LEFT, _y(_USUAL), _WIDTH - _LEFT - _RIGHT, _y(-_USUAL) - _y(_USUAL), "body")]
    for value in (-4, -2, 0, 2, 4):
        kind = "narrow" if value == 0 else "hair"
        pieces += [
            line(_LEFT, _y(value), _WIDTH - _RIGHT, _y(value), kind),
            write(_LEFT - 1.4, _y(value) + 0.9, f"{value:+d}" if value else "0", _TYPE, "end"),
        ]
    return pieces


def _column(left: float, room: float, group: Sequence[ReadReport], suspects: set[int]) -> list[str]:
    pieces = []
    for place, item in enumerate(group):
        x = left + room * (place + 1.0) / (len(group) + 1.0)
        pieces.append(titled(_title(item), _mark(x, item, item.record in suspects)))
    return pieces


def _mark(x: float, item: ReadReport, is_suspect: bool) -> str:
    if item.off_std is None:
        return f'<circle class="ring" cx="{x:.2f}" cy="{_y(0.0):.2f}" r="0.7"/>'
    if abs(item.off_std) > _MOST:
        side = 1.0 if item.off_std > 0 else -1.0
        y = _y(side * _MOST)
        drawn = arrow((x, y), (0.0, -side), 2.4)
    else:
        y = _y(item.off_std)
        drawn = f'<circle class="point" cx="{x:.2f}" cy="{y:.2f}" r="0.75"/>'
    if not is_suspect:
        return drawn
    inside = y + 4.2 if y < _HEIGHT / 2 else y - 2.6
    label = write(min(x, _WIDTH - 12.0), inside, f"record {item.record}", _TYPE, "middle")
    return box(x - 1.1, y - 1.1, 2.2, 2.2, "s-stop") + label


def _title(item: ReadReport) -> str:
    off = "not controlled" if item.off_std is None else f"{item.off_std:+.1f} std"
    return (
        f"record {item.record}, measure {item.number} ({item.kind}): {write_number(item.at_20_mm)} mm, "
        f"by the figures {write_number(item.predicted_mm)} mm, {off}"
    )


def _foot_marks(numbers: Sequence[int], room: float) -> list[str]:
    base = _HEIGHT - _FOOT
    every = max(1, round(len(numbers) / 24))
    pieces = [
        write(_LEFT + room * (column + 0.5), base + 3.6, str(number), _TYPE - 0.2, "middle")
        for column, number in enumerate(numbers)
        if column % every == 0
    ]
    words = "measure; up: longer than the figures say, in standard deviations of the departure"
    return [*pieces, write(_LEFT, base + 8.2, words, _TYPE, names="soft")]
