"""Wall thickness in words, and the area by thickness as a picture with the marks that it is held against."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from dryfit.app.view_walls import WallBars, WallScale, WidthMark
from dryfit.view.digits import write_number
from dryfit.view.sheet_ink import box, line, write

WIDTH, HEIGHT = 560.0, 172.0
_LEFT, _RIGHT, _TOP, _FOOT = 12.0, 12.0, 40.0, 44.0
_TYPE = 12.0
_STRIP = 8.0  # height of the strip of colours under the bars
_NEAR = 96.0  # marks nearer than this are written on rows of their own


def width_words(mark: WidthMark) -> str:
    """A multiple of an extrusion width: "2 x 0.45"."""
    return f"{mark.multiple} x {write_number(mark.width_mm)}"


def write_wall(wall_mm: float) -> str:
    """A thickness on a scale."""
    return write_number(wall_mm, 3 if wall_mm < 1 else 1)


def tick_words(tick_mm: float, scale: WallScale) -> str:
    """A round value of the scale; its last stands for all above it too."""
    return f"{write_wall(tick_mm)}{'+' if tick_mm == scale.high_mm else ''}"


def wall_summary(bars: WallBars, of: str, widths: Sequence[WidthMark]) -> str:
    """What the picture shows, in a sentence."""
    walls = float(bars.area_mm2.sum())
    whole = walls + bars.open_mm2
    if not whole:
        return f"{of}: no surface was sampled."
    words = f"{of}: {_percent(walls / whole)} of the surface bounds walls; nothing faces the rest"
    if not widths:
        return f"{words}. No extrusion width is stated, so that no limit is marked."
    return f"{words}. Marked: {', '.join(width_words(mark) for mark in widths)} mm, multiples of the extrusion width."


def wall_picture(bars: WallBars, scale: WallScale, widths: Sequence[WidthMark], name: str) -> str:
    """Area by thickness as SVG; equal ratios of thickness are equally far apart, as on the model's ruler."""
    base = HEIGHT - _FOOT
    most = float(bars.area_mm2.max()) if len(bars.area_mm2) else 0.0
    pieces = [
        f'<svg class="walls" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="{escape(name)}">',
        '<defs><linearGradient id="wall-scale">',
        *(f'<stop class="wall-stop-{index}" offset="{index / 4:g}"/>' for index in range(5)),
        "</linearGradient></defs>",
    ]
    for index, area in enumerate(bars.area_mm2):
        if area > 0:
            pieces.append(_bar(bars, scale, index, float(area), most, base))
    pieces.append(line(_LEFT, base, WIDTH - _RIGHT, base, "axis"))
    pieces.append(
        f'<rect class="strip" x="{_LEFT:g}" y="{base + 2:g}" width="{WIDTH - _LEFT - _RIGHT:g}" '
        f'height="{_STRIP:g}" fill="url(#wall-scale)"/>'
    )
    pieces += _ticks(scale, base)
    pieces += _marks(scale, widths, base)
    return "".join([*pieces, "</svg>"])


def _bar(bars: WallBars, scale: WallScale, index: int, area: float, most: float, base: float) -> str:
    low, high = (float(value) for value in bars.edges_mm[index : index + 2])
    left, right = _place(scale, low), _place(scale, high)
    tall = max((base - _TOP) * area / most, 1.0)
    share = area / (float(bars.area_mm2.sum()) + bars.open_mm2)
    words = f"{write_wall(low)} to {write_wall(high)} mm: {area / 100.0:.3g} cm2, {_percent(share)}"
    drawn = box(left, base - tall, right - left, tall, "area")
    return drawn.replace("/>", f"><title>{escape(words)}</title></rect>")


def _ticks(scale: WallScale, base: float) -> list[str]:
    pieces = []
    for tick in scale.ticks_mm:
        x = _place(scale, tick)
        side = "start" if tick == scale.low_mm else "end" if tick == scale.high_mm else "middle"
        pieces += [line(x, base + 2 + _STRIP, x, base + 7 + _STRIP, "axis")]
        pieces += [write(x, base + 20 + _STRIP, tick_words(tick, scale), _TYPE, side)]
    words = "wall thickness in mm; bars: area of surface"
    pieces.append(write(0.5 * WIDTH, HEIGHT - 3, words, _TYPE, "middle", "soft"))
    return pieces


def _marks(scale: WallScale, widths: Sequence[WidthMark], base: float) -> list[str]:
    """Limit marks across the bars, their words above, on rows of their own where they stand close."""
    pieces, ends = [], [-1e9, -1e9, -1e9]
    for mark in sorted(widths, key=lambda item: item.wall_mm):
        x = _place(scale, mark.wall_mm)
        row = next((row for row, end in enumerate(ends) if x - end > _NEAR), len(ends) - 1)
        ends[row] = x
        y = 11.0 + 13.0 * row
        pieces.append(line(x, y + 3, x, base, "limit"))
        is_right = x > WIDTH - _NEAR
        pieces.append(
            write(
                x - 4 if is_right else x + 4,
                y,
                f"{width_words(mark)} mm",
                _TYPE,
                "end" if is_right else "start",
            )
        )
    return pieces


def _place(scale: WallScale, wall_mm: float) -> float:
    return _LEFT + (WIDTH - _LEFT - _RIGHT) * scale.share(wall_mm)


def _percent(share: float) -> str:
    return "less than 1 %" if 0 < share < 0.01 else f"{100.0 * share:.0f} %"
