"""Marks of the picture of the evidence: nodes, hatching, curves, heads and legend; lengths in mm on paper."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from dryfit.app.schedule_report import Scheduled
from dryfit.model.finding import State
from dryfit.view.evidence_network_layout import (
    DIMENSION_AT,
    DIMENSION_WIDE,
    OBSERVED_AT,
    RELATION_AT,
    SOURCE_AT,
    SOURCE_WIDE,
    Layout,
)
from dryfit.view.sheet_ink import STYLE, box, line, number, path, shorten, state_mark, write

TYPE, HIGH = 3.0, 4.6  # size of the type, height of a node [mm]
FINEST, BOLDEST = 0.16, 1.5  # width of a line of no weight, of all the weight [mm]
_HATCH = 1.1

NETWORK_STYLE = (
    STYLE
    + """
.dryfit-sheet .net-line { fill: none; stroke: var(--ink); }
.dryfit-sheet .net-core { fill: none; stroke: var(--paper); }
.dryfit-sheet .net-from { fill: none; stroke: var(--hair); stroke-width: 0.16; }
.dryfit-sheet .net-out { fill: none; stroke: var(--soft); stroke-width: 0.25; stroke-dasharray: 1.4 1; }
.dryfit-sheet .net-node { fill: var(--paper); stroke: var(--hair); stroke-width: 0.18; }
.dryfit-sheet .net-dimension { fill: var(--tint); stroke: var(--ink); stroke-width: 0.3; }
.dryfit-sheet .net-open { fill: var(--paper); stroke: var(--ink); stroke-width: 0.3; stroke-dasharray: 0.9 0.7; }
.dryfit-sheet .net-doubt { fill: var(--paper); stroke: var(--ink); stroke-width: 0.5; }
.dryfit-sheet .net-hatch { fill: none; stroke: var(--ink); stroke-width: 0.18; opacity: 0.45; }
.dryfit-sheet .net-gone { fill: none; stroke: var(--soft); stroke-width: 0.25; stroke-dasharray: 1.4 1; }
.dryfit-sheet .net-chosen { fill: none; stroke: var(--ink); stroke-width: 0.8; }
.dryfit-sheet .net-joint { fill: var(--paper); stroke: var(--ink); stroke-width: 0.3; }
.dryfit-sheet .faded { opacity: 0.22; }
.dryfit-sheet [data-dimension], .dryfit-sheet [data-observation] { cursor: pointer; }
.network-frame { overflow: auto; max-height: 72vh; border: 1px solid var(--hair); margin-bottom: 8px; }
.work .network-frame svg.network { display: block; width: 1180px; max-width: none; }
@media print { .network-frame { max-height: none; overflow: visible; } }
"""
)


def draw_dimension(item: Scheduled, height: float, state: State) -> str:
    """A dimension with its state; open at its left side where nothing determines it."""
    top, right = height - 0.5 * HIGH, DIMENSION_AT + DIMENSION_WIDE
    if item.prototype_mm is None:
        # Open at its left side: nothing comes in.
        outline = [(DIMENSION_AT, top), (right, top), (right, top + HIGH), (DIMENSION_AT, top + HIGH)]
        node = path([outline], "net-open")
    else:
        node = box(DIMENSION_AT, top, DIMENSION_WIDE, HIGH, "net-dimension")
    words = shorten(item.id, TYPE, DIMENSION_WIDE - 7.5)
    text = write(DIMENSION_AT + 5.4, height + 0.35 * TYPE, words, TYPE, "start", "bold")
    return node + state_mark(DIMENSION_AT + 2.8, height, state, 2.4) + text


def draw_heads(layout: Layout) -> Iterator[str]:
    """What the columns hold."""
    columns = [
        (SOURCE_AT + SOURCE_WIDE - 1.0, "source", "end"),
        (OBSERVED_AT, "observation, and its largest share in a dimension", "start"),
        (DIMENSION_AT, "dimension", "start"),
    ]
    if layout.relations:
        columns.append((RELATION_AT, "relation", "start"))
    for left, words, side in columns:
        yield write(left, 7.0, words, TYPE, side, "soft")
    yield line(SOURCE_AT, 9.5, layout.width - 2.0, 9.5, "narrow")


def draw_legend(layout: Layout) -> Iterator[str]:
    """What the lines mean, at the foot."""
    y = layout.height - 6.5
    yield line(SOURCE_AT, y - 4.0, layout.width - 2.0, y - 4.0, "hair")
    base = y + 0.35 * TYPE
    yield f'<path class="net-line" stroke-width="{BOLDEST}" d="M{number(SOURCE_AT)} {number(y)}h9"/>'
    yield write(SOURCE_AT + 11.0, base, "the wider, the more weight", TYPE, "start", "soft")
    yield f'<path class="net-line" stroke-width="1.4" d="M58 {number(y)}h9"/>'
    yield f'<path class="net-core" stroke-width="0.8" d="M58 {number(y)}h9"/>'
    yield write(69.0, base, "doubtful", TYPE, "start", "soft")
    yield f'<path class="net-out" d="M88 {number(y)}h9"/>'
    yield write(99.0, base, "left out by decision", TYPE, "start", "soft")
    yield path([[(134.0, y - 1.5), (143.0, y - 1.5), (143.0, y + 1.5), (134.0, y + 1.5)]], "net-open")
    yield write(145.0, base, "nothing determines it", TYPE, "start", "soft")


def hatched(left: float, height: float, wide: float) -> str:
    """Strokes at 45 degrees over a node."""
    top, foot, right = height - 0.5 * HIGH, height + 0.5 * HIGH, left + wide
    strokes = []
    start = left - HIGH + _HATCH
    while start < right:
        low, high = max(start, left), min(start + HIGH, right)
        strokes.append([(low, foot - (low - start)), (high, max(foot - (high - start), top))])
        start += _HATCH
    return path(strokes, "net-hatch")


def curve(start: tuple[float, float], end: tuple[float, float]) -> str:
    """From left to right, level at both ends."""
    reach = 0.5 * (end[0] - start[0])
    points = (start, (start[0] + reach, start[1]), (end[0] - reach, end[1]), end)
    first, *rest = (f"{number(x)} {number(y)}" for x, y in points)
    return f"M{first}C{' '.join(rest)}"


def titled(title: str, *pieces: str) -> str:
    """Pieces with a title that shows where the pointer rests; it belongs to the group around them."""
    return f"<title>{escape(title)}</title>{''.join(pieces)}"


def data_of(kind: str, id: str) -> str:
    """An attribute by which a page knows a node."""
    return f' data-{kind}="{escape(id, quote=True)}"'


def group(inner: str, data: str, is_bright: bool) -> str:
    """A group; faint where it does not belong to what is chosen."""
    faint = "" if is_bright else ' class="faded"'
    return f"<g{data}{faint}>{inner}</g>"
