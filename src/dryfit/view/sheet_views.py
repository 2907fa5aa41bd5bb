"""The two views of a sheet: parts as modelled and as they will be, joints, dimensions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from dryfit.app.drawing import Drawing, View
from dryfit.base.arrays import Array
from dryfit.view.digits import write_estimate, write_number
from dryfit.view.sheet_dimension import Obstacles, draw_dimension
from dryfit.view.sheet_ink import line, path, write

# Preferred scales of ISO 5455 (memory), as paper over model.
_SCALES = tuple(
    (f"{a}:{b}", a / b)
    for a, b in ((10, 1), (5, 1), (2, 1), (1, 1), (1, 2), (1, 5), (1, 10), (1, 20), (1, 50), (1, 100))
)
_BETWEEN, _SIDE, _CAPTION = 18.0, 6.0, 9.0

Place = Callable[[Array], list[tuple[float, float]]]


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Where the views stand on the sheet: scale in words and as a factor, and the views' placing."""

    scale: str
    factor: float
    places: tuple[Place, ...]
    captions: tuple[tuple[float, float], ...]


def arrange(drawing: Drawing, x: float, y: float, width: float, height: float) -> Arrangement:
    """Elevation above, plan below it, aligned (first-angle projection), at the largest scale that fits."""
    front, plan = drawing.views
    wide = max(front.high[0], plan.high[0]) - min(front.low[0], plan.low[0])
    tall = [float(view.high[1] - view.low[1]) for view in (front, plan)]
    room = height - _BETWEEN - 2 * _CAPTION
    most = min((width - 2 * _SIDE) / wide, room / sum(tall))
    name, factor = next((scale for scale in _SCALES if scale[1] <= most), _SCALES[-1])
    left = float(min(front.low[0], plan.low[0]))
    start = x + 0.5 * (width - wide * factor)
    spare = max(0.0, room - sum(tall) * factor) / 3.0
    tops = [y + _CAPTION + spare]
    tops.append(tops[0] + tall[0] * factor + _BETWEEN + spare)
    places = tuple(
        _place(left, float(view.high[1]), start, top, factor)
        for view, top in zip((front, plan), tops, strict=True)
    )
    return Arrangement(name, factor, places, tuple((x, top - 5.0) for top in tops))


def _place(left: float, high: float, start: float, top: float, factor: float) -> Place:
    def place(points: Array) -> list[tuple[float, float]]:
        return [(start + (px - left) * factor, top + (high - py) * factor) for px, py in points.tolist()]

    return place


_CAPTIONS = {"elevation": "elevation, seen along +Y", "plan": "plan, seen along -Z"}


def draw_views(drawing: Drawing, where: Arrangement, area: tuple[float, ...]) -> list[str]:
    """Both views with their dimensions; area: (x, y, width, height) that nothing may leave."""
    obstacles = Obstacles(area)
    pieces = []
    for view, place, (x, y) in zip(drawing.views, where.places, where.captions, strict=True):
        pieces += _view(view, place)
        pieces.append(write(x, y, _CAPTIONS[view.name], 2.6, names="soft"))
        obstacles.add_box(x, y - 3.0, 34.0, 4.0)
        for part in view.parts:
            obstacles.add_rings([place(ring) for ring in part.printed.rings])
    for view, place in zip(drawing.views, where.places, strict=True):
        middle = place(0.5 * (view.low + view.high)[None])[0]
        for item in view.dimensions:
            std = item.std
            text = write_number(item.value) if std is None else write_estimate(item.value, std)
            note = f"{item.id}, spread not known" if std is None else item.id
            pieces += draw_dimension(
                place(item.ends), _on_sheet(item.along), middle, text, note, item.is_worst, obstacles
            )
    return pieces


def _on_sheet(along: Array) -> tuple[float, float]:
    """A direction of a view on the sheet, where y points down."""
    return (float(along[0]), -float(along[1]))


def _view(view: View, place: Place) -> list[str]:
    """Bodies, then thin lines, then ink, so that ink lies on top."""
    bodies = [
        path([place(ring) for ring in part.printed.rings], "body", is_closed=True) for part in view.parts
    ]
    faces = [
        path([place(face.polygon)], "face", is_closed=True) for face in view.faces if not face.is_closing
    ]
    ghosts = [path([place(points) for points in part.nominal.lines], "nominal") for part in view.parts]
    inked = [path([place(points) for points in part.printed.lines], "wide") for part in view.parts]
    closing = [path([place(face.polygon)], "wide", is_closed=True) for face in view.faces if face.is_closing]
    return [piece for piece in (*bodies, *faces, *ghosts, *inked, *closing) if piece]


def legend(drawing: Drawing, scale: str, x: float, y: float) -> list[str]:
    """What the lines mean and by how much deviations are exaggerated."""
    factor = write_number(drawing.exaggeration)
    largest = write_number(drawing.largest_departure_mm, 2)
    times = "true size" if drawing.exaggeration == 1 else f"deviations {factor} times as large"
    pieces = [
        line(x, y - 1, x + 9, y - 1, "wide"),
        write(x + 11, y, f"as printed and placed, {times}", 2.6),
        line(x + 82, y - 1, x + 91, y - 1, "nominal"),
        write(x + 93, y, "as modelled", 2.6),
        line(x + 116, y - 1, x + 125, y - 1, "face"),
        write(x + 127, y, "common face of a joint", 2.6),
        write(
            x,
            y + 4.4,
            f"Scale {scale} of the model. The largest deviation is {largest} mm.",
            2.6,
            names="soft",
        ),
    ]
    if drawing.coarse:
        names = ", ".join(drawing.coarse[:4]) + (" ..." if len(drawing.coarse) > 4 else "")
        pieces.append(
            write(x + 82, y + 4.4, f"Outline only, from fewer triangles: {names}", 2.6, names="soft")
        )
    return pieces
