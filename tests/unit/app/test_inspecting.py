"""The inspection plan on a tower: what is worth reading, what a length must be, and what is made of readings."""

import dataclasses

import numpy as np
import pytest

from building import machine
from building.tower import tower
from dryfit.app.forecast import run_forecast
from dryfit.app.hold_as_built import as_built_lines
from dryfit.app.inspecting import InspectionRefused, InspectOptions, plan_inspection, read_minutes
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.instrument_table import COMMON_INSTRUMENTS
from support.printed_parts import as_built_of, chain_as_built, print_of, reading_of

UP = np.array([0.0, 0.0, 1.0])
TOP = Characteristic(
    "top",
    "height",
    parts=("b2",),
    points_mm=np.array([[80.0, 80.0, 300.0]]),
    direction=UP,
    lower=299.7,
    upper=300.3,
)
PRINTER = machine(repeatability_mm=0.03, scale_z=Estimate(0.0, 0.001))
INSTRUMENTS = (COMMON_INSTRUMENTS["caliper-300"], COMMON_INSTRUMENTS["steel-rule-300"])


def planned(readings=(), options=None):
    assembled = tower(PRINTER, (TOP,))
    item = print_of(assembled.project, "b1", 7)
    as_built = as_built_of([(item, [reading_of(assembled.project, item, *row) for row in readings], True)])
    chain = chain_as_built(assembled, as_built)
    return plan_inspection(chain, chain.as_built, INSTRUMENTS, options or InspectOptions())


def test_the_height_of_the_block_that_carries_the_top_is_worth_reading_most():
    (plan,) = planned().parts
    best = plan.readings[0]
    assert best.kind == "outside"
    assert best.nominal_mm == pytest.approx(100.0)
    assert best.instrument == "caliper-300"
    assert best.helps[0][0] == "top"
    gains = [row.gain for row in plan.readings]
    assert best.gain_per_minute == max(row.gain_per_minute for row in plan.readings)
    assert all(gain > 0 for gain in gains)


def test_limits_are_where_the_length_would_carry_the_characteristic_out():
    (plan,) = planned().parts
    best = plan.readings[0]
    assert best.limits_from == "top"
    # by the scale that both blocks share 0.1 mm of the first 100 goes with 0.3 at the top, less what its points scatter
    assert best.acceptance.upper - 100.0 == pytest.approx(0.11, abs=0.02)
    assert best.acceptance.accept_upper < best.acceptance.upper
    assert 100.0 - best.acceptance.lower == pytest.approx(best.acceptance.upper - 100.0, abs=1e-3)


def test_what_was_read_is_judged_and_not_proposed_again():
    before = planned().parts[0].readings[0]
    measure_at = (before.first_mm, before.second_mm)
    from support.printed_parts import faces_measure

    measure = faces_measure(*measure_at)
    (plan,) = planned([(measure, 101.0, 11, INSTRUMENTS[0])]).parts
    (done,) = plan.done
    assert done.done.records == (11,)
    assert done.done.mean_mm == 101.0
    assert before.number not in [row.number for row in plan.readings]


def test_minutes_rank_anew():
    quick = planned(options=InspectOptions(minutes={"caliper-300": 0.5})).parts[0].readings[0]
    usual = planned().parts[0].readings[0]
    assert quick.minutes == pytest.approx(0.5 * usual.minutes)
    assert quick.gain == pytest.approx(usual.gain)
    for wrong in ({"none": 1.0}, {"caliper-300": 0.0}):
        with pytest.raises(InspectionRefused):
            planned(options=InspectOptions(minutes=wrong))
    assert read_minutes(["tape-3m=5"]) == {"tape-3m": 5.0}
    with pytest.raises(InspectionRefused):
        read_minutes(["tape-3m"])


def test_where_nothing_is_at_risk_nothing_is_worth_reading():
    assembled = tower(machine(), (dataclasses.replace(TOP, lower=200.0, upper=400.0),))
    item = print_of(assembled.project, "b1", 7)
    chain = chain_as_built(assembled, as_built_of([(item, [], True)]))
    (plan,) = plan_inspection(chain, chain.as_built, INSTRUMENTS, InspectOptions()).parts
    assert plan.readings == ()
    assert plan.note


def test_the_hold_point_names_parts_that_were_not_read():
    assembled = tower(PRINTER, (TOP,))
    item = print_of(assembled.project, "b1", 7)
    report = run_forecast(chain_as_built(assembled, as_built_of([(item, [], True)])))
    (line,) = as_built_lines(report.basis)
    assert (line.state, line.reason) == ("not checked", "printed and not read: b1")
    assert list(as_built_lines(None)) == []
