"""A machine drawn with its faults exaggerated: bed, uprights and beam against the square ones, signs by arrows."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from dryfit.app.qualify_report import Figure
from dryfit.model.machine import AFFINE_FIGURES, Machine
from dryfit.view.digits import write_estimate, write_number
from dryfit.view.machine_ink import chart_svg
from dryfit.view.sheet_ink import arrow, line, path, text_width, write

Point = tuple[float, float]
Space = tuple[float, float, float]

FACTORS = (1.0, 5.0, 20.0, 50.0, 100.0)
_WIDTH, _HEIGHT = 160.0, 112.0
_LEFT, _RIGHT, _TOP, _FOOT = 18.0, 40.0, 17.0, 11.0
# Y recedes to the upper right at 35 degrees, drawn at half its length, so that a lean in X or Z is seen true.
_RECEDES, _SHORTENED = math.radians(35.0), 0.5
_SURE = 2.0
_SEEN = 0.3  # of the smallest extent: a fault drawn so large is plainly seen and hides nothing


def usual_factor(machine: Machine, figures: Sequence[Figure]) -> float:
    """The largest of the fixed factors at which no corner is drawn farther off than is plainly seen."""
    size = machine.build_volume_mm
    far = max(
        (
            abs(moved - at)
            for corner in _corners(size)
            for moved, at in zip(_printed(corner, figures, 1.0), corner, strict=True)
        ),
        default=0.0,
    )
    if far == 0.0:
        return FACTORS[-1]
    fitting = [factor for factor in FACTORS if factor * far <= _SEEN * min(size)]
    return fitting[-1] if fitting else FACTORS[0]


def machine_svg(machine: Machine, figures: Sequence[Figure], factor: float) -> str:
    """Bed, uprights and beam as they are, the fault drawn `factor` times as large, over the square ones.

    figures : in the order of FIGURES
    """
    size = machine.build_volume_mm
    place = _fitted([*_corners(size), *(_printed(c, figures, factor) for c in _corners(size))])
    pieces = [
        *_frame(size, place, lambda point: point, "face", "face"),
        *_bed_grid(size, place, figures, factor),
        *_frame(size, place, lambda point: _printed(point, figures, factor), "wide", "hair"),
        *_leans(size, place, figures, factor),
        *_axes(),
        *_sizes(size, place),
        write(4.0, 5.4, f"{machine.id}: faults drawn {factor_words(factor)}", 3.2, names="bold"),
        write(4.0, _HEIGHT - 2.4, _note(machine), 2.8, names="soft"),
    ]
    said = " ".join(f"{words}." for words in lean_words(figures))
    return chart_svg(
        pieces, _WIDTH, _HEIGHT, f"{machine.id}: bed and uprights, faults drawn {factor_words(factor)}", said
    )


def _note(machine: Machine) -> str:
    if machine.error.knowledge == "prior":
        std = write_number(machine.error.figures["skew_xz_deg"].std)
        return f"Never measured, so drawn square; it may lean by {std} degrees, one standard uncertainty."
    return "Broken lines: the machine, were it square and to scale."


def factor_words(factor: float) -> str:
    """The exaggeration: "as large as they are", "20 times as large"."""
    return "as large as they are" if factor == 1.0 else f"{write_number(factor)} times as large"


def lean_words(figures: Sequence[Figure]) -> tuple[str, str, str]:
    """XZ, YZ and XY in words, each with its side, or that it is not told from square."""
    named = {figure.name: figure for figure in figures}
    return (
        _lean(named["skew_xz_deg"], "XZ", "leans to", "X"),
        _lean(named["skew_yz_deg"], "YZ", "leans to", "Y"),
        _lean(named["skew_xy_deg"], "XY", "Y leans to", "X"),
    )


def is_sure(figure: Figure) -> bool:
    """Whether a figure is told from zero."""
    return figure.value != 0.0 and abs(figure.value) >= _SURE * figure.std


def _lean(figure: Figure, plane: str, verb: str, axis: str) -> str:
    if not is_sure(figure):
        return f"{plane} {write_estimate(figure.value, figure.std)} deg: not told from square"
    side = "+" if figure.value > 0 else "-"
    return f"{plane} {write_estimate(figure.value, figure.std)} deg: {verb} {side}{axis}"


def _printed(point: Space, figures: Sequence[Figure], factor: float) -> Space:
    """Where a commanded point lies on the machine, the fault times a factor."""
    ex, ey, ez, xy, xz, yz = (_rate(figure) * factor for figure in figures[: len(AFFINE_FIGURES)])
    x, y, z = point
    return x + ex * x + xy * y + xz * z, y + ey * y + yz * z, z + ez * z


def _rate(figure: Figure) -> float:
    return math.tan(math.radians(figure.value)) if figure.name.startswith("skew") else figure.value


def _corners(size: Space) -> list[Space]:
    x, y, z = size
    return [(a, b, c) for c in (0.0, z) for b in (0.0, y) for a in (0.0, x)]


def _oblique(point: Space) -> Point:
    x, y, z = point
    return (
        x + _SHORTENED * y * math.cos(_RECEDES),
        -z - _SHORTENED * y * math.sin(_RECEDES),
    )


def _fitted(points: Sequence[Space]) -> Callable[[Space], Point]:
    """From machine axes to the paper, so that all of these points are on it."""
    flat = [_oblique(point) for point in points]
    left, right = min(x for x, _ in flat), max(x for x, _ in flat)
    top, foot = min(y for _, y in flat), max(y for _, y in flat)
    wide, tall = _WIDTH - _LEFT - _RIGHT, _HEIGHT - _TOP - _FOOT - 6.0
    scale = min(wide / (right - left), tall / (foot - top))
    shift = _LEFT + 0.5 * (wide - scale * (right - left))

    def place(point: Space) -> Point:
        x, y = _oblique(point)
        return shift + scale * (x - left), _TOP + tall - scale * (foot - y)

    return place


def _frame(
    size: Space,
    place: Callable[[Space], Point],
    moved: Callable[[Space], Space],
    names: str,
    edges: str,
) -> list[str]:
    """The bed's outline, two uprights at half its depth and the beam over them, and the edges of the volume."""
    x, y, z = size

    def at(*point: float) -> Point:
        a, b, c = point
        return place(moved((a, b, c)))

    bed = [at(0, 0, 0), at(x, 0, 0), at(x, y, 0), at(0, y, 0)]
    lid = [at(0, 0, z), at(x, 0, z), at(x, y, z), at(0, y, z)]
    half = 0.5 * y
    pieces = [] if names == "face" else [path([bed], "body", True)]
    pieces += [path([bed], names, True), path([lid], edges, True)]
    pieces += [line(*low, *high, edges) for low, high in zip(bed, lid, strict=True)]
    for side in (0.0, x):
        pieces.append(line(*at(side, half, 0), *at(side, half, z), names))
    pieces.append(line(*at(0, half, z), *at(x, half, z), names))
    if names == "wide":
        # Uprights and beam have a second edge, so that they read as bars.
        width = 0.035 * max(size)
        pieces += [
            line(*at(0, half, 0), *at(0, half, z), "wide"),
            line(*at(width, half, 0), *at(width, half, z - width), "wide"),
            line(*at(x - width, half, 0), *at(x - width, half, z - width), "wide"),
            line(*at(width, half, z - width), *at(x - width, half, z - width), "wide"),
        ]
    return pieces


