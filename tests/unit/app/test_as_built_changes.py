"""What a builder might do, against the same assembly stated otherwise."""

import dataclasses

import numpy as np
import pytest

from building import machine
from building.tower import tower
from dryfit.app.as_built_changes import AsBuiltChange, changed_chain, forecast_change
from dryfit.app.forecast import run_forecast
from dryfit.app.line_state import state_of_lines
from dryfit.app.live_chain import chain_for
from dryfit.app.shims import Shim
from dryfit.base.errors import ComputationRefused, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.part import Bed
from support.printed_parts import (
    as_built_of,
    chain_as_built,
    faces_measure,
    print_of,
    reading_of,
    without_readings,
)

TOP = Characteristic(
    "top",
    "height",
    parts=("b2",),
    points_mm=np.array([[20.0, 20.0, 300.0]]),
    direction=np.array([0.0, 0.0, 1.0]),
    lower=299.5,
    upper=300.5,
)
PRINTER = machine(repeatability_mm=0.04, scale_z=Estimate(0.0, 0.0005), skew_xz_deg=Estimate(0.0, 0.05))


@pytest.fixture(scope="module")
def assembled():
    return tower(PRINTER, (TOP,), bond_line_mm=Estimate(0.0))


@pytest.fixture(scope="module")
def as_built(assembled):
    item = print_of(assembled.project, "b2", 7)
    measure = faces_measure((20.0, 20.0, 100.0), (20.0, 20.0, 300.0))
    readings = [reading_of(assembled.project, item, measure, 200.4, 10 + k) for k in range(3)]
    return as_built_of([(item, readings, True)])


@pytest.fixture(scope="module")
def chain(assembled, as_built):
    return chain_as_built(assembled, as_built)


def top(report):
    return report.characteristics[0]


def test_a_shim_lifts_what_stands_on_it(chain):
    before = top(run_forecast(chain, with_prior=False))
    after = top(forecast_change(chain, AsBuiltChange(shims=(Shim("b1:b2", np.array([-0.4]), 0.02),))))
    assert after.predicted - before.predicted == pytest.approx(-0.4, abs=1e-6)
    assert after.std == pytest.approx(np.hypot(before.std, 0.02))
    assert abs(after.linear_minus_exact - before.linear_minus_exact) < 1e-9
    assert any(cause.source == "b1:b2.shim" for cause in after.contributions)


def test_a_wedge_lifts_by_what_lies_under_the_point(chain):
    # contacts at the corners of 80 mm: 0.08 mm more at x 80 than at x 0, a quarter of it at x 20
    points = chain.structure.table.p_first[(chain.structure.table.joint == 1) & chain.structure.table.is_face]
    before = state_of_lines(chain)
    wedge = changed_chain(chain, AsBuiltChange(shims=(Shim("b1:b2", 0.001 * points[:, 0]),)))
    after = state_of_lines(wedge)
    assert after.mean[0] - before.mean[0] == pytest.approx(0.02, abs=2e-4)
    assert after.std[0] == pytest.approx(before.std[0])


def test_shims_add_up_and_stay_with_the_chain(chain):
    one = changed_chain(chain, AsBuiltChange(shims=(Shim("b1:b2", np.array([0.1])),)))
    two = changed_chain(one, AsBuiltChange(shims=(Shim("ground:b1", np.array([0.2])),)))
    assert state_of_lines(two).mean[0] - state_of_lines(chain).mean[0] == pytest.approx(0.3, abs=1e-6)
    assert len(chain_for(two, two.project).shims) == 2


def test_a_part_printed_anew_is_as_uncertain_as_one_to_come(chain, assembled, as_built):
    anew = top(forecast_change(chain, AsBuiltChange(reprint=frozenset({"b2"}))))
    # the old print still tells of the machine, as one that is no part of the assembly
    other = dataclasses.replace(
        as_built, prints=tuple(dataclasses.replace(item, is_as_built=False) for item in as_built.prints)
    )
    theirs = top(run_forecast(chain_as_built(assembled, other)))
    assert (anew.predicted, anew.std) == pytest.approx((theirs.predicted, theirs.std))
    measured, unread = (
        top(run_forecast(chain)),
        top(run_forecast(chain_as_built(assembled, without_readings(as_built)))),
    )
    assert measured.std < anew.std < unread.std


def test_a_printed_part_that_is_turned_is_printed_anew(chain):
    change = AsBuiltChange(beds={"b2": Bed((90.0, 0.0, 0.0))})
    assert change.prints == {"b2"}
    turned = changed_chain(chain, change)
    assert turned.project.part("b2").bed == Bed((90.0, 0.0, 0.0))
    assert not turned.as_built.prints[0].is_as_built


def test_a_bond_line_is_the_gap_that_is_sought(chain):
    before = state_of_lines(chain)
    after = state_of_lines(changed_chain(chain, AsBuiltChange(bond_lines={"b1:b2": Estimate(0.15, 0.03)})))
    assert after.mean[0] - before.mean[0] == pytest.approx(0.15, abs=1e-6)
    assert after.std[0] == pytest.approx(np.hypot(before.std[0], 0.03))


def test_what_cannot_be_is_refused(chain):
    with pytest.raises(ReferenceUnknown):
        changed_chain(chain, AsBuiltChange(reprint=frozenset({"nothing"})))
    with pytest.raises(ReferenceUnknown):
        changed_chain(chain, AsBuiltChange(bond_lines={"nothing": Estimate(0.0)}))
    with pytest.raises(ReferenceUnknown):
        changed_chain(chain, AsBuiltChange(shims=(Shim("nothing", np.array([0.1])),)))
    with pytest.raises(ComputationRefused, match="2 thicknesses"):
        changed_chain(chain, AsBuiltChange(shims=(Shim("b1:b2", np.array([0.1, 0.2])),)))


def test_a_what_if_on_a_figure_is_of_parts_to_come(chain):
    machines = tuple(
        dataclasses.replace(
            item,
            error=dataclasses.replace(item.error, figures={**item.error.figures, "scale_z": Estimate(0.01)}),
        )
        for item in chain.project.machines
    )
    wished = chain_for(chain, dataclasses.replace(chain.project, machines=machines))
    before, after = top(run_forecast(chain)), top(run_forecast(wished))
    # b2 stands as printed; b1, 100 mm tall, takes the stated figure in place of what was learnt
    learnt = next(item for item in run_forecast(chain).basis.figures if item.name == "m.scale_z")
    assert after.predicted - before.predicted == pytest.approx(100 * (0.01 - learnt.after), abs=2e-3)
    assert abs(after.linear_minus_exact) < 0.01
