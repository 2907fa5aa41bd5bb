"""The test artefact with the measure to take lit and numbered, the others pale."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

from dryfit.app.machine_page_body import TILT_DEG, TURN_DEG
from dryfit.base.arrays import Array
from dryfit.model.artefact import Artefact, Measure
from dryfit.view.digits import write_number
from dryfit.view.machine_ink import chart_svg
from dryfit.view.sheet_ink import arrow, line, path, text_width, write

Point = tuple[float, float]
Space = tuple[float, float, float]

_WIDTH, _HEIGHT = 120.0, 100.0
_EDGE, _TOP = 7.0, 7.0
_TURN, _TILT = math.radians(TURN_DEG), math.radians(TILT_DEG)
_SHORT = 22.0  # on paper
_STOCK_MM = 0.16  # of the body's largest extent: length of the stock that is drawn of a square


def measure_svg(artefact: Artefact, measure: Measure, edges: Array | None = None) -> str:
    """What is to be read, seen from the front left; the wanted measure heavy, with its number.

    edges : (k, 2, 3) of the body; without them the box round it and every other measure of the plan
    """
    shown = _shown(artefact, measure)
    if edges is None:
        place = _fitted(_points(shown))
        pieces = _outline(shown, place)
        pieces += [_pale(other, place) for other in shown if other.id != measure.id]
    else:
        lines: list[tuple[Space, Space]] = [(tuple(a), tuple(b)) for a, b in edges.tolist()]
        place = _fitted([*(point for ends in lines for point in ends), *_points(shown)])
        pieces = [path([[place(a), place(b)] for a, b in lines], "edge")]
    pieces += _square(measure, artefact, place) if measure.kind == "square" else _lit(measure, place)
    pieces += _triad()
    said = f"measure {measure.number}, {measure.kind}, {size_words(measure)}"
    return chart_svg(pieces, _WIDTH, _HEIGHT, f"where to measure: {said}", measure.words)


def size_words(measure: Measure) -> str:
    """What is measured, shortly: a length, or the height at which the gap of a square is taken."""
    length = f"{write_number(measure.length_mm, 1)} mm"
    return f"gap at {length}" if measure.kind == "square" else length


def _shown(artefact: Artefact, measure: Measure) -> list[Measure]:
    """Those of the plan, or all where there is none, and the wanted one."""
    planned = {step.measure for step in artefact.plan}
    return [item for item in artefact.measures if not planned or item.id in planned or item.id == measure.id]


def _points(measures: Iterable[Measure]) -> list[Space]:
    return [point for measure in measures for point in (measure.first, measure.second)]


def _flat(point: Space) -> Point:
    x, y, z = point
    across = x * math.cos(_TURN) - y * math.sin(_TURN)
    up = (x * math.sin(_TURN) + y * math.cos(_TURN)) * math.sin(_TILT) + z * math.cos(_TILT)
    return across, -up


def _fitted(points: Sequence[Space]) -> Callable[[Space], Point]:
    low = [min(point[axis] for point in points) for axis in range(3)]
    high = [max(point[axis] for point in points) for axis in range(3)]
    flat = [_flat((x, y, z)) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    left, right = min(x for x, _ in flat), max(x for x, _ in flat)
    top, foot = min(y for _, y in flat), max(y for _, y in flat)
    wide, tall = _WIDTH - 2.0 * _EDGE, _HEIGHT - _TOP - _EDGE - 4.0
    scale = min(wide / max(right - left, 1e-9), tall / max(foot - top, 1e-9))
    shift = _EDGE + 0.5 * (wide - scale * (right - left))

    def place(point: Space) -> Point:
        x, y = _flat(point)
        return shift + scale * (x - left), _TOP + scale * (y - top) + 0.5 * (tall - scale * (foot - top))

    return place


def _outline(measures: Sequence[Measure], place: Callable[[Space], Point]) -> list[str]:
    """The box round everything that is measured; its floor is where the body stands on the bed."""
    points = _points(measures)
    (x0, y0, z0), (x1, y1, z1) = (
        tuple(pick(point[axis] for point in points) for axis in range(3)) for pick in (min, max)
    )
    floor = [(x0, y0, z0), (x1, y0, z0), (x1, y1, z0), (x0, y1, z0)]
    lid = [(x0, y0, z1), (x1, y0, z1), (x1, y1, z1), (x0, y1, z1)]
    pieces = [
        path([[place(point) for point in floor]], "body", True),
        path([[place(point) for point in floor]], "hair", True),
        path([[place(point) for point in lid]], "hair", True),
    ]
    return [*pieces, *(line(*place(a), *place(b), "hair") for a, b in zip(floor, lid, strict=True))]


def _pale(measure: Measure, place: Callable[[Space], Point]) -> str:
    return line(*place(measure.first), *place(measure.second), "nominal")


def _lit(measure: Measure, place: Callable[[Space], Point]) -> list[str]:
    """A heavy dimension line between its two ends, with the number in a ring at its middle."""
    start, end = place(measure.first), place(measure.second)
    reach = math.dist(start, end)
    unit = ((end[0] - start[0]) / reach, (end[1] - start[1]) / reach) if reach > 0 else (1.0, 0.0)
    across = (-unit[1], unit[0])
    pieces = [line(*start, *end, "lit")]
    for x, y in (start, end):
        pieces.append(
            line(x - 2.6 * across[0], y - 2.6 * across[1], x + 2.6 * across[0], y + 2.6 * across[1], "wide")
        )
    if reach > 10.0:
        pieces += [arrow(start, (-unit[0], -unit[1]), 3.4), arrow(end, unit, 3.4)]
    return [*pieces, *_number(measure, start, end, across)]


def _square(measure: Measure, artefact: Artefact, place: Callable[[Space], Point]) -> list[str]:
    """Blade and stock of the square, and the gap between blade and face marked at its tip."""
    toward = measure.toward or (1.0, 0.0, 0.0)
    reach = _STOCK_MM * max(artefact.size_mm)
    corner, tip = measure.first, measure.second
    stock: Space = (
        corner[0] + reach * toward[0],
        corner[1] + reach * toward[1],
        corner[2] + reach * toward[2],
    )
    start, end = place(corner), place(tip)
    pieces = [line(*start, *end, "lit"), line(*start, *place(stock), "lit")]
    across = (-1.0, 0.0)
    gap = write(end[0] + 3.4, end[1] - 1.4, "gap", 3.2, names="halo")
    ring = f'<circle class="ring" cx="{end[0]:.2f}" cy="{end[1]:.2f}" r="2.2"/>'
    return [*pieces, ring, gap, *_number(measure, start, end, across)]


def _number(measure: Measure, start: Point, end: Point, across: Point) -> list[str]:
    """The number in a disc on the line, and the nominal value beside it."""
    middle = (0.5 * (start[0] + end[0]), 0.5 * (start[1] + end[1]))
    # On a short line the disc would hide it: then it stands beside, at the end of a leader.
    is_short = math.dist(start, end) < _SHORT
    x = middle[0] + (9.0 * across[0] if is_short else 0.0)
    y = middle[1] + (9.0 * across[1] if is_short else 0.0)
    text = size_words(measure)
    wide = text_width(text, 3.8)
    # To the side of the line on which there is more room; a level line has it above.
    is_level = abs(across[0]) < 0.5 and not is_short
    side = 1.0 if x < 0.5 * _WIDTH else -1.0
    left = x + 6.0 if side > 0 else x - 6.0 - wide
    left = min(max(x - 0.5 * wide if is_level else left, 1.0), _WIDTH - wide - 1.0)
    return [
        line(*middle, x, y, "narrow") if is_short else "",
        f'<circle class="disc" cx="{x:.2f}" cy="{y:.2f}" r="3.9"/>',
        write(x, y + 1.4, str(measure.number), 4.0, "middle", "on-disc"),
        write(left, y - (6.2 if is_level else -1.3), text, 3.8, names="halo bold"),
    ]


def _triad() -> list[str]:
    """The machine's axes, seen from where the body is seen."""
    x, y, long = 16.0, _HEIGHT - 8.0, 8.0
    names: tuple[tuple[str, Space, str], ...] = (
        ("+X", (long, 0.0, 0.0), "start"),
        ("+Y", (0.0, long, 0.0), "end"),
        ("+Z", (0.0, 0.0, long), "middle"),
    )
    pieces = []
    for name, along, anchor in names:
        dx, dy = _flat(along)
        reach = math.hypot(dx, dy)
        unit = (dx / reach, dy / reach)
        pieces += [
            line(x, y, x + dx, y + dy, "narrow"),
            arrow((x + dx, y + dy), unit, 1.6),
            write(x + dx + 1.2 * unit[0], y + dy + 1.2 * unit[1] + 0.5, name, 2.8, anchor),
        ]
    return pieces
