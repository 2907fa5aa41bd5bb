"""The sheet itself: A3 landscape, its frame, and the title block at the foot."""

from __future__ import annotations

from dryfit.app.drawing import Drawing
from dryfit.model.forecast import ForecastReport
from dryfit.view.digits import write_number
from dryfit.view.forecast import forecast_state
from dryfit.view.sheet_ink import box, line, path, shorten, state_mark, write

# ISO 216 A3; borders of ISO 5457: 20 mm at the filing edge, 10 mm elsewhere (memory).
WIDTH, HEIGHT = 420.0, 297.0
LEFT, RIGHT, TOP, BOTTOM = 20.0, 410.0, 10.0, 287.0
# ISO 7200: a title block is 180 mm wide, so that it fits every size of sheet (memory).
BLOCK_WIDTH, BLOCK_HEIGHT = 180.0, 34.0
_ROW = 8.5
_HEAD, _TEXT = 1.9, 3.0


def frame() -> list[str]:
    """Paper, frame, and centring marks at the middle of each side."""
    middle_x, middle_y = 0.5 * WIDTH, 0.5 * HEIGHT
    return [
        box(0, 0, WIDTH, HEIGHT, "paper"),
        box(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, "frame"),
        line(middle_x, 5, middle_x, TOP, "wide"),
        line(middle_x, HEIGHT - 5, middle_x, BOTTOM, "wide"),
        line(LEFT - 5, middle_y, LEFT, middle_y, "wide"),
        line(WIDTH - 5, middle_y, RIGHT, middle_y, "wide"),
    ]


def title_block(drawing: Drawing, report: ForecastReport, date: str, sheet_scale: str) -> list[str]:
    """Fields in four rows at the lower right corner.

    date : of the figures, as given by the caller
    sheet_scale : of the views to the model
    """
    x, y = RIGHT - BLOCK_WIDTH, BOTTOM - BLOCK_HEIGHT
    pieces = [box(x, y, BLOCK_WIDTH, BLOCK_HEIGHT, "paper"), box(x, y, BLOCK_WIDTH, BLOCK_HEIGHT, "frame")]
    pieces += [line(x, y + row * _ROW, RIGHT, y + row * _ROW) for row in (1, 2, 3)]
    cells: tuple[tuple[float, float, float, str, str], ...] = (
        (0, 0, 118, "project", report.project),
        (118, 0, 62, "what it shows", "forecast of the assembly"),
        (0, 1, 40, "model scale", drawing.scale or "not stated"),
        (40, 1, 38, "scale of views", sheet_scale),
        (78, 1, 40, "deviations drawn", _times(drawing.exaggeration)),
        (118, 1, 34, "units", "mm, deg"),
        (0, 2, 78, "what if", ", ".join(report.what_if) or "as stated in the document"),
        (78, 2, 40, "date of figures", date or "not given"),
        (118, 2, 62, "state of the forecast", ""),
        (0, 3, 40, "program", f"dryfit {report.program_version}"),
        (40, 3, 38, "hash of inputs", report.input_hash[:12] or "none"),
        (78, 3, 102, "data", _data(drawing)),
    )
    for left, row, width, head, text in cells:
        top = y + row * _ROW
        if left:
            pieces.append(line(x + left, top, x + left, top + _ROW))
        bold = "bold" if head == "project" or (head == "data" and drawing.is_invented) else ""
        size = 4.0 if head == "project" else _TEXT
        pieces.append(write(x + left + 1.5, top + 2.6, head, _HEAD, names="soft"))
        pieces.append(write(x + left + 1.5, top + 6.9, shorten(text, size, width - 3), size, names=bold))
    state = forecast_state(report)
    pieces += [state_mark(x + 121.2, y + 2 * _ROW + 5.8, state, 2.8)]
    pieces.append(write(x + 124, y + 2 * _ROW + 6.9, state, _TEXT, names="bold"))
    pieces.append(line(x + 152, y + _ROW, x + 152, y + 2 * _ROW))
    return [*pieces, *_first_angle(x + 166, y + 1.5 * _ROW)]


def _times(factor: float) -> str:
    return "true size" if factor == 1 else f"{write_number(factor)} times as large"


def _data(drawing: Drawing) -> str:
    return "invented data: for demonstration only" if drawing.is_invented else "the project's own"


def _first_angle(x: float, y: float) -> list[str]:
    """The symbol of first-angle projection: the cone's side view left of its circles (ISO 128-3, memory)."""
    cone = [(x - 8.5, y - 1.5), (x - 2.5, y - 3.0), (x - 2.5, y + 3.0), (x - 8.5, y + 1.5)]
    return [
        path([cone], "narrow", is_closed=True),
        f'<circle class="narrow" cx="{x + 5}" cy="{y}" r="3"/>',
        f'<circle class="narrow" cx="{x + 5}" cy="{y}" r="1.5"/>',
        line(x - 10, y, x - 1, y, "hair"),
        line(x + 1, y, x + 9, y, "hair"),
        line(x + 5, y - 3.8, x + 5, y + 3.8, "hair"),
    ]
