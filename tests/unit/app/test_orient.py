"""Bed poses and locator layouts on rings of equal segments, r 560..600, half a degree out of square.

Closing gap of such a ring printed in one bed pose, its middles at angle m: N g r sin(360/N) sin(2 m) to first
order (closed form); climb under an XZ fault with upright locators: N g r (1 - cos(360/N)).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.app.causes import part_columns
from dryfit.app.forecast import build_chain, run_forecast
from dryfit.app.geometry import shape_in_assembly
from dryfit.app.orient import apply_orientation, orient
from dryfit.app.orient_loss import exact_loss, first_order_loss, judge_lines
from dryfit.app.orient_poses import STATED, Pose, moved_chain, pose_spaces
from dryfit.app.orient_problem import build_problem
from dryfit.base.errors import ComputationRefused, Interrupted, ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.model.characteristic import Characteristic
from dryfit.model.joint import FaceContacts, Joint
from dryfit.model.machine import FIGURES, WIDE_PRIOR, ErrorModel, Machine
from dryfit.model.material import Material
from dryfit.model.mesh import TriangleMesh
from dryfit.model.orientation import OrientOptions
from dryfit.model.part import Bed, Part
from dryfit.model.project import Assembly, Project

INNER, OUTER = 560.0, 600.0
LIMIT = 0.2


def prism(outline, low, high):
    """Closed prism over a counter-clockwise outline (n, 2); its ends are fans, good enough for extents."""
    n = len(outline)
    vertices = np.vstack([np.c_[outline, np.full(n, low)], np.c_[outline, np.full(n, high)]])
    faces = [[0, k + 1, k] for k in range(1, n - 1)] + [[n, n + k, n + k + 1] for k in range(1, n - 1)]
    for k in range(n):
        after = (k + 1) % n
        faces += [[k, after, n + after], [k, n + after, n + k]]
    return TriangleMesh(vertices, np.array(faces))


def segment(number, count, height):
    turn = 2 * np.pi / count
    angles = turn * number + np.linspace(0, turn, 9)
    ray = np.column_stack([np.cos(angles), np.sin(angles)])
    return prism(np.vstack([OUTER * ray, INNER * ray[::-1]]), -height / 2, height / 2)


def machine(id="m", room=(2000.0, 2000.0, 2000.0), scatter=0.002, **figures):
    known = {name: Estimate(0.0) for name in FIGURES}
    known |= {
        name: value if isinstance(value, Estimate) else Estimate(value) for name, value in figures.items()
    }
    return Machine(id, room, ErrorModel(known, scatter, 0.3, "stated"))


def ring(count, fault, middle_deg=45.0, height=40.0, axis="long", middles=None):
    """Project and shapes: segment i as designed lies at 360/N i; its middle prints at middle_deg."""
    parts, shapes, joints = [], {}, []
    for number in range(count):
        design_middle = 360.0 / count * (number + 0.5)
        wanted = middle_deg if middles is None else middles[number]
        part = Part(f"ring-{number + 1}", "x", "m", "pla", bed=Bed((0.0, 0.0, wanted - design_middle)))
        parts.append(part)
        shapes[part.id] = shape_in_assembly(part, segment(number, count, height))
        x = 2 * np.pi / count * (number + 1)
        out, along = np.array([np.cos(x), np.sin(x), 0.0]), np.array([-np.sin(x), np.cos(x), 0.0])
        points = np.array([out * r + [0, 0, z] for r in (INNER, OUTER) for z in (-height / 2, height / 2)])
        faces = FaceContacts(points, points, np.tile(along, (4, 1)), 40.0 * height)
        names = (part.id, f"ring-{(number + 1) % count + 1}")
        play = Estimate(0.0, 0.001)
        joints.append(
            Joint(
                f"joint-{number + 1}",
                names,
                "pin-and-slot",
                locator_axis=axis,
                faces=faces,
                contact_play_mm=play,
                locator_play_mm=play,
            )
        )
    closing = joints[-1].id
    characteristics = (
        Characteristic("closure", "gap", closing, lower=-LIMIT, upper=LIMIT),
        Characteristic("climb", "step", closing, direction=np.array([0, 0, 1.0]), lower=-LIMIT, upper=LIMIT),
    )
    project = Project(
        "ring",
        Fraction(1, 20),
        machines=(fault,),
        materials=(Material("pla", "PLA", Estimate(0.0), Estimate(0.0)),),
        parts=tuple(parts),
        joints=tuple(joints),
        characteristics=characteristics,
        assembly=Assembly("ring-1"),
    )
    return project, shapes


def after(report, name):
    return next(item for item in report.characteristics if item.id == name)


def loss_of(report):
    """From the published forecast alone: mean and variance against the middle of two limits."""
    return sum(
        ((c.predicted - (c.lower_limit + c.upper_limit) / 2) ** 2 + c.std**2)
        / ((c.upper_limit - c.lower_limit) / 2) ** 2
        for c in report.characteristics
    )


@pytest.mark.parametrize("count", [4, 6, 8])
@pytest.mark.parametrize("middle_deg", [45.0, 30.0])
def test_a_ring_printed_askew_closes_after_the_search(count, middle_deg):
    chain = build_chain(*ring(count, machine(skew_xy_deg=0.5), middle_deg))
    report = orient(chain)
    expected = (
        count * math.radians(0.5) * 580 * math.sin(2 * np.pi / count) * math.sin(math.radians(2 * middle_deg))
    )
    assert after(report, "closure").predicted_before == pytest.approx(expected, rel=5e-3)
    assert abs(after(report, "closure").predicted_after) < 0.05
    assert report.loss_after < 1e-3 * report.loss_before


def extents(shape, bed):
    turn = Rotation.from_euler("xyz", bed.euler_xyz_deg, degrees=True)
    return np.ptp(turn.apply(shape.mesh.vertices.copy()), axis=0)


def chord_of_third(project):
    """The project judged only by the chord of its third segment of four, which lies at 180 to 270 degrees."""
    ends = np.array([[-580.0, 0.0, 0.0], [0.0, -580.0, 0.0]])
    length = 580.0 * math.sqrt(2.0)
    chord = Characteristic(
        "chord",
        "distance",
        parts=("ring-3", "ring-3"),
        points_mm=ends,
        lower=length - LIMIT,
        upper=length + LIMIT,
    )
    return replace(project, characteristics=(chord,))


@pytest.mark.parametrize("middle_deg", [45.0, 30.0])
def test_a_segment_is_turned_so_that_its_middle_lies_along_an_axis(middle_deg):
    project, shapes = ring(4, machine(skew_xy_deg=0.5), middle_deg)
    report = orient(build_chain(chord_of_third(project), shapes))
    (change,) = report.parts
    # a chord c square to the middle changes by g c sin(2 m) / 2 to first order, its sign that of -sin(2 m)
    before = -math.radians(0.5) * 580 * math.sqrt(2) * math.sin(math.radians(2 * middle_deg)) / 2
    assert change.part == "ring-3"
    assert change.share_before == pytest.approx(before, rel=1e-6)
    # exact placement puts the best turn half the fault, a quarter degree, beside the axis
    assert (middle_deg + change.turn_deg) % 90.0 == pytest.approx(0.0, abs=0.26)
    assert change.effect == "neutral"
    assert abs(change.share_after) < 0.05
    assert change.reason.startswith(f"its own share in chord falls from {before:+.2f} to ")
    assert "axis, where a fault in XY squareness neither lengthens nor shortens it" in change.reason


@pytest.mark.parametrize("count", [4, 6, 8])
def test_quarter_turns_alone_cancel_round_an_even_ring(count):
    chain = build_chain(*ring(count, machine(skew_xy_deg=0.5)))
    report = orient(chain, OrientOptions(grid_deg=90.0, is_refined=False))
    assert abs(after(report, "closure").predicted_after) < 0.05
    assert report.parts
    for change in report.parts:
        assert change.turn_deg % 90.0 == 0.0
        assert change.effect == "cancels"
        assert change.share_after == pytest.approx(-change.share_before, rel=0.01)
    if count == 4:
        assert len(report.parts) == 2  # every second one
        assert "goes from +5.06 to -5.06 mm and cancels that of ring-" in report.parts[0].reason


@pytest.mark.parametrize(("height", "stated", "chosen"), [(20.0, "short", "long"), (60.0, "long", "short")])
def test_locators_along_the_radius_stop_the_climb(height, stated, chosen):
    project, shapes = ring(4, machine(skew_xz_deg=0.5), middle_deg=45.0, height=height, axis=stated)
    keep = tuple(part.id for part in project.parts)
    report = orient(build_chain(project, shapes), OrientOptions(with_locators=True, keep_parts=keep))
    # N g r (1 - cos 90) for the first face along X; in this pose the lean is toward the design +X
    assert abs(after(report, "climb").predicted_before) == pytest.approx(
        4 * math.radians(0.5) * 580, rel=0.01
    )
    assert abs(after(report, "climb").predicted_after) < 0.05
    assert not report.parts
    assert {change.joint for change in report.joints} == {"joint-1", "joint-2", "joint-3"}
    assert {(change.stated, change.chosen) for change in report.joints} == {(stated, chosen)}
    assert "with this joint alone left as stated, climb would come to" in report.joints[0].reason


def test_stated_locator_points_are_varied_only_when_asked():
    project, shapes = ring(4, machine(skew_xz_deg=0.5), height=20.0)
    upright = [
        np.array([p * 580.0 / np.linalg.norm(p) + [0, 0, z] for z in (-5.0, 5.0)])
        for p in (joint.faces.points_on_first.mean(axis=0) for joint in project.joints)
    ]
    project = replace(
        project,
        joints=tuple(
            replace(joint, locator_points_mm=points)
            for joint, points in zip(project.joints, upright, strict=True)
        ),
    )
    keep = tuple(part.id for part in project.parts)
    chain = build_chain(project, shapes)
    assert not orient(chain, OrientOptions(with_locators=True, keep_parts=keep)).has_changes
    report = orient(chain, OrientOptions(with_locators=True, with_stated_points=True, keep_parts=keep))
    assert {(change.stated, change.chosen) for change in report.joints} == {("stated points", "long")}
    changed = apply_orientation(project, report)
    assert changed.joint("joint-1").locator_points_mm is None


def test_a_build_volume_that_forbids_the_neutral_pose_is_respected():
    # a quarter ring is 600 square askew and 849 long along an axis
    for room, is_neutral in ((900.0, True), (650.0, False)):
        project, shapes = ring(4, machine(room=(room, room, 100.0), skew_xy_deg=0.5))
        report = orient(build_chain(chord_of_third(project), shapes))
        bed = apply_orientation(project, report).part("ring-3").bed
        assert extents(shapes["ring-3"], bed).max() <= room + 1e-6
        assert report.parts  # in the small room another quarter turn or a few degrees still help
        assert (abs(report.parts[0].share_after) < 0.05) is is_neutral


def test_a_stated_pose_that_does_not_fit_gives_way_to_one_that_does():
    fault = machine(room=(700.0, 700.0, 100.0), skew_xy_deg=0.5)
    project, shapes = ring(4, fault, middle_deg=0.0)
    report = orient(build_chain(project, shapes))
    assert any('"ring-1" does not fit its machine as stated' in words for words in report.left_out)
    for part in apply_orientation(project, report).parts:
        assert extents(shapes[part.id], part.bed).max() <= 700.0 + 1e-6


def bar(rests=(), **figures):
    """One bar, 20 x 30 x 200, upright, its length a characteristic."""
    part = Part("bar", "x", "m", "pla", rests=rests)
    mesh = prism(np.array([[0, 0], [20, 0], [20, 30], [0, 30.0]]), 0.0, 200.0)
    length = Characteristic(
        "length",
        "distance",
        parts=("bar", "bar"),
        points_mm=np.array([[10, 15, 0], [10, 15, 200.0]]),
        lower=199.9,
        upper=200.1,
    )
    project = Project(
        "bar",
        None,
        machines=(machine(**figures),),
        materials=(Material("pla", "PLA", Estimate(0.0), Estimate(0.0)),),
        parts=(part,),
        characteristics=(length,),
        assembly=Assembly("bar"),
    )
    return project, {"bar": shape_in_assembly(part, mesh)}


def test_a_part_is_laid_on_another_face_where_that_helps():
    upright, lying = Bed((0.0, 0.0, 0.0)), Bed((0.0, 90.0, 0.0))
    project, shapes = bar((upright, lying), scale_z=0.01, scale_y=0.005)
    report = orient(build_chain(project, shapes))
    (change,) = report.parts
    assert change.is_other_rest
    # one hundredth of 200 upright, nothing along X
    assert change.share_before == pytest.approx(2.0)
    assert after(report, "length").predicted_after == pytest.approx(200.0, abs=1e-3)
    assert change.chosen.euler_xyz_deg[:2] == (0.0, 90.0)
    # without the user's leave it stays upright, where no turn helps
    project, shapes = bar((), scale_z=0.01, scale_y=0.005)
    assert not orient(build_chain(project, shapes)).has_changes


def test_the_turn_adds_to_the_last_extrinsic_angle():
    project, shapes = bar((Bed((90.0, 0.0, 30.0)),), scale_y=0.01)
    space = pose_spaces(project, shapes, ())[0]
    bed = space.bed(Pose(1, 25.0))
    expected = Rotation.from_euler("z", 25, degrees=True) * Rotation.from_euler(
        "xyz", [90, 0, 30], degrees=True
    )
    assert np.allclose(bed.rotation, expected.as_matrix(), atol=1e-14)


def all_figures(scatter=0.01):
    values = (0.002, -0.001, 0.0015, 0.4, -0.3, 0.25, 0.05, 0.1)
    stds = (0.001, 0.001, 0.002, 0.1, 0.05, 0.1, 0.02, 0.02)
    return machine(
        scatter=scatter, **{n: Estimate(v, s) for n, v, s in zip(FIGURES, values, stds, strict=True)}
    )


def test_brute_force_over_all_combinations_finds_nothing_better():
    project, shapes = ring(4, all_figures(), middle_deg=20.0)
    chain = build_chain(project, shapes)
    spaces = pose_spaces(project, shapes, ())
    turns = (0.0, 90.0, 180.0, 270.0)
    best = min(
        loss_of(run_forecast(moved_chain(chain, spaces, [Pose(0, t) for t in combination])))
        for combination in itertools.product(turns, repeat=4)
    )
    report = orient(chain, OrientOptions(grid_deg=90.0, is_refined=False))
    assert report.loss_before == pytest.approx(loss_of(run_forecast(chain)), rel=1e-12)
    # ties are given to fewer changes: at most three ten-thousandths of the loss per part
    assert best * (1 - 1e-9) <= report.loss_after <= best * (1 + 4 * 6e-4)


def test_brute_force_agrees_where_the_parts_can_cancel_exactly():
    project, shapes = ring(4, machine(skew_xy_deg=Estimate(0.5, 0.1)), middle_deg=37.0)
    chain = build_chain(project, shapes)
    spaces = pose_spaces(project, shapes, ())
    losses = {
        combination: loss_of(run_forecast(moved_chain(chain, spaces, [Pose(0, t) for t in combination])))
        for combination in itertools.product((0.0, 60.0, 120.0), repeat=4)
    }
    report = orient(chain, OrientOptions(grid_deg=60.0, is_refined=False))
    assert report.loss_after == pytest.approx(min(losses.values()), rel=1e-3, abs=4e-3)


@pytest.mark.parametrize("seed", range(6))
def test_the_answer_is_never_worse_than_the_stated_poses(seed):
    generator = np.random.default_rng(seed)
    middles = generator.choice([0.0, 17.0, 45.0, 90.0, 200.0], 4).tolist()
    figures = {
        name: Estimate(v, abs(s))
        for name, v, s in zip(
            FIGURES,
            generator.normal(0, [1e-3] * 3 + [0.2] * 3 + [0.05] * 2),
            generator.normal(0, [1e-3] * 3 + [0.2] * 3 + [0.05] * 2),
            strict=True,
        )
    }
    chain = build_chain(*ring(4, machine(**figures), middles=middles))
    report = orient(chain, OrientOptions(random_starts=2))
    assert report.loss_after <= report.loss_before


def test_the_changes_made_give_the_forecast_that_was_reported():
    project, shapes = ring(6, all_figures(0.002), middle_deg=30.0, height=60.0)
    report = orient(build_chain(project, shapes), OrientOptions(with_locators=True))
    assert report.has_changes
    again = run_forecast(build_chain(apply_orientation(project, report), shapes))
    for item, change in zip(again.characteristics, report.characteristics, strict=True):
        assert item.predicted == pytest.approx(change.predicted_after, abs=1e-9)
        assert item.std == pytest.approx(change.std_after, rel=1e-9)
        assert item.p_out == pytest.approx(change.p_out_after, abs=1e-9)
    assert report.loss_after == pytest.approx(loss_of(again), rel=1e-9)


def test_an_unknown_machine_is_turned_against_its_spread():
    fault = replace(machine(), error=replace(WIDE_PRIOR, repeatability_mm=0.002))
    chain = build_chain(*ring(4, fault))
    report = orient(chain)
    closure = after(report, "closure")
    assert closure.std_after < 0.2 * closure.std_before
    assert abs(closure.predicted_after) < 0.05
    assert "what one standard deviation of m." in report.parts[0].reason


def two_machines():
    project, shapes = ring(4, all_figures(), middle_deg=20.0)
    other = machine(
        "n", scale_x=Estimate(0.001, 0.002), skew_xz_deg=Estimate(0.2, 0.1), boundary_offset_mm=0.1
    )
    parts = tuple(
        replace(part, machine="n" if number % 2 else "m", rests=(part.bed, Bed((90.0, 0.0, 20.0))))
        for number, part in enumerate(project.parts)
    )
    return replace(project, machines=(*project.machines, other), parts=parts), shapes


def test_the_search_and_the_forecast_agree_to_first_order_in_any_pose():
    project, shapes = two_machines()
    chain = build_chain(project, shapes)
    judged = judge_lines(project, chain.structure)
    spaces = pose_spaces(project, shapes, ())
    problem = build_problem(chain, judged, spaces)
    generator = np.random.default_rng(3)
    for _ in range(5):
        poses = [
            Pose(int(r), float(t))
            for r, t in zip(generator.integers(0, 2, 4), generator.uniform(-180, 180, 4), strict=True)
        ]
        moved = moved_chain(chain, spaces, poses)
        assert problem.loss(poses) == pytest.approx(first_order_loss(moved, judged), rel=1e-9)


def test_the_share_of_a_part_is_that_of_the_chain():
    project, shapes = two_machines()
    chain = build_chain(project, shapes)
    judged = judge_lines(project, chain.structure)
    problem = build_problem(chain, judged, pose_spaces(project, shapes, ()))
    figures = np.array([project.machine("n").error.figures[name].value for name in FIGURES])
    share = part_columns(chain.structure, chain.motion.first, -1.0, 1)
    share = share + part_columns(chain.structure, chain.motion.second, 1.0, 1)
    k = len(judged.line)
    ours = problem.vector(1, STATED)[:k] / problem.scale[:k]
    assert np.allclose(ours, share[judged.line, : len(FIGURES)] @ figures, atol=1e-12)


def test_limits_decide_what_is_judged():
    project, shapes = bar(scale_z=0.01)
    length = project.characteristics[0]
    variants = (
        length,
        replace(length, id="open", lower=None, upper=None),
        replace(length, id="most", lower=None, upper=201.0),
        replace(length, id="on it", lower=200.0, upper=None),
    )
    project = replace(project, characteristics=variants)
    report = orient(build_chain(project, shapes))
    # two millimetres too long: (2 / 0.1)^2 and (2 / 1)^2, plus the scatter of two points over the same bands
    scatter = 2 * 0.002**2
    assert after(report, "length").loss_before == pytest.approx((2.0**2 + scatter) / 0.1**2, rel=1e-9)
    assert after(report, "most").loss_before == pytest.approx(2.0**2 + scatter, rel=1e-9)
    assert after(report, "open").loss_before is None
    assert '"open" has no limits' in report.left_out
    assert any(words.startswith('"on it" has a single limit') for words in report.left_out)


def test_a_flatness_is_judged_by_its_residuals():
    project, shapes = bar(scatter=0.01)
    corners = np.array([[0, 0, 200], [20, 0, 200], [20, 30, 200], [0, 30, 200.0]])
    top = Characteristic("top", "flatness", parts=("bar",) * 4, points_mm=corners, upper=0.1)
    project = replace(project, characteristics=(top,))
    chain = build_chain(project, shapes)
    # a residual of four corners of a rectangle keeps a quarter of the variance of a height
    expected = 0.25 * 0.01**2 / 0.05**2
    assert exact_loss(chain, judge_lines(project, chain.structure)).total == pytest.approx(expected, rel=1e-9)


def test_an_undetermined_characteristic_is_left_out_and_said_so():
    project, shapes = ring(4, machine(skew_xy_deg=0.5))
    free = tuple(replace(joint, locators="none", locator_play_mm=None) for joint in project.joints)
    width = Characteristic(
        "width",
        "distance",
        parts=("ring-1", "ring-1"),
        points_mm=np.array([[560, 0, 0], [600, 0, 0.0]]),
        lower=39.8,
        upper=40.2,
    )
    project = replace(project, joints=free, characteristics=(*project.characteristics, width))
    report = orient(build_chain(project, shapes))
    assert any('"climb" is undetermined' in words for words in report.left_out)
    assert after(report, "climb").loss_after is None


def test_nothing_to_judge_is_refused():
    project, shapes = bar()
    project = replace(project, characteristics=(replace(project.characteristics[0], lower=None, upper=None),))
    with pytest.raises(ComputationRefused, match="no characteristic can be judged"):
        orient(build_chain(project, shapes))


def test_kept_parts_stay_and_unknown_names_are_refused():
    project, shapes = ring(4, machine(skew_xy_deg=0.5))
    chain = build_chain(project, shapes)
    report = orient(chain, OrientOptions(keep_parts=("ring-1", "ring-2")))
    assert {change.part for change in report.parts} <= {"ring-3", "ring-4"}
    assert "kept as stated, as asked: ring-1, ring-2" in report.left_out
    with pytest.raises(ReferenceUnknown):
        orient(chain, OrientOptions(keep_parts=("ring-9",)))


@pytest.mark.parametrize("grid_deg", [7.0, 0.0, -15.0, 720.0])
def test_a_grid_that_does_not_divide_the_turn_is_refused(grid_deg):
    with pytest.raises(ComputationRefused, match="does not divide"):
        orient(build_chain(*bar(scale_z=0.01)), OrientOptions(grid_deg=grid_deg))


def test_progress_rises_to_the_end_and_can_stop_the_search():
    chain = build_chain(*ring(4, machine(skew_xy_deg=0.5)))
    seen = []
    orient(chain, progress=lambda done, total: seen.append((done, total)))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1][0] == seen[-1][1]

    def stop(done, total):
        raise Interrupted("stopped", "search", "start again")

    with pytest.raises(Interrupted):
        orient(chain, progress=stop)


def test_a_stale_report_is_refused():
    project, shapes = ring(4, machine(skew_xy_deg=0.5))
    report = orient(build_chain(project, shapes))
    with pytest.raises(ComputationRefused, match="changed since"):
        apply_orientation(apply_orientation(project, report), report)
    with pytest.raises(ReferenceUnknown):
        apply_orientation(replace(project, parts=()), report)


def test_a_ring_that_closes_already_is_left_alone():
    report = orient(build_chain(*ring(4, machine(skew_xy_deg=0.5), middle_deg=0.0)))
    assert not report.has_changes
    assert report.loss_after == report.loss_before


def test_shares_tell_what_the_turn_does_with_the_locators_as_chosen():
    # a reason that goes from a share to the same share would say nothing
    project, shapes = ring(4, machine(skew_xz_deg=0.5), height=20.0, axis="short")
    report = orient(build_chain(project, shapes), OrientOptions(with_locators=True))
    assert report.parts
    assert report.joints
    for change in report.parts:
        assert abs(change.share_after - change.share_before) > 0.01
        # the locators alone bring the climb to nothing to first order; the turns take the last 0.04 mm of the gap
        assert change.reason.endswith("to first order the stated poses do as well: exact placement decided")


def test_exact_placement_is_named_only_where_it_decided():
    report = orient(build_chain(*ring(4, machine(skew_xy_deg=0.5))))
    assert not any("exact placement" in change.reason for change in report.parts)
