"""What must hold of every forecast, whatever the assembly."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from building import (
    Assembled,
    box_frame,
    by_id,
    exact_machine,
    forecast,
    machine,
    material,
    predicted,
    rigidly_moved,
    ring,
    standard_uncertainty,
)
from building.ring import LAYOUTS, POSES
from dryfit.base.estimate import Estimate
from dryfit.model.joint import FaceContacts, Joint
from dryfit.model.machine import Machine
from dryfit.model.part import Bed

few = settings(max_examples=12, deadline=None)
leans = st.floats(-0.5, 0.5)
strains = st.floats(-0.003, 0.003)
stds = st.floats(0.0, 0.1)
angles = st.floats(-180.0, 180.0)


@st.composite
def printers(draw: st.DrawFn, id: str = "m") -> Machine:
    return machine(
        id,
        repeatability_mm=draw(st.floats(0.01, 0.1)),
        skew_xy_deg=Estimate(draw(leans), draw(stds)),
        skew_xz_deg=Estimate(draw(leans), draw(stds)),
        skew_yz_deg=Estimate(draw(leans), draw(stds)),
        scale_x=Estimate(draw(strains), 0.01 * draw(stds)),
        scale_z=Estimate(draw(strains), 0.01 * draw(stds)),
        boundary_offset_mm=Estimate(draw(st.floats(-0.2, 0.2)), draw(stds)),
    )


@st.composite
def rings(draw: st.DrawFn) -> Assembled:
    return ring(
        draw(st.integers(3, 7)),
        draw(printers()),
        draw(st.sampled_from(POSES)),
        draw(st.sampled_from(LAYOUTS)),
        first_deg=draw(angles),
        turn_deg=draw(angles),
        play_mm=draw(st.floats(0.02, 0.1)),
        closing=draw(st.sampled_from([None, "locating"])),
    )


@st.composite
def frames(draw: st.DrawFn) -> Assembled:
    beds = [(draw(angles), draw(angles), draw(angles)) for _ in range(3)]
    return box_frame((draw(printers()), draw(printers("n"))), tuple(beds))


assemblies = st.one_of(rings(), frames())
turns = st.tuples(*[st.floats(-3.0, 3.0)] * 3)
shifts = st.tuples(*[st.floats(-500.0, 500.0)] * 3)


def assert_same(one: Assembled, two: Assembled, abs_mm: float = 1e-6) -> None:
    first, second = forecast(one), forecast(two)
    assert predicted(first) == pytest.approx(predicted(second), abs=abs_mm)
    assert standard_uncertainty(first) == pytest.approx(standard_uncertainty(second), abs=abs_mm)


def without_heights(assembled: Assembled) -> Assembled:
    """Heights over the ground change when the assembly moves over it; they are left out."""
    kept = tuple(item for item in assembled.project.characteristics if item.kind != "height")
    return assembled.replaced(characteristics=kept)


@few
@given(assemblies, turns, shifts)
def test_a_rigid_motion_of_the_whole_project_changes_no_characteristic(
    assembled: Assembled, turn: Sequence[float], shift: Sequence[float]
) -> None:
    still = without_heights(assembled)
    rotation = Rotation.from_rotvec(turn).as_matrix()
    assert_same(still, rigidly_moved(still, rotation, np.array(shift)))


@few
@given(assemblies, st.randoms(use_true_random=False), st.booleans())
def test_the_order_of_the_document_plays_no_part(
    assembled: Assembled, random: object, is_stated: bool
) -> None:
    if not is_stated:
        bare = dataclasses.replace(assembled.project.assembly, order=())
        assembled = assembled.replaced(assembly=bare)
    project = assembled.project

    def mixed(items: tuple[object, ...]) -> tuple[object, ...]:
        shuffled = list(items)
        random.shuffle(shuffled)  # type: ignore[attr-defined]
        return tuple(shuffled)

    names = ("parts", "joints", "machines", "materials", "characteristics")
    other = assembled.replaced(**{name: mixed(getattr(project, name)) for name in names})
    assert_same(assembled, other)
    assert forecast(assembled).order == forecast(other).order
    assert set(forecast(assembled).closing) == set(forecast(other).closing)


@few
@given(st.integers(3, 8), st.sampled_from(POSES), st.sampled_from(LAYOUTS), angles)
def test_a_perfect_machine_gives_exactly_the_nominal_ring(
    count: int, pose: str, layout: str, turn: float
) -> None:
    report = forecast(ring(count, exact_machine(), pose, layout, turn_deg=turn))  # type: ignore[arg-type]
    for item in report.characteristics:
        assert item.predicted == pytest.approx(item.nominal, abs=1e-9)
        assert item.linear_minus_exact == pytest.approx(0.0, abs=1e-9)


def test_a_perfect_machine_gives_exactly_the_nominal_frame() -> None:
    for item in forecast(box_frame((exact_machine(),))).characteristics:
        assert item.predicted == pytest.approx(item.nominal, abs=1e-9)


@few
@given(st.integers(3, 8), st.sampled_from(LAYOUTS), angles, leans, leans, leans, strains, strains)
def test_the_same_error_in_one_assembly_orientation_closes_every_loop(
    count: int, layout: str, turn: float, xy: float, xz: float, yz: float, ex: float, ez: float
) -> None:
    printer = machine(skew_xy_deg=xy, skew_xz_deg=xz, skew_yz_deg=yz, scale_x=ex, scale_z=ez)
    report = forecast(ring(count, printer, "assembled", layout, turn_deg=turn))  # type: ignore[arg-type]
    assert predicted(report) == pytest.approx({"gap": 0.0, "step": 0.0, "climb": 0.0}, abs=1e-8)
    for part in report.placing:
        assert part.residual_rms_mm == pytest.approx(0.0, abs=1e-8)


def scaled(assembled: Assembled, factor: float) -> Assembled:
    def wider(estimate: Estimate) -> Estimate:
        return dataclasses.replace(estimate, std=factor * estimate.std)

    project = assembled.project
    machines = tuple(
        dataclasses.replace(
            printer,
            error=dataclasses.replace(
                printer.error,
                figures={name: wider(figure) for name, figure in printer.error.figures.items()},
                repeatability_mm=factor * printer.error.repeatability_mm,
            ),
        )
        for printer in project.machines
    )
    joints = tuple(
        dataclasses.replace(
            joint,
            contact_play_mm=wider(joint.contact_play_mm or Estimate(0.0)),
            locator_play_mm=wider(joint.locator_play_mm or Estimate(0.0)),
        )
        for joint in project.joints
    )
    return assembled.replaced(machines=machines, joints=joints)


@few
@given(assemblies, st.floats(0.2, 5.0))
def test_scaling_every_std_scales_each_result(assembled: Assembled, factor: float) -> None:
    before, after = forecast(assembled), forecast(scaled(assembled, factor))
    expected = {name: factor * std for name, std in standard_uncertainty(before).items()}
    assert standard_uncertainty(after) == pytest.approx(expected, rel=1e-9)
    assert predicted(after) == pytest.approx(predicted(before), abs=1e-7)


@few
@given(assemblies)
def test_the_shares_of_the_causes_add_up_to_one(assembled: Assembled) -> None:
    for item in forecast(assembled).characteristics:
        assert sum(cause.variance_share for cause in item.contributions) == pytest.approx(1.0, abs=1e-12)
        shift = sum(cause.mean_shift for cause in item.contributions)
        assert item.nominal + shift == pytest.approx(item.predicted + item.linear_minus_exact, abs=1e-8)


@few
@given(assemblies, st.sampled_from(["scale_y", "skew_xy_deg", "first_layer_flare_mm"]), st.floats(0.001, 0.1))
def test_one_more_source_never_lowers_a_std(assembled: Assembled, figure: str, extra: float) -> None:
    printer = assembled.project.machines[0]
    figures = dict(printer.error.figures)
    figures[figure] = dataclasses.replace(figures[figure], std=figures[figure].std + extra)
    wider = dataclasses.replace(printer, error=dataclasses.replace(printer.error, figures=figures))
    before = by_id(forecast(assembled))
    after = by_id(forecast(assembled.replaced(machines=(wider, *assembled.project.machines[1:]))))
    for name, item in after.items():
        assert item.std >= before[name].std - 1e-12


@few
@given(assemblies)
def test_the_worst_case_holds_the_95_percent_interval_and_the_interval_the_value(
    assembled: Assembled,
) -> None:
    for item in forecast(assembled).characteristics:
        assert item.worst_low <= item.low <= item.predicted <= item.high <= item.worst_high


def swapped(joint: Joint) -> Joint:
    faces = joint.faces
    assert faces is not None
    turned = FaceContacts(faces.points_on_second, faces.points_on_first, -faces.normals, faces.area_mm2)
    return dataclasses.replace(joint, parts=(joint.parts[1], joint.parts[0]), faces=turned)


@few
@given(assemblies)
def test_naming_the_parts_of_a_joint_the_other_way_round_changes_nothing_to_first_order(
    assembled: Assembled,
) -> None:
    other = assembled.replaced(joints=tuple(swapped(joint) for joint in assembled.project.joints))
    before, after = by_id(forecast(assembled)), by_id(forecast(other))
    for name, item in after.items():
        # a step is measured from the first part to the second, so that its sign turns round
        sign = -1.0 if item.kind == "step" else 1.0
        linear = before[name].predicted + before[name].linear_minus_exact
        assert item.std == pytest.approx(before[name].std, rel=1e-9)
        assert sign * (item.predicted + item.linear_minus_exact) == pytest.approx(linear, abs=1e-8)


@pytest.mark.parametrize("factor", [0.5, 0.25, 0.125])
def test_naming_them_the_other_way_round_matters_to_second_order_only(factor: float) -> None:
    def apart(lean: float) -> float:
        assembled = ring(5, machine(skew_xy_deg=lean))
        other = assembled.replaced(joints=tuple(swapped(joint) for joint in assembled.project.joints))
        return predicted(forecast(assembled))["gap"] - predicted(forecast(other))["gap"]

    whole = abs(apart(0.5))
    assert 0.0 < whole < 0.01
    assert abs(apart(0.5 * factor)) < 1.05 * factor**2 * whole


@few
@given(rings(), strains)
def test_shrinkage_scales_a_ring_alike_and_leaves_it_closed(assembled: Assembled, shrinkage: float) -> None:
    count = len(assembled.project.parts)
    still = ring(count, exact_machine(), "same").replaced(
        materials=(material(shrinkage=Estimate(shrinkage)),)
    )
    assert predicted(forecast(still)) == pytest.approx({"gap": 0.0, "step": 0.0, "climb": 0.0}, abs=1e-8)


@few
@given(st.integers(3, 6), angles)
def test_turning_a_part_on_the_bed_by_half_a_turn_about_the_vertical_leaves_an_xy_fault_alike(
    count: int, turn: float
) -> None:
    printer = machine(skew_xy_deg=0.4, repeatability_mm=0.05)
    assembled = ring(count, printer, turn_deg=turn)
    parts = tuple(
        dataclasses.replace(part, bed=Bed((0.0, 0.0, part.bed.euler_xyz_deg[2] + 180.0 * (k % 2))))
        for k, part in enumerate(assembled.project.parts)
    )
    assert_same(assembled, assembled.replaced(parts=parts), 1e-8)
