"""Ranking the units that a mesh may be in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryfit.calc.units import CANDIDATE_UNITS, rank_units

BED = (500.0, 500.0, 600.0)


def units(candidates):
    return [candidate.unit for candidate in candidates]


def test_sizes_by_the_definitions_of_the_units():
    """1 inch is 25.4 mm (agreement of 1959); SI prefixes."""
    sizes = {c.unit: c.size_mm.tolist() for c in rank_units(np.array([1.0, 2.0, 4.0]), None, [])}
    assert sizes == {"mm": [1, 2, 4], "cm": [10, 20, 40], "m": [1000, 2000, 4000], "in": [25.4, 50.8, 101.6]}


def test_a_mesh_in_metres_fits_the_bed_only_as_metres():
    best, *others = rank_units(np.array([0.412, 0.388, 0.051]), BED, [np.array([400.0, 390.0, 50.0])])
    assert (best.unit, best.fits_build_volume) == ("m", True)
    assert best.ratio_to_other_parts == pytest.approx(1.03)
    assert best.words == (
        "as metres it measures 412 x 388 x 51 mm, which fits the build volume, "
        "1.03 times the median size of the other parts"
    )
    assert units(others)[-1] == "mm"


def test_what_does_not_fit_the_bed_comes_last():
    ranked = rank_units(np.array([300.0, 20.0, 20.0]), BED, [])
    # As metres it would be 300 m long: no printed part, so last of all.
    assert units(ranked) == ["mm", "in", "cm", "m"]
    assert [c.fits_build_volume for c in ranked] == [True, False, False, False]


def test_the_bed_goes_before_the_other_parts():
    """Beside parts of 2 m, 10 m is nearer in ratio (5) than 254 mm (7.9), but only the latter can be printed."""
    ranked = rank_units(np.array([10.0, 5.0, 5.0]), BED, [np.array([2000.0, 1.0, 1.0])])
    assert units(ranked) == ["in", "cm", "mm", "m"]


def test_a_part_may_lie_along_any_axis():
    """590 mm stands upright in a volume of 600 mm and would not lie down in it."""
    best = rank_units(np.array([590.0, 20.0, 20.0]), BED, [])[0]
    assert (best.unit, best.fits_build_volume) == ("mm", True)


def test_the_median_of_the_other_parts_decides_among_those_that_fit():
    others = [np.array([s, 1.0, 1.0]) for s in (240.0, 250.0, 9000.0)]
    assert rank_units(np.array([10.0, 5.0, 5.0]), BED, others)[0].unit == "in"
    assert rank_units(np.array([25.0, 5.0, 5.0]), BED, others)[0].unit == "cm"


def test_without_a_machine_nothing_is_said_of_its_volume():
    for candidate in rank_units(np.array([10.0, 5.0, 5.0]), None, []):
        assert candidate.fits_build_volume is None
        assert candidate.ratio_to_other_parts is None
        assert "build volume" not in candidate.words


@given(st.floats(1e-3, 1e4), st.sampled_from(CANDIDATE_UNITS))
def test_a_part_as_large_as_the_others_is_in_their_unit(size, unit):
    factor = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}[unit]
    extent = np.full(3, size)
    if 1.0 <= size * factor <= 10_000.0:
        assert rank_units(extent, None, [extent * factor])[0].unit == unit


@pytest.mark.parametrize("extent", [[0, 0, 0], [1, -1, 1], [np.nan, 1, 1], [1, 1]])
def test_an_extent_is_three_sensible_numbers(extent):
    with pytest.raises(ValueError, match="extent"):
        rank_units(np.array(extent, dtype=float), None, [])
