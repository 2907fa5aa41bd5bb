"""How classes are written; the tables themselves are held against their sources in tests/published."""

import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.limits import CLASSES, iso_286_limits, iso_2768_linear, parse_class


@pytest.mark.parametrize(
    ("text", "read"),
    [("H8", ("H", 8)), ("g6", ("g", 6)), ("IT10", ("IT", 10)), ("js12", ("js", 12)), ("JS7", ("JS", 7))],
)
def test_a_class_is_letters_and_grade(text, read):
    assert parse_class(text) == read


def test_a_refusal_says_where_and_what_is_covered():
    with pytest.raises(ComputationRefused) as refusal:
        parse_class("P6")
    assert refusal.value.where == "limits by ISO 286-1:2010"
    assert "IT6 to IT12" in refusal.value.do


def test_every_class_covers_ten_millimetres():
    for name in CLASSES:
        lower, upper = iso_2768_linear(10.0, name)
        assert lower == -upper < 0


@pytest.mark.parametrize("letter", ["d", "e", "f", "g", "h"])
def test_a_shaft_with_its_hole_never_jams(letter):
    for size in (2, 5, 17, 99, 700, 3000):
        assert iso_286_limits(size, "H9")[0] >= iso_286_limits(size, f"{letter}9")[1]
