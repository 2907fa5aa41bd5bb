"""General tolerances of lengths, ISO 2768-1:1989.

Class m was read in a copy. Class f, and c and v above 6 mm, are from memory (reproduces; source text not
seen) and are checked for nothing but what the classes are to one another. Copies of c and v below 6 mm and
of the table of angles differ among one another, so neither is given.
"""

import math

import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.limits import iso_2768_linear
from published.registry import check

SOURCE = "ISO 2768-1"
ENDS = (3, 6, 30, 120, 400, 1000, 2000, 4000)
BEGINS = (0.5, *ENDS[:-1])
M = (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0)
F = (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5)
C = (0.5, 0.8, 1.2, 2.0, 3.0, 4.0)
V = (1.0, 1.5, 2.5, 4.0, 6.0, 8.0)


@pytest.mark.parametrize(
    ("name", "first", "halves", "seen"),
    [("m", 0, M, True), ("f", 0, F, False), ("c", 2, C, False), ("v", 2, V, False)],
)
def test_each_range_of_a_class(name: str, first: int, halves: tuple[float, ...], seen: bool) -> None:
    for index, half in enumerate(halves, start=first):
        begin = BEGINS[index] if index == 0 else math.nextafter(BEGINS[index], math.inf)
        for size in (begin, ENDS[index]):
            lower, upper = iso_2768_linear(size, name)
            check(SOURCE, f"{name} at {size:.9g} mm, upper", half, upper, 1e-9, seen=seen, unit="mm")
            check(SOURCE, f"{name} at {size:.9g} mm, lower", -half, lower, 1e-9, seen=seen, unit="mm")


def test_a_coarser_class_is_wider() -> None:
    for size in (10, 100, 300, 800, 1500):
        widths = [iso_2768_linear(size, name)[1] for name in "fmcv"]
        assert widths == sorted(set(widths))


@pytest.mark.parametrize(
    ("size", "name"),
    [
        *((0.49, "m"), (4000.1, "m"), (math.nan, "m"), (math.inf, "m"), (-3.0, "m"), (0.0, "f")),
        *((2000.1, "f"), (6.0, "c"), (3.0, "v"), (4000.1, "v"), (0.4, "c")),
    ],
)
def test_sizes_that_are_not_covered_are_refused(size: float, name: str) -> None:
    with pytest.raises(ComputationRefused, match="not covered") as refusal:
        iso_2768_linear(size, name)
    assert "state limits instead" in refusal.value.do


@pytest.mark.parametrize("name", ["", "M", "x", "mK", "H"])
def test_other_classes_are_refused(name: str) -> None:
    with pytest.raises(ComputationRefused, match="no class"):
        iso_2768_linear(10.0, name)


def test_the_remedy_names_the_span() -> None:
    with pytest.raises(ComputationRefused) as refusal:
        iso_2768_linear(5.0, "c")
    assert refusal.value.do == "it is above 6 to 4000 mm; state limits instead"
