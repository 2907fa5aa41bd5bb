"""The frame round a picture of the machine sheet, and a scale with round values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from dryfit.view.sheet_ink import STYLE

CHART_STYLE = STYLE


def chart_svg(pieces: Sequence[str], width: float, height: float, name: str, said: str = "") -> str:
    """Pieces as one picture in the classes of the sheet's style; name and said: for those who do not see it."""
    label = escape(f"{name}. {said}" if said else name, quote=True)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="dryfit-sheet chart" viewBox="0 0 {width:g} {height:g}" '
        f'role="img" aria-label="{label}">' + "".join(pieces) + "</svg>"
    )


def titled(title: str, *pieces: str) -> str:
    """Pieces with a title that shows where the pointer rests."""
    return f"<g><title>{escape(title)}</title>{''.join(pieces)}</g>"


def round_step(span: float, most: int) -> float:
    """The smallest step of 1, 2 or 5 times a power of ten that divides a span into at most so many."""
    raw = span / most
    power = 10.0 ** math.floor(math.log10(raw))
    return next(factor * power for factor in (1.0, 2.0, 5.0, 10.0) if factor * power >= raw * (1.0 - 1e-9))


def round_ticks(low: float, high: float, most: int = 4) -> tuple[list[float], int]:
    """Round values between two ends, and the decimals that they need."""
    step = round_step(high - low, most)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [step * index for index in range(first, last + 1)], decimals
