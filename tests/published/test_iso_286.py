"""Grades and classes of ISO 286-1:2010.

Table 1 was read in a copy for the ranges 18 to 250 mm and 400 to 500 mm. The other ranges and all
fundamental deviations are from memory (reproduces; source text not seen) and are held against the formulas
from which the standard made its tables, themselves from memory: rounding moves a tabulated value by up to
several per cent from its formula, a slip of a digit or of a column by much more.
"""

import math
from itertools import pairwise

import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.limits import iso_286_grade, iso_286_limits, parse_class
from published.registry import check

SOURCE = "ISO 286-1:2010"

# Upper end of a range [mm] -> IT6 to IT12 [um], as in the copy.
SEEN = {
    30: (13, 21, 33, 52, 84, 130, 210),
    50: (16, 25, 39, 62, 100, 160, 250),
    80: (19, 30, 46, 74, 120, 190, 300),
    120: (22, 35, 54, 87, 140, 220, 350),
    180: (25, 40, 63, 100, 160, 250, 400),
    250: (29, 46, 72, 115, 185, 290, 460),
    500: (40, 63, 97, 155, 250, 400, 630),
}
BEGINS = {30: 18, 50: 30, 80: 50, 120: 80, 180: 120, 250: 180, 500: 400}
RANGES = [
    *(1, 3, 6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500),
    *(630, 800, 1000, 1250, 1600, 2000, 2500, 3150),
]


@pytest.mark.parametrize("end", SEEN)
def test_table_1(end: int) -> None:
    for grade, theirs in zip(range(6, 13), SEEN[end], strict=True):
        for size in (end, math.nextafter(BEGINS[end], end)):
            ours = iso_286_grade(size, grade)
            check(SOURCE, f"IT{grade} at {size:.9g} mm", theirs / 1000, ours, 1e-9, seen=True, unit="mm")


def test_classes_seen() -> None:
    for size, text, lower, upper in (
        (50, "H7", 0.0, 0.025),
        (50, "g6", -0.025, -0.009),
        (25, "H8", 0.0, 0.033),
    ):
        ours = iso_286_limits(size, text)
        check(SOURCE, f"{size}{text} lower", lower, ours[0], 1e-9, seen=True, unit="mm")
        check(SOURCE, f"{size}{text} upper", upper, ours[1], 1e-9, seen=True, unit="mm")


def test_clearance_of_100_h7_g6() -> None:
    hole, shaft = iso_286_limits(100, "H7"), iso_286_limits(100, "g6")
    check(SOURCE, "100H7/g6 least clearance", 0.012, hole[0] - shaft[1], 1e-9, seen=True, unit="mm")
    check(SOURCE, "100H7/g6 most clearance", 0.069, hole[1] - shaft[0], 1e-9, seen=True, unit="mm")


# IT6 to IT12 are these multiples of the tolerance unit (memory).
MULTIPLES = {6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100, 12: 160}


def tolerance_unit_um(size: float) -> float:
    return 0.45 * size ** (1 / 3) + 0.001 * size if size <= 500 else 0.004 * size + 2.1


@pytest.mark.parametrize(("begin", "end"), list(pairwise(RANGES)))
def test_grades_lie_near_the_formula(begin: int, end: int) -> None:
    # Geometric mean of the range; the first one, whose rule is another, only roughly and at its end.
    size, most = (math.sqrt(begin * end), 0.095) if end > 3 else (end, 0.15)
    for grade, multiple in MULTIPLES.items():
        formula = multiple * tolerance_unit_um(size) / 1000
        assert iso_286_grade(end, grade) == pytest.approx(formula, rel=most)


@pytest.mark.parametrize(("letter", "factor", "power"), [("d", 16, 0.44), ("e", 11, 0.41), ("f", 5.5, 0.41)])
def test_deviations_lie_near_the_formula(letter: str, factor: float, power: float) -> None:
    for begin, end in pairwise(RANGES[1:]):
        formula = factor * math.sqrt(begin * end) ** power / 1000
        assert -iso_286_limits(end, f"{letter}7")[1] == pytest.approx(formula, rel=0.05, abs=0.001)


def test_deviation_g_lies_near_the_formula() -> None:
    for begin, end in pairwise(RANGES[1:]):
        formula = 2.5 * math.sqrt(begin * end) ** 0.34 / 1000
        assert -iso_286_limits(end, "g7")[1] == pytest.approx(formula, rel=0.05, abs=0.001)


def test_each_grade_and_letter_grows_with_the_size() -> None:
    for text in ("IT6", "IT7", "IT8", "IT9", "IT10", "IT11", "IT12", "D8", "E8", "F8", "G8"):
        uppers = [iso_286_limits(end, text)[1] for end in RANGES[1:]]
        assert uppers == sorted(uppers)
        assert len(set(uppers)) == len(uppers)


@pytest.mark.parametrize("letter", "defg")
def test_holes_mirror_shafts(letter: str) -> None:
    lower, upper = iso_286_limits(70, f"{letter}9")
    assert iso_286_limits(70, f"{letter.upper()}9") == (-upper, -lower)


def test_symmetric_classes() -> None:
    for text in ("js9", "JS9", "IT9"):
        assert iso_286_limits(40, text) == (-0.031, 0.031)
    lower, upper = iso_286_limits(40, "h9")
    assert (lower, upper) == (-0.062, 0.0)
    assert math.copysign(1.0, upper) == 1.0


def test_a_range_ends_with_its_upper_size() -> None:
    assert iso_286_grade(50, 7) == 0.025
    assert iso_286_grade(50.001, 7) == 0.030
    assert iso_286_grade(0.1, 7) == iso_286_grade(3, 7) == 0.010


@pytest.mark.parametrize(
    "text", ["", "8", "H", "IT", "it8", "IT5", "H13", "K7", "Js8", "jS8", "zz8", "H8 ", "H²"]
)
def test_what_is_not_covered_is_refused(text: str) -> None:
    with pytest.raises(ComputationRefused, match=r"covered|no class"):
        parse_class(text)


@pytest.mark.parametrize("size", [0.0, -5.0, 3150.1, math.nan, math.inf])
def test_sizes_beyond_the_tables_are_refused(size: float) -> None:
    with pytest.raises(ComputationRefused, match="not covered"):
        iso_286_limits(size, "H8")
    with pytest.raises(ComputationRefused, match="grade IT5"):
        iso_286_grade(10.0, 5)
