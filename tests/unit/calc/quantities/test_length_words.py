"""Lengths as people write them. One inch is 25.4 mm: international yard and pound agreement of 1959."""

import pytest

from dryfit.calc.quantities import NotALength, read_length


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("3.66 m", 3660.0),
        ("366 cm", 3660.0),
        ("3660mm", 3660.0),
        ("12 ft", 3657.6),
        ("12 ft 3 1/2 in", 3746.5),
        ("12'-3 1/2\"", 3746.5),
        ("12'3\"", 3733.8),
        ("12′ 3½″", 3746.5),
        ("12' 3.5''", 3746.5),
        ("6 Ft 2 In", 1879.6),
        ("3-1/2 inches", 88.9),
        ('1/4"', 6.35),
        ("0 ft 0 1/2 in", 12.7),
    ],
)
def test_a_length_is_read_as_it_is_written(text: str, mm: float) -> None:
    assert read_length(text) == mm


def test_a_number_without_a_unit_takes_that_of_its_row() -> None:
    assert read_length("3 1/2", "in") == 88.9
    with pytest.raises(NotALength, match="no unit"):
        read_length("3 1/2")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("3,66 m", "comma"),
        ("1,200 mm", "comma"),
        ("12 ft 14 in", "fewer than 12"),
        ("3 5/4 in", "no fraction of one"),
        ("1/0 in", "zero below"),
        ("3 Mm", "no unit"),
        ("3 MM", "no unit"),
        ("-3 m", "negative"),
        ("12 ft 3", "no number with a unit"),
        ("1e3 mm", "no number with a unit"),
        ("three feet", "no number with a unit"),
        ("", "no number with a unit"),
        ("9" * 61 + " mm", "too long"),
    ],
)
def test_what_has_more_than_one_meaning_is_refused(text: str, why: str) -> None:
    with pytest.raises(NotALength, match=why):
        read_length(text)
