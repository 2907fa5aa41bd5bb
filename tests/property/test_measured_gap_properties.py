"""What must hold of gaps measured at bonded joints, whatever they are. The ring and its figures are invented."""

from __future__ import annotations

import dataclasses
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from building import machine, ring
from dryfit.app.as_built import AsBuiltParts
from dryfit.app.forecast import Chain
from dryfit.app.line_state import LineState, state_of_lines
from dryfit.base.estimate import Estimate
from dryfit.model.handwork import GapReading

PRINTER = machine(
    repeatability_mm=0.05,
    skew_xy_deg=Estimate(0.05, 0.02),
    scale_x=Estimate(0.0, 0.0005),
    boundary_offset_mm=Estimate(0.0, 0.03),
)
gaps = st.builds(
    GapReading,
    st.sampled_from(["j1", "j2", "j4"]),
    st.integers(0, 4),
    st.floats(-0.3, 0.5),
    st.sampled_from([0.0, 0.01, 0.1]),
)


@cache
def chain() -> Chain:
    return ring(4, PRINTER, play_mm=0.04).chain


def known(*measured: GapReading) -> LineState:
    return state_of_lines(dataclasses.replace(chain(), as_built=AsBuiltParts((), (), gaps=measured)))


@settings(max_examples=25, deadline=None)
@given(st.lists(gaps, min_size=1, max_size=4), gaps)
def test_one_more_measured_gap_never_makes_a_result_less_certain(
    some: list[GapReading], extra: GapReading
) -> None:
    before, after = known(*some), known(*some, extra)
    assert (after.std <= before.std + 1e-7).all()
    assert (before.std <= known().std + 1e-7).all()


@settings(max_examples=15, deadline=None)
@given(st.lists(gaps, min_size=2, max_size=4))
def test_the_order_of_measured_gaps_makes_no_difference(some: list[GapReading]) -> None:
    one, other = known(*some), known(*reversed(some))
    assert abs(one.mean - other.mean).max() < 1e-6
    assert abs(one.std - other.std).max() < 1e-6
