"""Marks on a sheet: lines, texts and colours as fragments of SVG; lengths are millimetres on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from dryfit.view.blocks import COLOURS, State

# Estimated advance of a character over the size of the type, for the sans serif faces that systems carry;
# on the generous side, so that texts placed by it do not touch.
_NARROW, _WIDE, _CAPITALS, _OTHER = 0.38, 0.96, 0.72, 0.63
_NARROW_ONES = frozenset("iljftr.,:;|()'!- []/")
_CLASS_OF: dict[State, str] = {
    "pass": "s-pass",
    "caution": "s-caution",
    "stop": "s-stop",
    "not checked": "s-unchecked",
}
_STATE_RULES = "\n".join(
    f".dryfit-sheet .{name} {{ fill: {COLOURS[state]}; stroke: {COLOURS[state]}; }}"
    for state, name in _CLASS_OF.items()
)

# ISO 128-2: wide and narrow lines in the ratio 2:1, here 0.35 and 0.18 mm. Colours of states are those of
# the reports; everything else is ink on paper, with a dark variant.
STYLE = f"""
.dryfit-sheet {{ --paper: #fbfaf6; --ink: #1c1f22; --soft: #5d6266; --hair: #a9adaf; --tint: #ece9e0;
  --curve: #cfd3d4; color-scheme: light dark;
  font-family: system-ui, "Segoe UI", "Helvetica Neue", Arial, "Liberation Sans", sans-serif;
  font-variant-numeric: tabular-nums lining-nums; }}
