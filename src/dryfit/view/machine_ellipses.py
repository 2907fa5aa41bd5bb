"""How well the squareness figures are known, two by two: ellipses, and the band that the project bears."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.machine_page import MachineFacts
from dryfit.app.preflight_band import Band, Bands
from dryfit.app.preflight_records import FIGURE_OF, Plane
from dryfit.base.arrays import Array
from dryfit.model.machine import FIGURES
from dryfit.view.blocks import Block, Sentence, Table
from dryfit.view.digits import write_estimate, write_number
from dryfit.view.machine_ink import chart_svg, round_ticks, titled
from dryfit.view.sheet_ink import box, line, path, write

# Half axes over standard deviations of an ellipse that holds 95 % of a normal distribution in the plane: the root
# of the 95 % point of chi squared with two degrees of freedom, sqrt(-2 ln 0.05).
FACTOR_95 = math.sqrt(-2.0 * math.log(0.05))

_PAIRS: tuple[tuple[Plane, Plane], ...] = (("xz", "yz"), ("xz", "xy"), ("yz", "xy"))
_PANEL, _SIDE, _HEIGHT = 54.0, 36.0, 56.0
_LEFT, _TOP = 14.0, 7.5
_TYPE = 2.7
_NEAR = 4.0  # a zero, an edge or an earlier ellipse within so many reaches of the ellipse is drawn
_STEPS = 72


@dataclass(frozen=True, slots=True)
class _Panel:
    """One pair of figures: where it lies on the paper, and which values it shows."""

    left: float
    across: Plane
    up: Plane
    low: tuple[float, float]
    high: tuple[float, float]

    def at(self, value: Array) -> tuple[float, float]:
        return self.x(float(value[0])), self.y(float(value[1]))

    def x(self, value: float) -> float:
        return self.left + _LEFT + _SIDE * (value - self.low[0]) / (self.high[0] - self.low[0])

    def y(self, value: float) -> float:
        return _TOP + _SIDE * (self.high[1] - value) / (self.high[1] - self.low[1])

    def holds(self, place: int, value: float) -> bool:
        return self.low[place] <= value <= self.high[place]


def ellipse_points(middle: Array, covariance: Array, factor: float = FACTOR_95) -> Array:
    """(n, 2) points of the ellipse of a (2, 2) covariance about a (2,) middle."""
    values, vectors = np.linalg.eigh(covariance)
    turn = np.linspace(0.0, 2.0 * math.pi, _STEPS, endpoint=False)
    half = factor * np.sqrt(np.maximum(values, 0.0))
    points: Array = middle + np.stack([np.cos(turn) * half[0], np.sin(turn) * half[1]], axis=1) @ vectors.T
    return points


def ellipses_svg(facts: MachineFacts, bands: Bands | None) -> str:
    """Three panels, 95 % ellipses of the squareness figures that the forecast counts with.

    Drawn thin: the ellipse of the time before. Hatched: beyond what the project bears of one figure alone.
    """
    values = np.array([figure.value for figure in facts.figures])
    before = facts.before
    known = {} if bands is None else {band.plane: band for band in bands.bands}
    pieces: list[str] = []
    for number, pair in enumerate(_PAIRS):
        places = [FIGURES.index(FIGURE_OF[plane]) for plane in pair]
        block = np.ix_(places, places)
        now = ellipse_points(values[places], facts.covariance[block])
        old = None if before is None else ellipse_points(before.figures[places], before.covariance[block])
        pieces += _panel(number * _PANEL, pair, values[places], now, old, known)
    return chart_svg(
        pieces,
        3.0 * _PANEL,
        _HEIGHT,
        f"{facts.machine.id}: 95 % ellipses of the squareness figures, two by two",
        " ".join(_said(facts)),
    )


def _said(facts: MachineFacts) -> list[str]:
    return [f"{plane.upper()} {_estimate(facts, plane)} degrees." for plane in ("xz", "yz", "xy")]


def _estimate(facts: MachineFacts, plane: Plane) -> str:
    figure = facts.figures[FIGURES.index(FIGURE_OF[plane])]
    return write_estimate(figure.value, figure.std)


def _panel(
    left: float,
    pair: tuple[Plane, Plane],
    middle: Array,
    now: Array,
    old: Array | None,
    bands: Mapping[Plane, Band],
) -> list[str]:
    panel = _scaled(left, pair, middle, now, old, [bands.get(plane) for plane in pair])
    pieces = [box(panel.left + _LEFT, _TOP, _SIDE, _SIDE, "hair")]
    for place, plane in enumerate(pair):
        pieces += _beyond(panel, place, bands.get(plane))
    pieces += _zero(panel)
    if old is not None and all(panel.holds(i, float(v)) for point in old for i, v in enumerate(point)):
        outline = path([[panel.at(point) for point in old]], "narrow", True)
        pieces.append(titled("the qualification before", outline))
    outline = path([[panel.at(point) for point in now]], "ellipse wide", True)
    x, y = panel.at(middle)
    cross = (line(x - 1.0, y, x + 1.0, y, "wide"), line(x, y - 1.0, x, y + 1.0, "wide"))
    pieces.append(titled("95 % ellipse", outline, *cross))
    return [*pieces, *_scales(panel)]


def _scaled(
    left: float,
    pair: tuple[Plane, Plane],
    middle: Array,
    now: Array,
    old: Array | None,
    bands: Sequence[Band | None],
) -> _Panel:
    """One scale both ways, about the ellipse, wide enough for what lies near it."""
    reach = max(float(np.abs(now - middle).max()), 1e-4)
    marks = [[0.0], [0.0]]
    for place, band in enumerate(bands):
        if band is not None:
            marks[place] += [edge for edge in (band.low_deg, band.high_deg) if edge is not None]
    if old is not None:
        for place in (0, 1):
            marks[place] += [float(old[:, place].min()), float(old[:, place].max())]
    far = [
        abs(mark - float(middle[place]))
        for place in (0, 1)
        for mark in marks[place]
        if abs(mark - float(middle[place])) <= _NEAR * reach
    ]
    half = 1.25 * max([reach, *far])
    low = (float(middle[0]) - half, float(middle[1]) - half)
    high = (float(middle[0]) + half, float(middle[1]) + half)
    return _Panel(left, pair[0], pair[1], low, high)


def _beyond(panel: _Panel, place: int, band: Band | None) -> list[str]:
    """Hatching where one figure alone is more than the project bears, and the edge of its band."""
    if band is None:
        return []
    low, high = panel.low[place], panel.high[place]
    pieces = []
    if band.low_deg is not None and band.low_deg > low:
        pieces += _hatched(panel, place, low, min(band.low_deg, high))
    if band.high_deg is not None and band.high_deg < high:
        pieces += _hatched(panel, place, max(band.high_deg, low), high)
    return pieces


def _hatched(panel: _Panel, place: int, start: float, end: float) -> list[str]:
    x0, y0, x1, y1 = panel.x(panel.low[0]), _TOP, panel.x(panel.high[0]), _TOP + _SIDE
    if place == 0:
        x0, x1 = panel.x(start), panel.x(end)
    else:
        y0, y1 = panel.y(end), panel.y(start)
    strokes = []
    step = 1.6
    first = math.ceil((x0 + y0) / step)
    for index in range(first, math.floor((x1 + y1) / step) + 1):
        total = index * step
        begin, stop = max(x0, total - y1), min(x1, total - y0)
        if stop > begin:
            strokes.append([(begin, total - begin), (stop, total - stop)])
    outline = [[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]
    return [
        titled("beyond what the project bears", path(strokes, "lim-hatch"), path(outline, "hair", True)),
    ]


def _zero(panel: _Panel) -> list[str]:
    pieces = []
    if panel.holds(0, 0.0):
        pieces.append(line(panel.x(0.0), _TOP, panel.x(0.0), _TOP + _SIDE, "face"))
    if panel.holds(1, 0.0):
        pieces.append(
            line(panel.left + _LEFT, panel.y(0.0), panel.left + _LEFT + _SIDE, panel.y(0.0), "face")
        )
    return pieces


def _scales(panel: _Panel) -> list[str]:
    foot, left = _TOP + _SIDE, panel.left + _LEFT
    pieces = []
    across, decimals = round_ticks(panel.low[0], panel.high[0], 4)
    for tick in across:
        x = panel.x(tick)
        pieces += [line(x, foot, x, foot + 1.0, "narrow"), _label(x, foot + 4.0, tick, decimals, "middle")]
    up, decimals = round_ticks(panel.low[1], panel.high[1], 5)
    for tick in up:
        y = panel.y(tick)
        pieces += [line(left - 1.0, y, left, y, "narrow"), _label(left - 1.6, y + 0.9, tick, decimals, "end")]
    return [
        *pieces,
        write(left + 0.5 * _SIDE, foot + 8.2, f"{panel.across.upper()} in degrees", _TYPE, "middle", "soft"),
        write(left, _TOP - 2.2, f"{panel.up.upper()} in degrees", _TYPE, names="soft"),
    ]


def _label(x: float, y: float, value: float, decimals: int, anchor: str) -> str:
    text = f"{value:.{decimals}f}"
    return write(x, y, "0" if float(text) == 0.0 else text, _TYPE - 0.2, anchor)


def band_blocks(facts: MachineFacts, bands: Bands | None) -> list[Block]:
    """What the pictures show, and how far each figure may go."""
    blocks: list[Block] = [
        Sentence(
            "Each ellipse holds its two figures with 95 % probability, both together; thin: the time before, where it "
            "lies near. Hatched: beyond what this project bears of one figure, the others as they are."
        )
    ]
    if bands is None:
        return blocks
    if not bands.bands:
        why = (
            "No characteristic is within its limits with these figures, so that there is no band to keep."
            if bands.left_out
            else "No characteristic is stated, so that there is no band to keep."
        )
        return [*blocks, Sentence(why, "not checked", mark=True)]
    rows = tuple(
        (
            band.plane.upper(),
            _estimate(facts, band.plane),
            _edge(band.low_deg),
            _edge(band.high_deg),
            _by(band),
        )
        for band in bands.bands
    )
    heads = ("plane", "now, degrees", "bears from", "to", "set by")
    blocks.append(Table(heads, rows, frozenset({1, 2, 3})))
    if bands.left_out:
        count = len(bands.left_out)
        named = ", ".join(bands.left_out[:4]) + (f" and {count - 4} more" if count > 4 else "")
        blocks.append(
            Sentence(f"Out of limits already, so that they set no band: {named}.", "caution", mark=True)
        )
    return blocks


def _edge(value: float | None) -> str:
    return "no end" if value is None else write_number(value, 2)


def _by(band: Band) -> str:
    return ", ".join(dict.fromkeys(name for name in (band.low_by, band.high_by) if name)) or "-"
