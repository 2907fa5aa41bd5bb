"""Dimension lines: arrows, extension lines, and a place for the figure where nothing else is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from dryfit.view.sheet_ink import arrow, line, path, text_width, write

Point = tuple[float, float]

_VALUE, _NOTE = 3.4, 2.3
_TAIL = 5.0  # of a dimension line beyond arrows that point inward
_SHORT = 9.0  # arrows of a shorter dimension stand outside it
_ABOVE, _BELOW = 4.2, 3.6  # room of the two lines of a label over and under its reference line
_OFFSETS = (6.0, 8.0, 10.0, 13.0, 17.0)
_LONG_OFFSETS = tuple(float(offset) for offset in range(8, 70, 2))
_REACHES = (1.5, 4.0, 7.0, 10.0, 14.0, 19.0, 25.0, 32.0, 40.0)
_TURNS = 16


class Obstacles:
    """What labels must keep clear of: bodies, and the labels and lines placed before."""

    def __init__(self, area: tuple[float, ...]) -> None:
        x, y, width, height = area
        self.area = shapely.box(x, y, x + width, y + height)
        self._bodies: list[BaseGeometry] = []
        self._labels: list[BaseGeometry] = []
        self._united: BaseGeometry | None = None

    def add_rings(self, rings: list[list[Point]]) -> None:
        """The rings of one body, holes told from outlines by the even-odd rule."""
        region: BaseGeometry = shapely.Polygon()
        for ring in rings:
            if len(ring) > 3:
                region = shapely.symmetric_difference(region, shapely.make_valid(shapely.Polygon(ring)))
        self._bodies.append(region)
        self._united = None

    def add_box(self, x: float, y: float, width: float, height: float) -> None:
        """A rectangle that a text takes up."""
        self._labels.append(shapely.box(x, y, x + width, y + height))

    def add_line(self, points: list[Point]) -> None:
        """A line that no label should cross."""
        self._labels.append(shapely.buffer(shapely.LineString(points), 0.6, quad_segs=1))

    @property
    def bodies(self) -> BaseGeometry:
        """All bodies as one region."""
        if self._united is None:
            self._united = shapely.union_all(self._bodies)
            shapely.prepare(self._united)
        return self._united

    def cost_of_box(self, rectangle: BaseGeometry) -> float:
        """How badly a label would stand there; 0 where it stands free."""
        outside = rectangle.area - shapely.intersection(rectangle, self.area).area
        over = sum(shapely.intersection(rectangle, label).area for label in self._labels)
        on_body = shapely.intersection(rectangle, self.bodies).area
        return float(50.0 * (outside + over) + 6.0 * on_body)

    def cost_of_line(self, points: list[Point]) -> float:
        """The same for a thin line."""
        drawn = shapely.LineString(points)
        over = sum(shapely.intersection(drawn, label).length for label in self._labels)
        return float(20.0 * over + 0.6 * shapely.intersection(drawn, self.bodies).length)


@dataclass(frozen=True, slots=True)
class _Label:
    """A text over and a note under a reference line from start, to the right or to the left."""

    start: Point
    is_right: bool
    width: float

    @property
    def end(self) -> Point:
        return (self.start[0] + (self.width if self.is_right else -self.width), self.start[1])

    @property
    def rectangle(self) -> BaseGeometry:
        x = min(self.start[0], self.end[0])
        return shapely.box(x - 0.5, self.start[1] - _ABOVE, x + self.width + 0.5, self.start[1] + _BELOW)


def draw_dimension(
    ends: list[Point],
    along: Point,
    middle: Point,
    text: str,
    note: str,
    is_worst: bool,
    obstacles: Obstacles,
) -> list[str]:
    """A dimension between two points; along: unit direction on the sheet in which it is measured."""
    length = (ends[1][0] - ends[0][0]) * along[0] + (ends[1][1] - ends[0][1]) * along[1]
    if abs(length) > max(_SHORT, text_width(text, _VALUE) + 6.0):
        return _draw_long(ends, along, middle, text, note, is_worst, obstacles)
    return _draw_short(ends, along, middle, text, note, is_worst, obstacles)


def _across(along: Point, ends: list[Point], middle: Point) -> Point:
    """Unit vector across, away from the middle of the view."""
    across = (-along[1], along[0])
    x, y = 0.5 * (ends[0][0] + ends[1][0]) - middle[0], 0.5 * (ends[0][1] + ends[1][1]) - middle[1]
    return across if across[0] * x + across[1] * y >= 0 else (along[1], -along[0])


def _moved(point: Point, vector: Point, by: float) -> Point:
    return (point[0] + by * vector[0], point[1] + by * vector[1])


def _draw_short(
    ends: list[Point],
    along: Point,
    middle: Point,
    text: str,
    note: str,
    is_worst: bool,
    obstacles: Obstacles,
) -> list[str]:
    across = _across(along, ends, middle)
    choices = [
        (offset + penalty, _tips(ends, _moved((0, 0), across, sign * offset), along))
        for sign, penalty in ((1.0, 0.0), (-1.0, 4.0))
        for offset in _OFFSETS
    ]
    length = (ends[1][0] - ends[0][0]) * along[0] + (ends[1][1] - ends[0][1]) * along[1]
    forward = along if length >= 0 else (-along[0], -along[1])
    back = (-forward[0], -forward[1])

    def reach(tips: list[Point]) -> list[Point]:
        return [_moved(tips[0], back, _TAIL), _moved(tips[1], forward, _TAIL)]

    _, tips = min(choices, key=lambda choice: choice[0] + 3.0 * obstacles.cost_of_line(reach(choice[1])))
    outer = reach(tips)
    width = max(text_width(text, _VALUE), text_width(note, _NOTE)) + 1.0
    label, start = _find_place(outer, (forward, back), width, obstacles)
    weight = "wide" if is_worst else "narrow"
    pieces = [_extension(ends[k], tips[k]) for k in (0, 1)]
    pieces += [line(*outer[0], *outer[1], weight), arrow(tips[0], forward), arrow(tips[1], back)]
    pieces.append(path([[start, label.start, label.end]], weight))
    obstacles.add_line([*outer])
    obstacles.add_line([start, label.start, label.end])
    obstacles.add_box(*_corner(label), label.width + 1.0, _ABOVE + _BELOW)
    return [*pieces, *_texts(label, text, note, is_worst)]


def _tips(ends: list[Point], shift: Point, along: Point) -> list[Point]:
    """Ends of the dimension line: both on one line parallel to `along`, the given shift away."""
    x, y = 0.5 * (ends[0][0] + ends[1][0]), 0.5 * (ends[0][1] + ends[1][1])
    half = 0.5 * ((ends[1][0] - ends[0][0]) * along[0] + (ends[1][1] - ends[0][1]) * along[1])
    centre = (x + shift[0], y + shift[1])
    return [_moved(centre, along, -half), _moved(centre, along, half)]


def _extension(end: Point, tip: Point) -> str:
    """From the measured point to a little beyond the dimension line."""
    dx, dy = tip[0] - end[0], tip[1] - end[1]
    length = math.hypot(dx, dy)
    if length < 1e-9:
        return ""
    return line(*end, *_moved(tip, (dx / length, dy / length), 1.2), "narrow")


def _find_place(
    outer: list[Point], ways: tuple[Point, Point], width: float, obstacles: Obstacles
) -> tuple[_Label, Point]:
    """The label that stands freest and nearest, and the end of the dimension line that its leader leaves."""
    best: tuple[float, _Label, Point] | None = None
    for start, way in ((outer[1], ways[0]), (outer[0], ways[1])):
        for reach in _REACHES:
            if best is not None and reach >= best[0]:
                break
            for turn in range(_TURNS):
                angle = 2.0 * math.pi * turn / _TURNS
                step = (math.cos(angle), math.sin(angle))
                if step[0] * way[0] + step[1] * way[1] < -0.2:
                    continue
                label = _Label(_moved(start, step, reach), step[0] >= 0, width)
                cost = reach + obstacles.cost_of_box(label.rectangle)
                cost += obstacles.cost_of_line([start, label.start])
                if best is None or cost < best[0]:
                    best = (cost, label, start)
    assert best is not None
    return best[1], best[2]


def _corner(label: _Label) -> Point:
    return (min(label.start[0], label.end[0]) - 0.5, label.start[1] - _ABOVE)


def _texts(label: _Label, text: str, note: str, is_worst: bool) -> list[str]:
    x = min(label.start[0], label.end[0]) + 0.5
    return [
        write(x, label.start[1] - 0.9, text, _VALUE, names="halo bold" if is_worst else "halo"),
        write(x, label.start[1] + 2.6, note, _NOTE, names="halo soft"),
    ]


def _draw_long(
    ends: list[Point],
    along: Point,
    middle: Point,
    text: str,
    note: str,
    is_worst: bool,
    obstacles: Obstacles,
) -> list[str]:
    """Arrows inside, the figure over the middle of the line and turned with it (ISO 129-1, memory)."""
    across = _across(along, ends, middle)
    choices = [
        (offset + penalty, _tips(ends, _moved((0, 0), across, sign * offset), along))
        for sign, penalty in ((1.0, 0.0), (-1.0, 0.5))
        for offset in _LONG_OFFSETS
    ]

    def cost(choice: tuple[float, list[Point]]) -> float:
        tips = choice[1]
        band = shapely.buffer(shapely.LineString(tips), 4.2, quad_segs=1, cap_style="flat")
        return choice[0] + obstacles.cost_of_box(band)

    _, tips = min(choices, key=cost)
    length = (tips[1][0] - tips[0][0]) * along[0] + (tips[1][1] - tips[0][1]) * along[1]
    forward = along if length >= 0 else (-along[0], -along[1])
    back = (-forward[0], -forward[1])
    weight = "wide" if is_worst else "narrow"
    obstacles.add_line(tips)
    pieces = [_extension(ends[k], tips[k]) for k in (0, 1)]
    pieces += [line(*tips[0], *tips[1], weight), arrow(tips[1], forward), arrow(tips[0], back)]
    x, y = 0.5 * (tips[0][0] + tips[1][0]), 0.5 * (tips[0][1] + tips[1][1])
    turn = math.degrees(math.atan2(along[1], along[0]))
    # Read from the foot of the sheet or from its right: never upside down.
    turn = turn - 180.0 if turn > 90.0 - 1e-9 else turn + 180.0 if turn < -90.0 - 1e-9 else turn
    words = [
        write(0, -1.0, text, _VALUE, "middle", "halo bold" if is_worst else "halo"),
        write(0, 2.9, note, _NOTE, "middle", "halo soft"),
    ]
    return [*pieces, f'<g transform="translate({x:.2f} {y:.2f}) rotate({turn:.2f})">{"".join(words)}</g>']