@media (prefers-color-scheme: dark) {{ .dryfit-sheet {{ --paper: #1d2124; --ink: #e9e6de; --soft: #a9adad;
  --hair: #666c70; --tint: #2b3034; --curve: #4b5257; }} }}
@media print {{ .dryfit-sheet {{ --paper: #ffffff; --ink: #000000; --soft: #45494c; --hair: #999999;
  --tint: #efefef; --curve: #d0d0d0; }} }}
.dryfit-sheet text {{ fill: var(--ink); stroke: none; }}
.dryfit-sheet .paper {{ fill: var(--paper); }}
.dryfit-sheet .soft {{ fill: var(--soft); }}
.dryfit-sheet .bold {{ font-weight: 600; }}
.dryfit-sheet .halo {{ paint-order: stroke; stroke: var(--paper); stroke-width: 0.9; stroke-linejoin: round; }}
.dryfit-sheet :is(.wide, .narrow, .hair, .nominal, .face) {{ fill: none; stroke-linejoin: round;
  stroke-linecap: round; }}
.dryfit-sheet .wide {{ stroke: var(--ink); stroke-width: 0.35; }}
.dryfit-sheet .frame {{ fill: none; stroke: var(--ink); stroke-width: 0.5; }}
.dryfit-sheet .narrow {{ stroke: var(--ink); stroke-width: 0.18; }}
.dryfit-sheet .hair {{ stroke: var(--hair); stroke-width: 0.13; }}
.dryfit-sheet .nominal {{ stroke: var(--hair); stroke-width: 0.18; }}
.dryfit-sheet .face {{ stroke: var(--soft); stroke-width: 0.13; stroke-dasharray: 1.2 0.6; }}
.dryfit-sheet .body {{ fill: var(--tint); fill-rule: evenodd; stroke: none; }}
.dryfit-sheet .arrow {{ fill: var(--ink); stroke: none; }}
.dryfit-sheet .lim-curve {{ fill: var(--curve); stroke: none; }}
.dryfit-sheet .lim-edge {{ fill: none; stroke: var(--ink); stroke-width: 0.18; stroke-linejoin: round; }}
.dryfit-sheet .lim-hatch {{ fill: none; stroke: var(--ink); stroke-width: 0.15; }}
.dryfit-sheet .lim-axis {{ fill: none; stroke: var(--ink); stroke-width: 0.35; }}
.dryfit-sheet .lim-beyond {{ fill: none; stroke: var(--ink); stroke-width: 0.13; }}
{_STATE_RULES}
.dryfit-sheet .open {{ fill: none; stroke-width: 0.4; }}
"""


def number(value: float) -> str:
    """A coordinate to a hundredth of a millimetre, without idle zeros."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def text_width(text: str, size: float) -> float:
    """Estimated width of a text [mm]."""
    return size * sum(_advance(character) for character in text)


def _advance(character: str) -> float:
    if character in _NARROW_ONES:
        return _NARROW
    if character in "mwMW%":
        return _WIDE
    return _CAPITALS if character.isupper() else _OTHER


def shorten(text: str, size: float, width: float) -> str:
    """The text, cut with three dots where it would be wider."""
    if text_width(text, size) <= width:
        return text
    kept = text
    while kept and text_width(f"{kept}...", size) > width:
        kept = kept[:-1]
    return f"{kept}..."


def wrap(text: str, size: float, width: float, most: int) -> list[str]:
    """Lines of words no wider than the width; what does not go into the last line is cut with dots."""
    words, lines, line = text.split(), [], ""
    for position, word in enumerate(words):
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, size) > width:
            lines.append(line)
            if len(lines) == most - 1:
                return [*lines, shorten(" ".join(words[position:]), size, width)]
            longer = word
        line = longer
    return [*lines, shorten(line, size, width)] if line else lines


def write(x: float, y: float, text: str, size: float = 3.0, anchor: str = "start", names: str = "") -> str:
    """One line of text; y is its baseline."""
    kind = f' class="{names}"' if names else ""
    side = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return (
        f'<text x="{number(x)}" y="{number(y)}" font-size="{number(size)}"{side}{kind}>{escape(text)}</text>'
    )


def line(x1: float, y1: float, x2: float, y2: float, names: str = "narrow") -> str:
    """A straight line."""
    return f'<path class="{names}" d="M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"/>'


def box(x: float, y: float, width: float, height: float, names: str) -> str:
    """A rectangle."""
    sides = f'width="{number(width)}" height="{number(height)}"'
    return f'<rect class="{names}" x="{number(x)}" y="{number(y)}" {sides}/>'


def path(pieces: Iterable[Sequence[tuple[float, float]]], names: str, is_closed: bool = False) -> str:
    """Polylines as one path; nothing where there are none."""
    return path_of([places(piece) for piece in pieces], names, is_closed)


def places(points: Iterable[tuple[float, float]]) -> list[str]:
    """Points as a path writes them."""
    return [f"{number(x)} {number(y)}" for x, y in points]


def path_of(pieces: Iterable[Sequence[str]], names: str, is_closed: bool = False) -> str:
    """The same of places that are written already."""
    drawn = "".join("M" + "L".join(piece) + ("Z" if is_closed else "") for piece in pieces)
    return f'<path class="{names}" d="{drawn}"/>' if drawn else ""


def state_mark(x: float, y: float, state: State, size: float = 2.4) -> str:
    """The shape of a state round a middle: filled disc, open triangle, filled square, open disc."""
    kind, half = _CLASS_OF[state], 0.5 * size
    if state == "stop":
        return box(x - 0.9 * half, y - 0.9 * half, 1.8 * half, 1.8 * half, kind)
    if state == "caution":
        corners = ((x - half, y + 0.8 * half), (x + half, y + 0.8 * half), (x, y - half))
        return path([corners], f"{kind} open", is_closed=True)
    is_open = " open" if state == "not checked" else ""
    radius = 0.85 * half if is_open else half
    return f'<circle class="{kind}{is_open}" cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"/>'


def arrow(tip: tuple[float, float], along: tuple[float, float], length: float = 2.2) -> str:
    """A filled arrowhead of 20 degrees whose tip points along a unit vector."""
    x, y = tip
    dx, dy = along
    half = 0.18 * length
    back = (x - length * dx, y - length * dy)
    corners = ((x, y), (back[0] - half * dy, back[1] + half * dx), (back[0] + half * dy, back[1] - half * dx))
    return path([corners], "arrow", is_closed=True)
