"""The deviation map of a scan on one sheet: six views with the colour scale drawn beside them like a ruler."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

import numpy as np

from dryfit.app.scan_report import ScanReport
from dryfit.app.scan_surface import ColouredMesh
from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.view.blocks import Heading, Sentence
from dryfit.view.digits import write_number
from dryfit.view.scan import scan_blocks
from dryfit.view.scan_colours import UNSEEN, deviation_colours, scale_limit_mm
from dryfit.view.sheet_ink import STYLE, line, number, shorten, state_mark, wrap, write

WIDTH, HEIGHT = 297.0, 210.0
_MARGIN, _TOP, _RULER = 10.0, 44.0, 30.0
_STEPS = 10  # colours on each side of zero
_CELLS = 150  # along the widest view

# Name, axis to the right, axis upward, and toward the viewer, of each view; first-angle order.
_VIEWS = (
    ("seen along +y", (1, 0, 0), (0, 0, 1), (0, -1, 0)),
    ("seen along -x", (0, 1, 0), (0, 0, 1), (1, 0, 0)),
    ("seen along -y", (-1, 0, 0), (0, 0, 1), (0, 1, 0)),
    ("seen along -z", (1, 0, 0), (0, 1, 0), (0, 0, 1)),
    ("seen along +x", (0, -1, 0), (0, 0, 1), (-1, 0, 0)),
    ("seen along +z", (1, 0, 0), (0, -1, 0), (0, 0, -1)),
)


@dataclass(frozen=True, slots=True, eq=False)
class _Picture:
    """Cells (rows, columns) of a view: step of the colour, _STEPS + 1 for no scan, and -99 for nothing there."""

    name: str
    cells: IntArray


def scan_sheet_svg(report: ScanReport, coloured: ColouredMesh) -> str:
    """The sheet as one SVG document of A4 landscape, without any reference to another file."""
    limit = scale_limit_mm(coloured.values_mm)
    blocks = scan_blocks(report)
    heading = next(block for block in blocks if isinstance(block, Heading))
    sentences = [block for block in blocks if isinstance(block, Sentence)][:3]
    pieces = [
        f'<rect class="paper" x="0" y="0" width="{WIDTH:g}" height="{HEIGHT:g}"/>',
        state_mark(_MARGIN + 1.6, 12.4, report.state, 3.4),
        write(_MARGIN + 6.0, 14.0, shorten(heading.text, 4.6, WIDTH - 2 * _MARGIN - 6.0), 4.6, names="bold"),
    ]
    y = 16.0
    for block in sentences:
        for text in wrap(block.text, 3.0, WIDTH - 2 * _MARGIN - 6.0, 2):
            y += 4.2
            pieces.append(write(_MARGIN + 6.0, y, text, 3.0))
    pieces += _views(coloured, limit, report.map.spacing_mm)
    pieces += _ruler(limit)
    said = escape(" ".join([heading.text, *(block.text for block in sentences)]))
    body = "\n".join(pieces)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dryfit-sheet" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" '
        f'width="{WIDTH:g}mm" height="{HEIGHT:g}mm" role="img" aria-labelledby="scan-title scan-desc">\n'
        f'<title id="scan-title">{escape(report.project)}: scan of {escape(report.part)}</title>\n'
        f'<desc id="scan-desc">{said}</desc>\n<style>{STYLE}</style>\n{body}\n</svg>\n'
    )


def _views(coloured: ColouredMesh, limit: float, spacing: float) -> list[str]:
    centres = coloured.vertices.reshape(-1, 3, 3).mean(axis=1)
    values = coloured.values_mm.reshape(-1, 3)
    middle = np.where(np.isfinite(values).any(axis=1), _mean_known(values), np.nan)
    span = float(np.ptp(coloured.vertices, axis=0).max())
    cell = max(span / _CELLS, 1.4 * spacing)
    step = np.where(
        np.isfinite(middle), np.rint(np.clip(np.nan_to_num(middle) / limit, -1, 1) * _STEPS), _STEPS + 1
    )
    corners = coloured.vertices.reshape(-1, 3, 3)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    pictures = [_picture(view, centres, normal, step.astype(np.int64), cell) for view in _VIEWS]
    wide = [max(pictures[k].cells.shape[1], pictures[k + 3].cells.shape[1]) for k in range(3)]
    tall = [max(picture.cells.shape[0] for picture in pictures[row : row + 3]) for row in (0, 3)]
    room_x, room_y = WIDTH - 2 * _MARGIN - _RULER - 16.0, HEIGHT - _TOP - _MARGIN - 20.0
    size = min(room_x / sum(wide), room_y / sum(tall))
    pieces, y = [], _TOP
    for row in (0, 1):
        x = _MARGIN
        for column in range(3):
            picture = pictures[3 * row + column]
            pieces.append(write(x, y + 2.5, picture.name, 2.6, names="soft"))
            pieces += _draw(picture, x, y + 5.0, size, limit)
            x += wide[column] * size + 8.0
        y += tall[row] * size + 11.0
    return pieces


def _mean_known(values: Array) -> Array:
    known = np.isfinite(values)
    total: Array = np.where(known, values, 0.0).sum(axis=1) / np.maximum(known.sum(axis=1), 1)
    return total


def _picture(
    view: tuple[str, tuple[int, ...], tuple[int, ...], tuple[int, ...]],
    centres: Array,
    normal: Array,
    step: IntArray,
    cell: float,
) -> _Picture:
    name, right, up, toward = view
    facing = np.flatnonzero(normal @ np.array(toward, dtype=float) > 0.0)
    x, y = centres @ np.array(right, dtype=float), -(centres @ np.array(up, dtype=float))
    column = np.floor((x - x.min()) / cell).astype(np.int64)
    row = np.floor((y - y.min()) / cell).astype(np.int64)
    cells = np.full((int(row.max()) + 1, int(column.max()) + 1), -99, dtype=np.int64)
    depth = centres[facing] @ np.array(toward, dtype=float)
    # Far ones first, so that near ones lie over them.
    order = facing[np.argsort(depth)]
    cells[row[order], column[order]] = step[order]
    return _Picture(name, cells)


def _draw(picture: _Picture, x: float, y: float, size: float, limit: float) -> list[str]:
    """One path for each colour, made of runs of cells along the rows, over an outline of all."""
    there = picture.cells != -99
    edge = "".join(_runs(there, x, y, size))
    pieces = [f'<path class="hair" style="stroke-width: 0.6" d="{edge}"/>']
    for value in np.unique(picture.cells):
        if value == -99:
            continue
        runs = "".join(_runs(picture.cells == value, x, y, size))
        pieces.append(f'<path fill="{_colour(int(value), limit)}" stroke="none" d="{runs}"/>')
    return pieces


def _runs(cells: BoolArray, x: float, y: float, size: float) -> list[str]:
    """One closed path for each run of cells along a row."""
    runs = []
    for row, along in enumerate(cells):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], along.astype(np.int8), [0]])))
        for start, stop in edges.reshape(-1, 2):
            length, tall = number((stop - start) * size + 0.02), number(size + 0.02)
            runs.append(f"M{number(x + start * size)} {number(y + row * size)}h{length}v{tall}h-{length}z")
    return runs


def _colour(step: int, limit: float) -> str:
    if step > _STEPS:
        return "#{:02x}{:02x}{:02x}".format(*UNSEEN)
    return "#{:02x}{:02x}{:02x}".format(*deviation_colours(np.array([step / _STEPS * limit]), limit)[0])


def _ruler(limit: float) -> list[str]:
    """The scale upright at the right, ticks at round values, and what grey means."""
    x, top, bottom = WIDTH - _MARGIN - _RULER + 6.0, _TOP + 6.0, HEIGHT - _MARGIN - 24.0
    step = (bottom - top) / (2 * _STEPS + 1)
    pieces = [write(x, top - 3.0, "mm", 2.8, names="soft")]
    for k in range(-_STEPS, _STEPS + 1):
        y = bottom - (k + _STEPS + 1) * step
        pieces.append(
            f'<rect x="{number(x)}" y="{number(y)}" width="6" height="{number(step + 0.02)}" '
            f'fill="{_colour(k, limit)}" stroke="none"/>'
        )
        if k % 5 == 0:
            pieces.append(line(x + 6.0, y + 0.5 * step, x + 8.0, y + 0.5 * step, "narrow"))
            label = f"{'+' if k > 0 else ''}{write_number(k / _STEPS * limit, 4)}"
            pieces.append(write(x + 9.0, y + 0.5 * step + 1.0, label, 2.8))
    pieces.append(
        f'<rect x="{number(x)}" y="{number(bottom + 4)}" width="6" height="3" fill="{_colour(_STEPS + 1, limit)}"/>'
    )
    pieces.append(write(x + 9.0, bottom + 6.4, "no scan", 2.8))
    pieces.append(write(x, bottom + 12.0, "+ out of the model", 2.4, names="soft"))
    pieces.append(write(x, bottom + 15.4, "- into the model", 2.4, names="soft"))
    return pieces
