"""A forecast on one sheet: views, dimensions, characteristics, title block; one SVG that needs nothing else."""

from __future__ import annotations

from html import escape

from dryfit.app.drawing import Drawing
from dryfit.model.forecast import ForecastReport
from dryfit.view.blocks import Block, Heading, Sentence
from dryfit.view.forecast import forecast_blocks, forecast_state
from dryfit.view.sheet_frame import (
    BLOCK_HEIGHT,
    BLOCK_WIDTH,
    BOTTOM,
    HEIGHT,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    frame,
    title_block,
)
from dryfit.view.sheet_ink import STYLE, line, shorten, state_mark, wrap, write
from dryfit.view.sheet_table import table
from dryfit.view.sheet_views import arrange, draw_views, legend

_MARGIN = 5.0
_SPLIT = RIGHT - BLOCK_WIDTH
_SENTENCES = 3
_HEADING, _TEXT = 4.6, 3.0


def sheet_svg(drawing: Drawing, report: ForecastReport, date: str = "") -> str:
    """The sheet as one SVG document of A3 landscape, without any reference to another file.

    date : of the figures, as it shall be written; the view has no clock
    """
    x, width = LEFT + _MARGIN, _SPLIT - LEFT - 2 * _MARGIN
    blocks = forecast_blocks(report, brief=True)
    words, below = _words(blocks, report, x, TOP + 9.0, width)
    foot = BOTTOM - 14.0
    area = (x, below, width, foot - below)
    where = arrange(drawing, *area)
    pieces = [
        *frame(),
        *words,
        *draw_views(drawing, where, area),
        *legend(drawing, where.scale, x, foot + 5.0),
        line(_SPLIT, TOP, _SPLIT, BOTTOM, "narrow"),
        *table(
            drawing,
            report,
            _SPLIT + 3.0,
            TOP + 1.0,
            BLOCK_WIDTH - 5.0,
            BOTTOM - TOP - BLOCK_HEIGHT - 2.0,
        ),
        *title_block(drawing, report, date, where.scale),
    ]
    return _document(report, blocks, "\n".join(pieces))


def _document(report: ForecastReport, blocks: list[Block], drawn: str) -> str:
    title = escape(f"{report.project}: forecast, {forecast_state(report)}")
    said = escape(" ".join(block.text for block in blocks if isinstance(block, Heading | Sentence)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dryfit-sheet" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" '
        f'width="{WIDTH:g}mm" height="{HEIGHT:g}mm" role="img" aria-labelledby="sheet-title sheet-desc">\n'
        f'<title id="sheet-title">{title}</title>\n<desc id="sheet-desc">{said}</desc>\n'
        f"<style>{STYLE}</style>\n{drawn}\n</svg>\n"
    )


def _words(
    blocks: list[Block], report: ForecastReport, x: float, y: float, width: float
) -> tuple[list[str], float]:
    """The verdict and the sentences that say why; the height at which they end."""
    heading = next(block for block in blocks if isinstance(block, Heading))
    sentences = [block for block in blocks if isinstance(block, Sentence)]
    pieces = [
        state_mark(x + 1.6, y - 1.6, forecast_state(report), 3.4),
        write(x + 6.0, y, shorten(heading.text, _HEADING, width - 6.0), _HEADING, names="bold"),
    ]
    y += 2.0
    for block in sentences[:_SENTENCES]:
        for number_of, text in enumerate(wrap(block.text, _TEXT, width - 6.0, 2)):
            y += 4.2
            if number_of == 0 and block.state is not None:
                pieces.append(state_mark(x + 1.6, y - 1.0, block.state, 2.2))
            pieces.append(write(x + 6.0, y, text, _TEXT))
    if len(sentences) > _SENTENCES:
        y += 4.2
        rest = f"and {len(sentences) - _SENTENCES} more that are not clear: see the rows at the right."
        pieces.append(write(x + 6.0, y, rest, _TEXT, names="soft"))
    return pieces, y + 3.0
