"""What must hold of every budget and every gauge study."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from dryfit.base.arrays import Array
from dryfit.calc.gauging import Component, analyse_crossed, analyse_ranges, combine

some = settings(max_examples=60, deadline=None)
spreads = st.floats(1e-4, 10.0)


@st.composite
def components(draw: st.DrawFn) -> list[Component]:
    count = draw(st.integers(1, 6))
    return [
        Component(
            f"c{k}",
            draw(spreads),
            "mm",
            draw(st.floats(-5.0, 5.0).filter(lambda x: abs(x) > 1e-3)),
            draw(st.floats(1.0, 100.0) | st.just(math.inf)),
            draw(st.booleans()),
            "",
        )
        for k in range(count)
    ]


@st.composite
def studies(draw: st.DrawFn) -> Array:
    people, parts, trials = draw(st.integers(1, 4)), draw(st.integers(2, 6)), draw(st.integers(2, 4))
    steps = draw(arrays(np.int64, (people, parts, trials), elements=st.integers(-20, 20)))
    return 50.0 + 10.0 * np.arange(parts)[None, :, None] + 0.01 * steps


@some
@given(components(), spreads)
def test_one_more_cause_never_makes_a_reading_better(causes: list[Component], std: float) -> None:
    more = Component("extra", std, "mm", 1.0, math.inf, False, "")
    assert combine([*causes, more]).std_mm > combine(causes).std_mm


@some
@given(components())
def test_the_largest_cause_bounds_the_sum_and_the_smallest_dof_bounds_its_dof(
    causes: list[Component],
) -> None:
    budget = combine(causes)
    assert budget.std_mm >= max(item.contribution_mm for item in causes)
    assert budget.dof >= min(item.dof for item in causes) * (1.0 - 1e-12)
    assert sum(budget.share(item) for item in causes) == pytest.approx(1.0)
    assert budget.own_std_mm <= budget.std_mm * (1.0 + 1e-12)


@some
@given(studies(), st.floats(0.1, 10.0), st.floats(-5.0, 5.0))
def test_unit_and_zero_of_the_readings_do_not_matter(values: Array, factor: float, shift: float) -> None:
    study, other = analyse_crossed(values), analyse_crossed(factor * values + shift)
    for name in ("repeatability", "both", "parts", "total"):
        assert getattr(other, name) == pytest.approx(factor * getattr(study, name), rel=1e-6, abs=1e-7)


@some
@given(studies(), st.data())
def test_what_the_parts_measure_does_not_change_how_they_repeat(values: Array, data: st.DataObject) -> None:
    sizes = data.draw(arrays(np.float64, values.shape[1], elements=st.floats(-50.0, 50.0)))
    other = values + sizes[None, :, None]
    assert analyse_crossed(other).repeatability == pytest.approx(
        analyse_crossed(values).repeatability, abs=1e-6
    )
    assert analyse_ranges(other).repeatability == pytest.approx(
        analyse_ranges(values).repeatability, abs=1e-6
    )


@some
@given(studies(), st.data())
def test_in_which_order_people_and_trials_come_does_not_matter(values: Array, data: st.DataObject) -> None:
    people = data.draw(st.permutations(range(values.shape[0])))
    trials = data.draw(st.permutations(range(values.shape[2])))
    other = analyse_crossed(values[people][:, :, trials])
    study = analyse_crossed(values)
    assert (other.both, other.parts) == pytest.approx((study.both, study.parts), abs=1e-7)


@some
@given(studies())
def test_the_interval_holds_its_own_estimate(values: Array) -> None:
    study = analyse_crossed(values)
    interval = study.repeatability_interval
    assert interval.low <= study.repeatability <= interval.high
