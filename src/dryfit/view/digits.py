"""Numbers as metrologists write them: the digits follow the uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence

NONE = "-"
_DIGITS_OF_STD = 2
_DECIMALS_WITHOUT_STD = 3
_ROUNDING = 1e-12  # a metre in mm, in double precision


def write_estimate(value: float, std: float) -> str:
    """Value with its standard uncertainty in brackets, in units of the last digit: 20.24(12).

    From 1.0 on, the bracket carries its own decimal point: 20.2(1.2). A value whose std is 0, or no more than
    the rounding of the arithmetic, says "exact".
    Source: JCGM 100:2008, 7.2.2, second and third form.
    """
    if std < _ROUNDING:
        return f"{write_number(value)} exact"
    decimals = decimals_of(std)
    if decimals <= 0:
        scale = 10.0 ** (-decimals)
        return f"{_clean(round(value / scale) * scale, 0)}({round(std / scale) * scale:.0f})"
    shown = round(std, decimals)
    in_last_digit = round(shown * 10**decimals)
    bracket = f"{shown:.{decimals}f}" if shown >= 1.0 else str(in_last_digit)
    return f"{_clean(value, decimals)}({bracket})"


def decimals_of(std: float) -> int:
    """Decimals that show two significant digits of a standard uncertainty."""
    exponent = math.floor(math.log10(std))
    decimals = _DIGITS_OF_STD - 1 - exponent
    # rounding may carry into the next power of ten: 0.0996 is 0.10
    if round(std, decimals) >= 10.0 ** (exponent + 1):
        decimals -= 1
    return decimals


def write_number(value: float, decimals: int = _DECIMALS_WITHOUT_STD) -> str:
    """A plain number with trailing zeros cut."""
    text = _clean(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def write_signed(value: float, std: float) -> str:
    """A shift with its sign, to the digits that the uncertainty allows."""
    decimals = max(0, min(6, decimals_of(std))) if std > 0 else _DECIMALS_WITHOUT_STD
    text = _clean(value, decimals)
    return text if text.startswith("-") or float(text) == 0 else f"+{text}"


def write_limits(lower: float | None, upper: float | None) -> str:
    """Limits as "-0.1 to 0.4", "at least 3" or "at most 5"."""
    if lower is None and upper is None:
        return NONE
    if lower is None:
        return f"at most {write_number(upper or 0.0)}"
    if upper is None:
        return f"at least {write_number(lower)}"
    return f"{write_number(lower)} to {write_number(upper)}"


def write_probability(p: float | None) -> str:
    """A probability in per cent; never 0 or 100 unless it is beyond what a model can claim."""
    if p is None:
        return "not checked"
    if p < 0.0001:
        return "< 0.01 %"
    if p > 0.9999:
        return "> 99.99 %"
    percent = 100.0 * p
    return f"{percent:.2f} %" if percent < 1 or percent > 99 else f"{percent:.1f} %"


def write_share(share: float) -> str:
    """A share of the variance in whole per cent."""
    percent = 100.0 * share
    return "< 1 %" if 0 < percent < 0.5 else f"{percent:.0f} %"


def write_vector(values: Sequence[float], decimals: int = 1) -> str:
    """Sizes as "412.0 x 388.0 x 51.0"."""
    return " x ".join(f"{value:.{decimals}f}" for value in values)


def _clean(value: float, decimals: int) -> str:
    """Fixed decimals without a minus before zero."""
    text = f"{value:.{decimals}f}"
    return text[1:] if text.startswith("-") and float(text) == 0 else text
