"""ISO 286-1:2010: standard tolerance grades, and the deviations of holes and shafts.

The grades are Table 1; the ranges 18 to 250 mm and 400 to 500 mm were read in a copy of the table, the others,
and all fundamental deviations, are from memory. Values are the tabulated ones, which the formulas of the
standard give only roughly.
"""

from __future__ import annotations

import re
from bisect import bisect_left

from dryfit.base.errors import ComputationRefused

SOURCE = "ISO 286-1:2010"

# Upper end of each range of nominal sizes [mm]: above the one before, up to and including this one.
_UP_TO_MM = (
    *(3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500),
    *(630, 800, 1000, 1250, 1600, 2000, 2500, 3150),
)
LARGEST_MM = float(_UP_TO_MM[-1])

# Grade -> tolerance of each range [um].
_GRADES_UM: dict[int, tuple[int, ...]] = {
    6: (6, 8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40, 44, 50, 56, 66, 78, 92, 110, 135),
    7: (10, 12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63, 70, 80, 90, 105, 125, 150, 175, 210),
    8: (14, 18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97, 110, 125, 140, 165, 195, 230, 280, 330),
    9: (25, 30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155, 175, 200, 230, 260, 310, 370, 440, 540),
    10: (
        *(40, 48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
        *(280, 320, 360, 420, 500, 600, 700, 860),
    ),
    11: (
        *(60, 75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
        *(440, 500, 560, 660, 780, 920, 1100, 1350),
    ),
    12: (
        *(100, 120, 150, 180, 210, 250, 300, 350, 400, 460, 520, 570, 630),
        *(700, 800, 900, 1050, 1250, 1500, 1750, 2100),
    ),
}

# Letter -> distance of the nearer limit from the nominal, for each range [um]: below it for a shaft (small
# letter), above it for a hole (capital).
_DEVIATIONS_UM: dict[str, tuple[int, ...]] = {
    "d": (
        *(20, 30, 40, 50, 65, 80, 100, 120, 145, 170, 190, 210, 230),
        *(260, 290, 320, 350, 390, 430, 480, 520),
    ),
    "e": (
        *(14, 20, 25, 32, 40, 50, 60, 72, 85, 100, 110, 125, 135),
        *(145, 160, 170, 195, 220, 240, 260, 290),
    ),
    "f": (6, 10, 13, 16, 20, 25, 30, 36, 43, 50, 56, 62, 68, 76, 80, 86, 98, 110, 120, 130, 145),
    "g": (2, 4, 5, 6, 7, 9, 10, 12, 14, 15, 17, 18, 20, 22, 24, 26, 28, 30, 32, 34, 38),
    "h": (0,) * len(_UP_TO_MM),
}
_CLASS = re.compile(r"(IT|js|JS|[a-zA-Z]+)([0-9]{1,4})", re.ASCII)

_KNOWN = "IT6 to IT12, and with these grades the letters d e f g h js (shafts) and D E F G H JS (holes)"


def parse_class(text: str) -> tuple[str, int]:
    """Letters and grade of a class: "H8" is ("H", 8), "IT9" is ("IT", 9).

    Raises ComputationRefused where it is no class, or one that the tables here do not hold.
    """
    match = _CLASS.fullmatch(text)
    if match is None:
        raise _refuse(f'"{text}" is no class of {SOURCE}', 'write letters and grade, such as "H8" or "IT9"')
    letters, grade = match[1], int(match[2])
    if letters not in ("IT", "js", "JS") and letters.lower() not in _DEVIATIONS_UM:
        raise _refuse(f'the letters "{letters}" of "{text}" are not covered', f"covered are {_KNOWN}")
    if grade not in _GRADES_UM:
        raise _refuse(f'the grade {grade} of "{text}" is not covered', f"covered are {_KNOWN}")
    return letters, grade


def iso_286_grade(size_mm: float, grade: int) -> float:
    """Width of the tolerance of a grade (6 to 12) at a nominal size [mm].

    size_mm : above 0, up to 3150
    Raises ComputationRefused for a size or grade that the table does not hold.
    Source: ISO 286-1:2010, Table 1.
    """
    if grade not in _GRADES_UM:
        raise _refuse(f"the grade IT{grade} is not covered", f"covered are {_KNOWN}")
    return _GRADES_UM[grade][_find_range(size_mm)] / 1000.0


def iso_286_limits(size_mm: float, tolerance_class: str) -> tuple[float, float]:
    """Lower and upper deviation from a nominal size [mm] of a class such as "H8", "g6" or "IT9".

    An IT grade alone, js and JS stand for plus and minus half of the grade; the odd micrometre is not
    rounded away, which the standard allows for JS7 to JS11.
    size_mm : above 0, up to 3150
    Raises ComputationRefused for a size or class that the tables do not hold.
    Source: ISO 286-1:2010, Tables 1 to 5 (d to js); holes D to H mirror the shafts d to h.
    """
    letters, grade = parse_class(tolerance_class)
    width = iso_286_grade(size_mm, grade)
    if letters in ("IT", "js", "JS"):
        return -width / 2.0, width / 2.0
    nearer = _DEVIATIONS_UM[letters.lower()][_find_range(size_mm)] / 1000.0
    if letters.isupper():
        return nearer, nearer + width
    return -nearer - width, -nearer + 0.0


def _find_range(size_mm: float) -> int:
    if not 0.0 < size_mm <= LARGEST_MM:
        what = f"a nominal size of {size_mm:g} mm is not covered"
        raise _refuse(what, f"sizes above 0 and up to {LARGEST_MM:g} mm are; state limits instead")
    return bisect_left(_UP_TO_MM, size_mm)


def _refuse(what: str, do: str) -> ComputationRefused:
    return ComputationRefused(what, f"limits by {SOURCE}", do)
