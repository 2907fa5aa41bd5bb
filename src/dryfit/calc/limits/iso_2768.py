"""ISO 2768-1: general tolerances of lengths without limits of their own.

Class m was read in a copy; f, c and v are from memory. Copies of classes c and v differ below 6 mm, and
copies of the table of angles differ throughout: neither is given here.
"""

from __future__ import annotations

from bisect import bisect_left

from dryfit.base.errors import ComputationRefused

SOURCE = "ISO 2768-1:1989"

# Upper end of each range [mm]: above the one before, up to and including this one; the first begins with
# 0.5 mm, below which the standard wants the limits at the size itself.
_UP_TO_MM = (3.0, 6.0, 30.0, 120.0, 400.0, 1000.0, 2000.0, 4000.0)
SMALLEST_MM = 0.5

# Class -> plus and minus this [mm] in each range; None: not given by the standard, or not sure here.
_HALF_WIDTHS_MM: dict[str, tuple[float | None, ...]] = {
    "f": (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, None),
    "m": (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0),
    "c": (None, None, 0.5, 0.8, 1.2, 2.0, 3.0, 4.0),
    "v": (None, None, 1.0, 1.5, 2.5, 4.0, 6.0, 8.0),
}
CLASSES = tuple(_HALF_WIDTHS_MM)


def iso_2768_linear(size_mm: float, tolerance_class: str) -> tuple[float, float]:
    """Lower and upper deviation from a nominal length [mm] of class f, m, c or v.

    size_mm : 0.5 to 4000 for m, to 2000 for f; above 6 for c and v
    Raises ComputationRefused for another class or size.
    Source: ISO 2768-1:1989, Table 1.
    """
    if tolerance_class not in _HALF_WIDTHS_MM:
        what = f'"{tolerance_class}" is no class of {SOURCE}'
        raise _refuse(what, f"write {', '.join(CLASSES[:-1])} or {CLASSES[-1]}, in small letters")
    half = None
    if SMALLEST_MM <= size_mm <= _UP_TO_MM[-1]:
        half = _HALF_WIDTHS_MM[tolerance_class][bisect_left(_UP_TO_MM, size_mm)]
    if half is None:
        what = f"class {tolerance_class} is not covered for a nominal length of {size_mm:g} mm"
        raise _refuse(what, f"{_name_span(tolerance_class)}; state limits instead")
    return -half, half


def _name_span(tolerance_class: str) -> str:
    held = [index for index, half in enumerate(_HALF_WIDTHS_MM[tolerance_class]) if half is not None]
    low = f"from {SMALLEST_MM:g}" if held[0] == 0 else f"above {_UP_TO_MM[held[0] - 1]:g}"
    return f"it is {low} to {_UP_TO_MM[held[-1]]:g} mm"


def _refuse(what: str, do: str) -> ComputationRefused:
    return ComputationRefused(what, f"limits by {SOURCE}", do)