def _bed_grid(
    size: Space, place: Callable[[Space], Point], figures: Sequence[Figure], factor: float
) -> list[str]:
    """Lines on the bed, along which the angle of X against Y is seen."""
    x, y, _ = size

    def at(a: float, b: float) -> Point:
        return place(_printed((a, b, 0.0), figures, factor))

    shares = (0.25, 0.5, 0.75)
    along = [line(*at(x * share, 0.0), *at(x * share, y), "hair") for share in shares]
    return [*along, *(line(*at(0.0, y * share), *at(x, y * share), "hair") for share in shares)]


def _leans(
    size: Space, place: Callable[[Space], Point], figures: Sequence[Figure], factor: float
) -> list[str]:
    """An arrow from the square place to the real one for each lean that is told from zero, and its words."""
    named = {figure.name: figure for figure in figures}
    x, y, z = size
    words = lean_words(figures)
    half = 0.5 * y
    starts: list[tuple[str, Space, Space]] = [
        ("skew_xz_deg", (x, half, z), (factor * _rate(named["skew_xz_deg"]) * z, 0.0, 0.0)),
        ("skew_yz_deg", (0.0, half, z), (0.0, factor * _rate(named["skew_yz_deg"]) * z, 0.0)),
        ("skew_xy_deg", (x, y, 0.0), (factor * _rate(named["skew_xy_deg"]) * y, 0.0, 0.0)),
    ]
    pieces: list[str] = []
    for name, start, shift in starts:
        if is_sure(named[name]):
            end = (start[0] + shift[0], start[1] + shift[1], start[2] + shift[2])
            pieces += _arrow_between(place(start), place(end))
    tops = [(4.0, 10.4), (4.0, 14.4), (_WIDTH - 4.0, 10.4)]
    for (left, base), text, anchor in zip(tops, words, ("start", "start", "end"), strict=True):
        pieces.append(write(left, base, text, 2.9, anchor))
    return pieces


def _arrow_between(start: Point, end: Point) -> list[str]:
    reach = math.dist(start, end)
    if reach < 1.2:
        return []
    unit = ((end[0] - start[0]) / reach, (end[1] - start[1]) / reach)
    return [line(*start, *end, "wide"), arrow(end, unit, min(2.6, reach))]


def _axes() -> list[str]:
    """A small triad at the foot, positive directions named."""
    x, y, long = 6.0, _HEIGHT - 9.0, 8.0
    back = (long * 0.8 * math.cos(_RECEDES), -long * 0.8 * math.sin(_RECEDES))
    ends = ((x + long, y, "+X"), (x + back[0], y + back[1], "+Y"), (x, y - long, "+Z"))
    pieces = []
    for right, down, name in ends:
        reach = math.dist((x, y), (right, down))
        pieces += [
            line(x, y, right, down, "narrow"),
            arrow((right, down), ((right - x) / reach, (down - y) / reach), 1.8),
        ]
        wide = text_width(name, 2.6)
        shift = (1.0, 0.9) if name != "+Z" else (-0.5 * wide, -1.0)
        pieces.append(write(right + shift[0], down + shift[1], name, 2.6))
    return pieces


def _sizes(size: Space, place: Callable[[Space], Point]) -> list[str]:
    """The extents of the build volume beside its edges."""
    x, y, z = size
    ends: Sequence[tuple[Space, Space, float, Point, str]] = (
        ((0.0, 0.0, 0.0), (x, 0.0, 0.0), x, (0.0, 4.4), "middle"),
        ((x, 0.0, 0.0), (x, y, 0.0), y, (2.6, 2.6), "start"),
        ((0.0, 0.0, 0.0), (0.0, 0.0, z), z, (-2.0, 1.0), "end"),
    )
    pieces = []
    for start, end, extent, (right, down), anchor in ends:
        (a, b), (c, d) = place(start), place(end)
        pieces.append(write(0.5 * (a + c) + right, 0.5 * (b + d) + down, write_number(extent), 2.8, anchor))
    return pieces
