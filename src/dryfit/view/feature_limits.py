"""The limits picture of a measured feature: what the mesh says as a stroke, what it should be under it."""

from __future__ import annotations

from html import escape

from dryfit.model.finding import MeasuredFeature
from dryfit.view.digits import write_limits, write_number
from dryfit.view.sheet_ink import box, line, path, text_width, write

_FOOT, _LABEL, _MARGIN = 3.4, 2.2, 0.14
_TALL = 6.4  # of the stroke
_FAR = 3.0  # spans of limits and nominal: a value farther off stands behind a break

Places = dict[float, float]  # of values on the line


def feature_picture(item: MeasuredFeature, width: float, height: float) -> str:
    """A fragment of SVG from (0, 0) to (width, height), in the classes of the limits picture.

    A line between the ticks of the limits; a stroke for the measured value, under it a band of one standard
    uncertainty round the nominal. "" where it was not measured, or has no limits.
    """
    if item.measured is None or (item.lower is None and item.upper is None):
        return ""
    base = height - _FOOT
    limits = [limit for limit in (item.lower, item.upper) if limit is not None]
    places, break_at = _places(item, limits, width)
    value = places[item.measured]
    pieces = [f'<g role="img"><title>{escape(_title(item))}</title>']
    if item.nominal is not None and item.nominal.std > 0 and item.nominal.value in places:
        middle = places[item.nominal.value]
        half = max(abs(places[item.nominal.value + item.nominal.std] - middle), 0.4)
        left, right = max(middle - half, 0.02 * width), min(middle + half, 0.98 * width)
        pieces.append(box(left, base - 2.6, right - left, 2.6, "lim-curve"))
    pieces += _axis(item, places, width, base, break_at)
    pieces.append(line(value, base, value, base - _TALL, "lim-value"))
    pieces.append(
        path(
            [[(value, base - 1.6), (value - 0.9, base - 3.6), (value + 0.9, base - 3.6)]],
            "lim-tip",
            is_closed=True,
        )
    )
    pieces += _labels(item, places, base + _FOOT - 0.2)
    return "".join([*pieces, "</g>"])


def _places(item: MeasuredFeature, limits: list[float], width: float) -> tuple[Places, float | None]:
    assert item.measured is not None
    about = [*limits]
    if item.nominal is not None:
        about += [
            item.nominal.value - item.nominal.std,
            item.nominal.value + item.nominal.std,
            item.nominal.value,
        ]
    low, high = min(about), max(about)
    span = (high - low) or max(abs(high), 1.0) * 0.1
    margin = _MARGIN * width
    off = max(item.measured - high, low - item.measured)
    places: Places = {}
    if off <= _FAR * span:
        low, high = min(low, item.measured), max(high, item.measured)
        span = (high - low) or span
        for value in (*about, item.measured):
            places[value] = 0.5 * width + (value - 0.5 * (low + high)) * (width - 2 * margin) / span
        return places, None
    # Far off: the stroke stands at the other end of a broken line, at no scale.
    is_above = item.measured > high
    left, right = (margin, 0.62 * width) if is_above else (0.38 * width, width - margin)
    for value in about:
        places[value] = left + (value - low) * (right - left) / span
    places[item.measured] = 0.9 * width if is_above else 0.1 * width
    return places, 0.78 * width if is_above else 0.22 * width


def _axis(
    item: MeasuredFeature, places: Places, width: float, base: float, break_at: float | None
) -> list[str]:
    ends, pieces = (0.02 * width, 0.98 * width), []
    if break_at is None:
        pieces.append(line(ends[0], base, ends[1], base, "lim-beyond"))
    else:
        pieces += [
            line(ends[0], base, break_at - 0.7, base, "lim-beyond"),
            line(break_at + 0.7, base, ends[1], base, "lim-beyond"),
        ]
        sides = (break_at - 0.7, break_at + 0.7)
        pieces += [line(x - 0.6, base + 1.5, x + 0.6, base - 1.5, "lim-beyond") for x in sides]
    low = ends[0] if item.lower is None else places[item.lower]
    high = ends[1] if item.upper is None else places[item.upper]
    if break_at is not None and low < break_at < high:
        low, high = (low, break_at - 0.7) if item.upper is None else (break_at + 0.7, high)
    pieces.append(line(low, base, high, base, "lim-axis"))
    pieces += [
        line(places[limit], base - 2.2, places[limit], base + 1.0, "lim-axis")
        for limit in (item.lower, item.upper)
        if limit is not None
    ]
    return pieces


def _labels(item: MeasuredFeature, places: Places, y: float) -> list[str]:
    """The figures of the limits under their ticks; outward of them where they stand close."""
    shown = []
    for limit, side in ((item.lower, "end"), (item.upper, "start")):
        if limit is not None:
            shown.append((write_number(limit), places[limit], side))
    if len(shown) == 2:
        need = 0.5 * (text_width(shown[0][0], _LABEL) + text_width(shown[1][0], _LABEL)) + 1.0
        if shown[1][1] - shown[0][1] >= need:
            shown = [(words, x, "middle") for words, x, _ in shown]
    else:
        shown = [(words, x, "middle") for words, x, _ in shown]
    return [write(x, y, words, _LABEL, side, "soft") for words, x, side in shown]


def _title(item: MeasuredFeature) -> str:
    assert item.measured is not None
    limits = write_limits(item.lower, item.upper)
    return f"{write_number(item.measured)} {item.unit} in the mesh, limits {limits} {item.unit}: {item.state}"
