"""What a forecast says about itself: order, roles, assumptions, re-use of its stages."""

import dataclasses

import numpy as np
import pytest

from building import box_frame, by_id, forecast, machine, predicted, ring, standard_uncertainty, tower
from dryfit.app.forecast import Provenance, run_forecast, with_figures, with_poses
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.machine import WIDE_PRIOR, Machine
from dryfit.model.part import Bed

TOP = Characteristic(
    "top",
    "height",
    parts=("b2",),
    points_mm=np.array([[40.0, 40.0, 300.0]]),
    direction=np.array([0.0, 0.0, 1.0]),
)


def test_order_and_closing_joint_of_a_ring() -> None:
    report = forecast(ring(5, machine()))
    assert report.order == ("r1", "r2", "r3", "r4", "r5")
    assert report.closing == ("j5",)
    assert [part.joints for part in report.placing] == [(), ("j1",), ("j2",), ("j3",), ("j4",)]
    assert all(part.free_motions == () for part in report.placing)


def test_a_closing_joint_stated_to_locate_makes_the_last_part_a_compromise() -> None:
    report = forecast(ring(5, machine(skew_xy_deg=0.3), closing="locating"))
    assert report.closing == ()
    assert report.placing[-1].joints == ("j4", "j5")
    assert report.placing[-1].residual_rms_mm > 0.1
    assert report.placing[-2].residual_rms_mm == pytest.approx(0.0, abs=1e-8)


def test_how_far_a_part_moves_and_turns_in_placing() -> None:
    """A block whose base prints level stands as modelled; one on a leaning joint face does not turn either."""
    report = forecast(tower(machine(scale_z=0.01), (TOP,)))
    # the foot stays on the ground: the centroid of b1 rises by half of 1 mm, of b2 by 1 + 1
    assert [part.shift_mm[2] for part in report.placing] == pytest.approx([0.5, 2.0])
    assert [part.turn_deg for part in report.placing] == pytest.approx([0.0, 0.0], abs=1e-5)


def test_assumptions_are_listed() -> None:
    prior = Machine("m", (300.0, 300.0, 300.0), WIDE_PRIOR)
    notes = " ".join(forecast(tower(prior, (TOP,))).assumptions)
    for words in (
        "has no error model",
        "common practice, no source",
        "everything at 20 C",
        "bond line not stated",
    ):
        assert words in notes


def test_a_wide_prior_shows_what_not_knowing_costs() -> None:
    prior = Machine("m", (300.0, 300.0, 300.0), WIDE_PRIOR)
    item = by_id(forecast(tower(prior, (TOP,))))["top"]
    # 0.3 % of 300 mm, one standard deviation, and a little scatter
    assert item.std == pytest.approx(0.9, abs=0.02)
    assert item.contributions[0].source == "m.scale_z"


def test_provenance_is_passed_on() -> None:
    given = Provenance("abc", (("a.stl", "123"),), ("read as mm",), ("m.skew_xz_deg = 0",))
    report = run_forecast(tower(machine(), (TOP,)).chain, given)
    assert (report.input_hash, report.mesh_hashes, report.what_if) == (
        "abc",
        (("a.stl", "123"),),
        ("m.skew_xz_deg = 0",),
    )
    assert "read as mm" in report.assumptions


def test_a_changed_figure_or_pose_re_uses_the_structure_and_gives_the_same_as_a_new_chain() -> None:
    before = box_frame((machine(skew_xz_deg=Estimate(0.2, 0.1)),))
    chain = before.chain
    other = machine(skew_xz_deg=Estimate(-0.3, 0.05), scale_x=Estimate(0.001, 0.0002), repeatability_mm=0.04)
    figures = before.replaced(machines=(other,))
    quick, full = run_forecast(with_figures(chain, figures.project)), forecast(figures)
    assert predicted(quick) == pytest.approx(predicted(full), abs=1e-12)
    assert standard_uncertainty(quick) == pytest.approx(standard_uncertainty(full), abs=1e-12)
    parts = tuple(dataclasses.replace(part, bed=Bed((0.0, 0.0, 90.0))) for part in figures.project.parts)
    posed = figures.replaced(parts=parts)
    quick, full = run_forecast(with_poses(chain, posed.project)), forecast(posed)
    assert predicted(quick) == pytest.approx(predicted(full), abs=1e-12)
    assert predicted(quick) != pytest.approx(predicted(forecast(figures)), abs=1e-6)


def test_bounds_on_the_probability_that_anything_is_out() -> None:
    report = forecast(ring(4, machine(skew_xy_deg=Estimate(0.0, 0.02), repeatability_mm=0.01)))
    each = [item.p_out for item in report.characteristics]
    assert report.p_any_out == (max(p for p in each if p is not None), pytest.approx(min(1.0, sum(each))))  # type: ignore[arg-type]


def test_the_seed_fixes_the_draws() -> None:
    shaped = tower(machine(), (TOP,), bond_line_mm=Estimate(0.1, 0.05, "uniform")).chain
    one, same, other = (by_id(run_forecast(shaped, samples=5000, seed=seed))["top"] for seed in (1, 1, 2))
    assert (one.low, one.high) == (same.low, same.high)
    assert one.high != other.high
    assert one.samples == 5000


def test_a_part_that_does_not_settle_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    from dryfit.app import forecast as module
    from dryfit.base.errors import ComputationRefused
    from dryfit.calc.placing import NotSettled

    chain = ring(4, machine(skew_xy_deg=0.5)).chain

    def fails(*_: object) -> None:
        raise NotSettled(2)

    monkeypatch.setattr(module, "place_exactly", fails)
    with pytest.raises(ComputationRefused, match="does not settle") as caught:
        module.place_chain(chain)
    assert chain.project.parts[2].id in caught.value.where
