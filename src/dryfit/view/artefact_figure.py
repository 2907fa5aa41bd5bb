"""The figures of a measuring sheet: views of the body with letters and numbered measures, as SVG in mm on paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from dryfit.app.artefact_drawing import ArtefactView, Letter, Mark
from dryfit.base.arrays import Array
from dryfit.view.sheet_ink import number

Point = tuple[float, float]

_INK, _SOFT, _PAPER, _TINT = "#1c1f22", "#5d6266", "#ffffff", "#efede6"
_FONT = "Libertinus Serif"
_BALLOON, _LANE, _FIRST_LANE = 2.5, 6.0, 7.0
_SHORT = 7.0  # of a measure on paper: a leader points at it instead of a dimension line
_MARGIN = 4.0
# Preferred scales of ISO 5455 (memory), as paper over body.
_SCALES = tuple(
    (f"{a}:{b}", a / b)
    for a, b in ((2, 1), (1, 1), (1, 2), (1, 2.5), (1, 4), (1, 5), (1, 7.5), (1, 10), (1, 15), (1, 20))
)
CAPTIONS = {
    "overview": "Overview with letters",
    "plan": "Plan, seen from above",
    "front": "Seen from the front, along +Y",
    "left": "Seen from the left, along +X",
    "back": "Seen from the back, along -Y",
    "right": "Seen from the right, along -X",
}
_ARROWS = {
    "plan": (("X", (1.0, 0.0)), ("Y", (0.0, -1.0))),
    "front": (("X", (1.0, 0.0)), ("Z", (0.0, -1.0))),
    "left": (("Y", (-1.0, 0.0)), ("Z", (0.0, -1.0))),
    "back": (("X", (-1.0, 0.0)), ("Z", (0.0, -1.0))),
    "right": (("Y", (1.0, 0.0)), ("Z", (0.0, -1.0))),
}


def signs_svg() -> str:
    """How the gap of a square is written: + where it opens at the tip, - where it opens at the heel."""
    pieces = []
    for x, lean, words in ((14.0, -4.0, "gap at the tip: +"), (58.0, 4.0, "gap at the heel: -")):
        heel = x + (2.2 if lean > 0 else 0.0)
        wall = [(heel - 2.2, 26.0), (heel - 2.2 + lean, 4.0), (heel - 9.0 + lean, 4.0), (heel - 9.0, 26.0)]
        pieces.append(_path([wall], _INK, 0.25, fill=_TINT, closed=True))
        pieces.append(_path([[(x - 12.0, 26.0), (x + 24.0, 26.0)]], _INK, 0.25))
        blade = heel - 2.2 + (0.0 if lean < 0 else lean)
        pieces.append(_path([[(blade + 0.5, 4.0), (blade + 0.5, 25.3), (blade + 18.0, 25.3)]], _INK, 1.0))
        pieces.append(_text(x + 5.0, 31.0, words, 3.0))
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 86 33" width="86mm" height="33mm">'
        + "".join(pieces)
        + "</svg>"
    )


def figure_svg(view: ArtefactView, width: float, most_height: float) -> str:
    """One view as SVG, as large as a preferred scale allows, within a width and a height [mm]."""
    return _Sheet(view, width, most_height).draw()


class _Sheet:
    """A view while it is drawn: its scale, and the places that balloons have taken."""

    def __init__(self, view: ArtefactView, width: float, most_height: float) -> None:
        self.view, self.width = view, width
        self.lanes: dict[str, list[list[tuple[float, float]]]] = {
            side: [] for side in ("low", "high", "left", "right")
        }
        wide, tall = (float(value) for value in view.high - view.low)
        self.marks = list(view.marks)
        around = {side: self._room(side, 1.0) for side in self.lanes}
        self.scale, self.factor = _SCALES[-1]
        for name, factor in _SCALES:
            around = {side: self._room(side, factor) for side in self.lanes}
            if wide * factor + around["left"] + around["right"] <= width and (
                tall * factor + around["low"] + around["high"] <= most_height
            ):
                self.scale, self.factor = name, factor
                break
        if view.name == "overview":
            around = dict.fromkeys(self.lanes, 6.0)
            self.scale, self.factor = "", min((width - 12.0) / wide, (most_height - 12.0) / tall)
        self.left = 0.5 * (width - wide * self.factor - around["left"] - around["right"]) + around["left"]
        self.top = around["high"]
        self.height = self.top + tall * self.factor + around["low"]
        self.balloons: list[Point] = []
        self.squares = {"left": 0, "right": 0}

    def _room(self, side: str, factor: float) -> float:
        """What lanes need on a side at a scale."""
        for name in self.lanes:
            self.lanes[name] = []
        for mark in self.marks:
            lane = self._lane(mark, factor)
            if lane is not None:
                self._take(*lane)
        count = len(self.lanes[side])
        for name in self.lanes:
            self.lanes[name] = []
        return _MARGIN + _BALLOON + (_FIRST_LANE + count * _LANE if count else 3.0)

    def _lane(self, mark: Mark, factor: float) -> tuple[str, float, float] | None:
        """Side and extent of a dimension line outside the body; None for what is drawn where it lies."""
        (x0, y0), (x1, y1) = ((mark.ends - self.view.low) * factor).tolist()
        size = ((self.view.high - self.view.low) * factor).tolist()
        if mark.kind == "square" or math.hypot(x1 - x0, y1 - y0) < _SHORT:
            return None
        if abs(y1 - y0) < 1e-6:
            return ("low" if y0 < 0.5 * size[1] else "high"), min(x0, x1), max(x0, x1)
        if abs(x1 - x0) < 1e-6:
            return ("left" if x0 < 0.5 * size[0] else "right"), min(y0, y1), max(y0, y1)
        return None

    def _take(self, side: str, start: float, end: float) -> int:
        """The first lane of a side where an extent is free."""
        for place, taken in enumerate(self.lanes[side]):
            if all(end + 2.0 < low or start - 2.0 > high for low, high in taken):
                taken.append((start, end))
                return place
        self.lanes[side].append([(start, end)])
        return len(self.lanes[side]) - 1

    def place(self, points: Array) -> list[Point]:
        """Points of the view on paper."""
        low, high = self.view.low, self.view.high
        return [
            (self.left + (x - float(low[0])) * self.factor, self.top + (float(high[1]) - y) * self.factor)
            for x, y in points.tolist()
        ]

    def draw(self) -> str:
        pieces = [
            _path([self.place(ring) for ring in piece.rings], fill=_TINT, closed=True)
            for piece in self.view.pieces
        ]
        pieces += [
            _path([self.place(line) for line in piece.lines], _INK, 0.25) for piece in self.view.pieces
        ]
        pieces += [piece for letter in self.view.letters for piece in self._letter(letter)]
        # longest first: shorter ones stand nearer to the body
        for mark in sorted(self.marks, key=lambda mark: float(math.dist(*mark.ends.tolist()))):
            pieces += self._mark(mark)
        pieces += self._arrows()
        box = f"0 0 {number(self.width)} {number(self.height)}"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="{number(self.width)}mm" '
            f'height="{number(self.height)}mm">' + "".join(pieces) + "</svg>"
        )

    def _letter(self, letter: Letter) -> list[str]:
        ((x, y),) = self.place(letter.at[None])
        dx, dy = self._inside(x, y) if self.view.name == "plan" else (0.0, -1.0)
        y += 1.0 if dx else 0.0
        start, step = (6.5, 4.0) if self.view.name == "plan" else (2.0, 3.2)
        places = [(x + (start + step * more) * dx, y + (start + step * more) * dy) for more in range(4)]
        at = next((place for place in places if self._room_at(place) > 4.2), places[0])
        self.balloons.append(at)
        return [_text(*at, letter.text, 3.0, bold=not letter.text.startswith("P"), halo=True)]

    def _inside(self, x: float, y: float) -> Point:
        """In the plan letters stand within the rectangle of rails: the way there from a side or a corner."""
        size = (self.view.high - self.view.low) * self.factor
        right, low = x - self.left, self.top + float(size[1]) - y
        across = float(right < 6.0) - float(right > float(size[0]) - 6.0)
        up = float(low > float(size[1]) - 6.0) - float(low < 6.0)
        return across, up

    def _mark(self, mark: Mark) -> list[str]:
        ends = self.place(mark.ends)
        if mark.kind == "square":
            return self._square(mark, ends)
        lane = self._lane(mark, self.factor)
        if lane is not None:
            return self._dimension(mark, ends, lane)
        if math.dist(*ends) < _SHORT:
            return self._leader(mark, ends)
        at = self._free([_along(ends, share) for share in (0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8)])
        return [_line(ends, _INK, 0.18), *_arrows_at(ends), *self._balloon(at, mark)]

    def _dimension(self, mark: Mark, ends: list[Point], lane: tuple[str, float, float]) -> list[str]:
        side = lane[0]
        away = _FIRST_LANE + self._take(*lane) * _LANE
        bottom = self.top + float(self.view.high[1] - self.view.low[1]) * self.factor
        right = self.left + float(self.view.high[0] - self.view.low[0]) * self.factor
        if side in ("low", "high"):
            level = bottom + away if side == "low" else self.top - away
            tips = [(x, level) for x, _ in ends]
        else:
            level = self.left - away if side == "left" else right + away
            tips = [(level, y) for _, y in ends]
        at = self._free([_along(tips, share) for share in (0.5, 0.4, 0.6, 0.3, 0.7)])
        extensions = [_line([end, tip], _SOFT, 0.1) for end, tip in zip(ends, tips, strict=True)]
        return [*extensions, _line(tips, _INK, 0.18), *_arrows_at(tips), *self._balloon(at, mark)]

    def _leader(self, mark: Mark, ends: list[Point]) -> list[str]:
        x, y = _along(ends, 0.5)
        across, up = self._inside(x, y)
        toward = math.atan2(up, across) if across or up else -0.5 * math.pi
        places = [
            (x + reach * math.cos(toward + turn), y + reach * math.sin(toward + turn))
            for reach in (9.0, 13.0, 18.0, 23.0, 28.0)
            for turn in (0.0, 0.3, -0.3, 0.6, -0.6)
        ]
        at = self._free(places)
        return [_line([(x, y), at], _INK, 0.15), _dot(x, y), *self._balloon(at, mark)]

    def _square(self, mark: Mark, ends: list[Point]) -> list[str]:
        """The blade as a thick line beside its face, the stock as a stub at its corner."""
        (x0, y0), (x1, y1) = ends
        middle = self.left + 0.5 * float(self.view.high[0] - self.view.low[0]) * self.factor
        is_plan = self.view.name == "plan"
        # in the plan the square lies outside the body, in a side view it stands within
        side = "left" if x0 < middle else "right"
        self.squares[side] += 1
        away = 1.4 if is_plan else 1.0
        # two along one rail are drawn one outside the other
        away += 1.4 * (self.squares[side] - 1)
        aside = away if (side == "right") == is_plan else -away
        stub = 9.0 if x0 < middle else -9.0
        foot = (x0 + aside, y0 + (0.0 if not is_plan else (away if y0 > y1 else -away)))
        tip = (x1 + aside, y1)
        out = 4.2 if aside > 0 else -4.2
        at = self._free(
            [
                (_along([foot, tip], share)[0] + out, _along([foot, tip], share)[1])
                for share in (0.9, 0.7, 0.5, 0.3)
            ]
        )
        return [
            _line([foot, tip], _INK, 0.7),
            _line([foot, (foot[0] + stub, foot[1])], _INK, 0.7),
            _line([tip, at], _INK, 0.15),
            *self._balloon(at, mark),
        ]

    def _free(self, places: Sequence[Point]) -> Point:
        """The first place where a balloon touches none that stands already, or the one farthest from them."""

        free = (place for place in places if self._room_at(place) > 2.2 * _BALLOON)
        return next(free, max(places, key=self._room_at))

    def _room_at(self, place: Point) -> float:
        return min((math.dist(place, other) for other in self.balloons), default=math.inf)

    def _balloon(self, at: Point, mark: Mark) -> list[str]:
        self.balloons.append(at)
        x, y = at
        look = f'r="{_BALLOON}" fill="{_PAPER}" stroke="{_INK}" stroke-width="0.2"'
        circle = f'<circle cx="{number(x)}" cy="{number(y)}" {look}/>'
        return [circle, _text(x, y + 1.0, str(mark.number), 2.9)]

    def _arrows(self) -> list[str]:
        """Axes of the machine, at the lower corner where X and Y begin."""
        if self.view.name not in _ARROWS:
            return []
        is_turned = self.view.name in ("left", "back")
        x = self.width - 5.0 if is_turned else 5.0
        y, pieces = self.height - 4.0, []
        for name, (dx, dy) in _ARROWS[self.view.name]:
            end = (x + 8.0 * dx, y + 8.0 * dy)
            pieces += [_line([(x, y), end], _INK, 0.25), _head(end, (dx, dy))]
            pieces.append(_text(end[0] + 2.0 * dx, end[1] + 2.0 * dy + (0.9 if dx else 0.0), name, 2.8))
        return pieces


def _along(ends: Sequence[Point], share: float) -> Point:
    (x0, y0), (x1, y1) = ends
    return x0 + share * (x1 - x0), y0 + share * (y1 - y0)


def _path(
    pieces: Sequence[Sequence[Point]],
    ink: str = "none",
    wide: float = 0.0,
    fill: str = "none",
    closed: bool = False,
) -> str:
    drawn = "".join(
        "M" + "L".join(f"{number(x)} {number(y)}" for x, y in piece) + ("Z" if closed else "")
        for piece in pieces
    )
    if not drawn:
        return ""
    return (
        f'<path d="{drawn}" fill="{fill}" fill-rule="evenodd" stroke="{ink}" stroke-width="{wide}" '
        'stroke-linejoin="round" stroke-linecap="round"/>'
    )


def _line(ends: Sequence[Point], ink: str, wide: float) -> str:
    return _path([list(ends)], ink, wide)


def _dot(x: float, y: float) -> str:
    return f'<circle cx="{number(x)}" cy="{number(y)}" r="0.5" fill="{_INK}"/>'


def _arrows_at(ends: Sequence[Point]) -> list[str]:
    (x0, y0), (x1, y1) = ends
    length = math.hypot(x1 - x0, y1 - y0)
    along = ((x1 - x0) / length, (y1 - y0) / length)
    return [_head((x1, y1), along), _head((x0, y0), (-along[0], -along[1]))]


def _head(tip: Point, along: Point) -> str:
    x, y = tip
    dx, dy = along
    back, half = (x - 2.0 * dx, y - 2.0 * dy), 0.36
    corners = [(x, y), (back[0] - half * dy, back[1] + half * dx), (back[0] + half * dy, back[1] - half * dx)]
    return _path([corners], fill=_INK, closed=True)


def _text(x: float, y: float, text: str, size: float, bold: bool = False, halo: bool = False) -> str:
    weight = ' font-weight="bold"' if bold else ""
    put = (
        f'<text x="{number(x)}" y="{number(y)}" font-family="{_FONT}" font-size="{number(size)}" text-anchor="middle"'
        f"{weight}"
    )
    under = (
        f'{put} stroke="{_PAPER}" stroke-width="0.9" fill="{_PAPER}">{escape(text)}</text>' if halo else ""
    )
    return f'{under}{put} fill="{_INK}">{escape(text)}</text>'
