"""The limits picture: a line between two limit ticks, the prediction as a curve over it, the rest hatched."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from html import escape

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.model.forecast import CharacteristicForecast
from dryfit.view.digits import write_limits, write_number, write_probability
from dryfit.view.forecast import state_of
from dryfit.view.sheet_ink import line, path, path_of, places, text_width, write

_REACH = 3.6  # standard deviations of the curve to either side; less than 4 in 10,000 lies beyond
_STEPS = 96
_LABEL = 2.2
_FOOT = 3.4  # under the line: ticks and the figures of the limits
_BREAK = 3.0  # width of a break in the line
_FAR = 1.2  # limits and curve farther apart than this many times what they cover are drawn with a break
_HATCH = 1.1
_HATCH_STEP = 0.05  # where a slanting line begins and ends is found to this

Point = tuple[float, float]
Scale = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class LimitsGeometry:
    """The picture as geometry; x to the right and y down, from the upper left corner.

    base         height of the line
    to_x         from a value to its place; within the curve and within the limits one scale holds
    lower, upper places of the limits; None where there is none
    curve        points of the curve from left to right, () where nothing is predicted or nothing spreads
    predicted    place of the predicted value; None where it is undetermined
    break_at     place of the break between limits and curve; None where the line is whole
    """

    base: float
    to_x: Scale
    lower: float | None
    upper: float | None
    curve: tuple[Point, ...]
    predicted: float | None
    break_at: float | None

    def is_outside(self, x: float | Array) -> BoolArray:
        """Which places lie out of limits; in the shape of x."""
        places = np.asarray(x, dtype=np.float64)
        outside: BoolArray = np.zeros(places.shape, dtype=np.bool_)
        if self.lower is not None:
            outside = outside | (places < self.lower)
        if self.upper is not None:
            outside = outside | (places > self.upper)
        return outside


def limits_picture(
    item: CharacteristicForecast,
    risk: float,
    width: float,
    height: float,
    beside: CharacteristicForecast | None = None,
    said: str = "",
) -> str:
    """The picture as a fragment of SVG from (0, 0) to (width, height), in the classes of the sheet's style.

    beside : what is drawn to the same scale in another picture, so that the two can be compared
    said : what it says to those who do not see it, instead of limits, probability and state

    The curve is normal with the predicted value and standard uncertainty, also where draws gave the
    probability. Nothing is drawn of the curve where the value is undetermined.
    """
    shape = limits_geometry(item, width, height, beside)
    pieces = [f'<g role="img"><title>{escape(said or _title(item, risk))}</title>']
    if shape.curve:
        edge = places(shape.curve)
        start, end = places([(shape.curve[0][0], shape.base), (shape.curve[-1][0], shape.base)])
        pieces.append(path_of([[start, *edge, end]], "lim-curve", is_closed=True))
        pieces.append(path(hatch_lines(shape), "lim-hatch"))
        pieces.append(path_of([edge], "lim-edge"))
    elif shape.predicted is not None:
        pieces.append(line(shape.predicted, shape.base, shape.predicted, 0.15 * shape.base, "lim-axis"))
    else:
        pieces.append(write(0.5 * width, 0.6 * shape.base, "undetermined", _LABEL, "middle", "soft"))
    pieces += _axis(shape, width)
    pieces += _labels(item, shape, width)
    return "".join([*pieces, "</g>"])


def limits_geometry(
    item: CharacteristicForecast, width: float, height: float, beside: CharacteristicForecast | None = None
) -> LimitsGeometry:
    """Where everything of the picture lies. beside: shown to the same scale elsewhere."""
    base = height - _FOOT
    limits = [limit for limit in (item.lower_limit, item.upper_limit) if limit is not None]
    reach = _REACH * item.std
    is_known = item.p_out is not None
    drawn = [row for row in (item, beside) if row is not None and row.p_out is not None]
    covered = [row.predicted + side * _REACH * row.std for row in drawn for side in (-1.0, 1.0)]
    to_x, break_at = _scale(limits, [min(covered), max(covered)] if covered else [], width)
    points: tuple[Point, ...] = ()
    if is_known and item.std > 0:
        values = _samples(item, reach, limits)
        tall = base - 0.8
        points = tuple(
            (to_x(v), base - tall * math.exp(-0.5 * ((v - item.predicted) / item.std) ** 2)) for v in values
        )
    return LimitsGeometry(
        base,
        to_x,
        None if item.lower_limit is None else to_x(item.lower_limit),
        None if item.upper_limit is None else to_x(item.upper_limit),
        points,
        to_x(item.predicted) if is_known else None,
        break_at,
    )


def _samples(item: CharacteristicForecast, reach: float, limits: list[float]) -> list[float]:
    """Values along the curve, the limits among them, so that the hatched part ends exactly there."""
    low = item.predicted - reach
    values = [low + 2.0 * reach * step / _STEPS for step in range(_STEPS + 1)]
    return sorted({*values, *(limit for limit in limits if abs(limit - item.predicted) < reach)})


def _scale(limits: list[float], curve: list[float], width: float) -> tuple[Scale, float | None]:
    """One scale over limits and curve; where they lie far apart, the same scale on both sides of a break."""
    ends = [*limits, *curve] or [0.0]
    low, high = min(ends), max(ends)
    if limits and curve:
        near = (min(limits), max(limits))
        gap = max(curve[0] - near[1], near[0] - curve[1])
        covered = (near[1] - near[0]) + (curve[1] - curve[0])
        if covered > 0 and gap > _FAR * covered:
            return _broken(near, (curve[0], curve[1]), covered, width)
    span = (high - low) or max(abs(high), 1.0)
    margin = 0.14 * width
    room = width - 2 * margin
    middle = 0.5 * (low + high)
    return (lambda value: 0.5 * width + (value - middle) * room / span), None


def _broken(
    limits: tuple[float, float], curve: tuple[float, float], covered: float, width: float
) -> tuple[Scale, float]:
    margin = 0.14 * width
    room = width - 4 * margin - _BREAK
    per_unit = room / covered
    first, second = (limits, curve) if limits[0] < curve[0] else (curve, limits)
    break_from = 2 * margin + (first[1] - first[0]) * per_unit
    halfway = 0.5 * (first[1] + second[0])

    def to_x(value: float) -> float:
        if value <= halfway:
            return margin + (value - first[0]) * per_unit
        return break_from + _BREAK + margin + (value - second[0]) * per_unit

    return to_x, break_from + 0.5 * _BREAK


def hatch_lines(shape: LimitsGeometry) -> list[list[Point]]:
    """Slanting lines under the curve, out of limits only: each where it begins and ends."""
    if not shape.curve:
        return []
    across, heights = np.array(shape.curve).T
    left, right = float(across[0]), float(across[-1])
    # Line after line along the rows, places along each of them along the columns.
    count = int((right - left + shape.base) / _HATCH) + 1
    feet = math.floor((left - shape.base) / _HATCH) * _HATCH + np.arange(count) * _HATCH
    first, last = np.maximum(feet, left), np.minimum(feet + shape.base, right)
    steps = np.arange(int(shape.base / _HATCH_STEP) + 2)
    x = first[:, None] + steps * _HATCH_STEP
    y = shape.base - (x - feet[:, None])
    is_on = (x <= last[:, None]) & (y >= np.interp(x, across, heights))
    drawn = np.pad((is_on & shape.is_outside(x)).astype(np.int8), ((0, 0), (1, 1)))
    turns = np.diff(drawn, axis=1)
    rows, begins = np.nonzero(turns == 1)
    _, ends = np.nonzero(turns == -1)
    return [
        [(float(x[row, begin]), float(y[row, begin])), (float(x[row, end - 1]), float(y[row, end - 1]))]
        for row, begin, end in zip(rows, begins, ends, strict=True)
    ]


def _axis(shape: LimitsGeometry, width: float) -> list[str]:
    base, pieces = shape.base, []
    ends = (0.02 * width, 0.98 * width)
    if shape.break_at is None:
        pieces.append(line(ends[0], base, ends[1], base, "lim-beyond"))
    else:
        left, right = shape.break_at - 0.7, shape.break_at + 0.7
        pieces += [
            line(ends[0], base, left, base, "lim-beyond"),
            line(right, base, ends[1], base, "lim-beyond"),
        ]
        pieces += [line(x - 0.6, base + 1.5, x + 0.6, base - 1.5, "lim-beyond") for x in (left, right)]
    if shape.lower is not None or shape.upper is not None:
        low = ends[0] if shape.lower is None else shape.lower
        high = ends[1] if shape.upper is None else shape.upper
        pieces += [line(x1, base, x2, base, "lim-axis") for x1, x2 in _without_break(low, high, shape)]
    pieces += [
        line(x, base - 2.2, x, base + 1.0, "lim-axis") for x in (shape.lower, shape.upper) if x is not None
    ]
    return pieces


def _without_break(low: float, high: float, shape: LimitsGeometry) -> list[tuple[float, float]]:
    """The stretch from low to high, interrupted where the line is broken."""
    if shape.break_at is None or not low < shape.break_at < high:
        return [(low, high)]
    return [(low, shape.break_at - 0.7), (shape.break_at + 0.7, high)]


def _labels(item: CharacteristicForecast, shape: LimitsGeometry, width: float) -> list[str]:
    """The figures of the limits under their ticks; outward of them where they stand close."""
    y = shape.base + _FOOT - 0.2
    low = None if item.lower_limit is None else write_number(item.lower_limit)
    high = None if item.upper_limit is None else write_number(item.upper_limit)
    sides = ["middle", "middle"]
    if low is not None and high is not None and shape.lower is not None and shape.upper is not None:
        need = 0.5 * (text_width(low, _LABEL) + text_width(high, _LABEL)) + 1.0
        if shape.upper - shape.lower < need:
            sides = ["end", "start"]
    pieces = []
    for text, x, side, nudge in (
        (low, shape.lower, sides[0], -0.3),
        (high, shape.upper, sides[1], 0.3),
    ):
        if text is not None and x is not None:
            place = x if side == "middle" else x + nudge
            pieces.append(write(place, y, text, _LABEL, side, "soft"))
    return pieces


def _title(item: CharacteristicForecast, risk: float) -> str:
    limits = write_limits(item.lower_limit, item.upper_limit)
    outside = write_probability(item.p_out)
    return f"limits {limits} {item.unit}, outside: {outside}, {state_of(item, risk)}"
