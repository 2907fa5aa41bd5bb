"""The parts that registration is made of, each against something else."""

import igl
import manifold3d
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.base.errors import ComputationRefused
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import (
    Comparison,
    DatumElement,
    NominalSurface,
    Registration,
    RigidMotion,
    align_by_datums,
    choose_pose,
    compare_poses,
    deviate_points,
    deviations_at,
    find_worst,
    fit_rigid,
    fit_similarity,
    gather_cells,
    map_deviations,
    pose_variance,
    register_scan,
    rotation_vector,
    summarise,
    weigh_pose,
)
from dryfit.calc.scans.fine import FinePose
from dryfit.calc.scans.grid import DistanceGrid
from dryfit.calc.scans.order import order_along_curve
from dryfit.calc.scans.rigid import small_motion, step_between
from dryfit.calc.scans.sampled import SampledSurface
from dryfit.calc.scans.telling import as_alternative, find_free_motions
from dryfit.calc.scans.thinning import drop_sparse, pick_about
from support.scans import bracket, mesh_of, plain_box, rod

STILL = RigidMotion(np.eye(3), np.zeros(3))


def test_the_vector_of_a_rotation_is_scipys() -> None:
    vectors = [[0.3, -0.2, 0.9], [1e-9, 0, 0], [0, 0, np.pi], [3.1, 0.1, 0.0], [1e-4, 2e-4, 0]]
    for vector in vectors:
        turn = Rotation.from_rotvec(vector).as_matrix()
        np.testing.assert_allclose(rotation_vector(turn), Rotation.from_matrix(turn).as_rotvec(), atol=1e-7)


def test_a_step_and_its_motion_are_inverses() -> None:
    about, start = (
        np.array([5.0, -2.0, 1.0]),
        RigidMotion(rotation_from_vector(np.array([0.5, 1, 0])), np.ones(3)),
    )
    step = np.array([0.1, -0.2, 0.3, 4.0, 5.0, -6.0])
    end = small_motion(step, about).after(start)
    np.testing.assert_allclose(step_between(start, end, about), step, atol=1e-12)


def test_a_rigid_fit_is_scipys_and_weights_count() -> None:
    draw = np.random.default_rng(2)
    one = draw.normal(size=(30, 3))
    turn = Rotation.from_rotvec([0.4, 1.0, -2.0])
    two = turn.apply(one) + [1, 2, 3] + 0.05 * draw.normal(size=one.shape)
    weights = draw.uniform(0.2, 2.0, 30)
    middle, goal = (np.average(points, axis=0, weights=weights) for points in (one, two))
    theirs, _ = Rotation.align_vectors(two - goal, one - middle, weights=weights)
    ours = fit_rigid(one, two, weights)
    np.testing.assert_allclose(ours.motion.rotation, theirs.as_matrix(), atol=1e-9)
    assert fit_similarity(one, 3.0 * one).scale == pytest.approx(3.0)
    line = np.outer(np.arange(4.0), [1.0, 2.0, 0.5])
    with pytest.raises(ComputationRefused, match="on one line"):
        fit_rigid(line, line)


def test_the_side_of_a_point_is_igls() -> None:
    mesh = bracket()
    surface = NominalSurface(mesh)
    draw = np.random.default_rng(3)
    low, high = surface.bounds
    points = low - 20 + draw.random((4000, 3)) * (high - low + 40)
    found = surface.nearest(points)
    square, *_ = igl.point_mesh_squared_distance(points, mesh.vertices, mesh.faces)
    inside = igl.fast_winding_number(mesh.vertices, mesh.faces, points) > 0.5
    np.testing.assert_allclose(found.distance_mm, np.where(inside, -1, 1) * np.sqrt(square), atol=1e-9)
    assert 0.02 < inside.mean() < 0.5


def test_samples_stand_in_for_a_fine_surface() -> None:
    surface = NominalSurface(rod(400))
    points, normals, _ = surface.sample(500, 6)
    coarse, along, triangle = surface.sample(30_000)
    quick = SampledSurface(surface, DistanceGrid(coarse, along, 4.0), triangle)
    distance = np.linspace(-2.0, 2.0, 500)
    near = quick.nearest(points + distance[:, None] * normals)
    inner = np.abs(points[:, 2]) < 35
    np.testing.assert_allclose(
        near.distance_mm[inner],
        surface.nearest(points + distance[:, None] * normals).distance_mm[inner],
        atol=0.02,
    )

    away = surface.centre_mm + np.array([[300.0, 0.0, 0.0], [0.0, 0.0, 47.0]])
    assert abs(quick.nearest(away).distance_mm[0]) == 8.0


def test_many_points_are_looked_up_as_few_are() -> None:
    surface = NominalSurface(bracket())
    points = surface.sample(12_000, 2)[0] + np.random.default_rng(1).normal(size=(12_000, 3))
    many, few = surface.nearest(points), surface.nearest(points[:50])
    np.testing.assert_array_equal(many.distance_mm[:50], few.distance_mm)
    np.testing.assert_array_equal(many.triangle[:50], few.triangle)
    np.testing.assert_array_equal(many.foot_mm[:50], few.foot_mm)
    order = order_along_curve(points)
    np.testing.assert_array_equal(np.sort(order), np.arange(len(points)))
    steps = [np.linalg.norm(np.diff(points[way], axis=0), axis=1).mean() for way in (order, slice(None))]
    assert steps[0] < 0.2 * steps[1]


def test_the_grid_scores_a_pose_by_points_near_and_normals_that_agree() -> None:
    surface = NominalSurface(plain_box())
    points, normals, _ = surface.sample(20_000)
    grid = DistanceGrid(points, normals, 5.0)
    few = slice(0, 20_000, 100)
    turns, shifts = np.array([np.eye(3)] * 3), np.array([[0, 0, 0], [0, 0, 2.5], [300.0, 0, 0]])
    score = grid.score(turns, shifts, points[few], normals[few], True)
    np.testing.assert_allclose(score[[0, 2]], [1.0, 0.0], atol=0.01)
    # Top and bottom are off by half of the reach and keep three quarters; the sides slide along themselves.
    flat = float((np.abs(normals[few, 2]) > 0.5).mean())
    assert score[1] == pytest.approx(1.0 - 0.25 * flat, abs=0.06)
    assert grid.score(turns[:1], shifts[:1], points[few], -normals[few], True)[0] < 0.01
    assert grid.score(turns[:1], shifts[:1], points[few], -normals[few], False)[0] == pytest.approx(
        1.0, abs=0.01
    )


def test_lonely_points_are_dropped_and_thinning_is_even() -> None:
    surface = NominalSurface(plain_box())
    points, _, _ = surface.sample(20_000, 2)
    away = np.random.default_rng(1).uniform(-200, 200, (2000, 3))
    kept = drop_sparse(np.vstack([points, away]), 4.0)
    assert (kept < 20_000).sum() > 19_500
    assert (kept >= 20_000).sum() < 60
    few = pick_about(points, 1000, 5.0)
    assert 650 <= len(few) <= 1500
    right = (points[few, 0] > 0).mean()
    assert right == pytest.approx(0.5, abs=0.03)


def test_datums_take_what_the_ones_before_them_leave() -> None:
    # Three planes of a corner, the scan turned by a little and shifted: 3, then 2, then 1 motion.
    change = RigidMotion(rotation_from_vector(np.array([0.004, -0.003, 0.005])), np.array([0.2, -0.1, 0.3]))
    elements = []
    for axis, at in ((2, [10.0, 5.0, 0.0]), (1, [10.0, 0.0, 4.0]), (0, [0.0, 5.0, 4.0])):
        normal, point = np.eye(3)[axis], np.array(at)
        elements.append(
            DatumElement(
                "plane",
                point,
                normal,
                change.apply(point[None])[0],
                change.rotation @ normal,
                20.0,
                0.01,
                0.0005,
            )
        )
    found = align_by_datums(elements, np.zeros(3), 20.0)
    assert found.held == (3, 2, 1)
    assert found.free.shape == (6, 0)
    np.testing.assert_allclose(found.motion.after(change).rotation, np.eye(3), atol=1e-9)
    np.testing.assert_allclose(found.motion.after(change).shift_mm, 0.0, atol=1e-8)
    # The first datum alone settles the height: its std is that of the height.
    assert np.sqrt(found.covariance[5, 5]) == pytest.approx(
        np.hypot(0.01, 0.0005 * np.hypot(10, 5)), rel=0.05
    )


def test_an_axis_leaves_turn_and_shift_along_it() -> None:
    z = np.array([0.0, 0.0, 1.0])
    lean = rotation_from_vector(np.array([0.01, 0.0, 0.0]))
    element = DatumElement("cylinder", np.zeros(3), z, np.array([0.3, 0.0, 0.0]), lean @ z, 40.0, 0.01, 0.001)
    found = align_by_datums([element], np.zeros(3), 20.0)
    assert found.held == (4,)
    assert found.free.shape == (6, 2)
    np.testing.assert_allclose(found.motion.rotation @ lean @ z, z, atol=1e-9)
    centre = DatumElement("sphere", np.ones(3), z, np.array([1.5, 1.0, 1.0]), z, 10.0, 0.01, 0.0)
    by_centre = align_by_datums([centre], np.zeros(3), 20.0)
    assert by_centre.held == (3,)
    np.testing.assert_allclose(by_centre.motion.apply(np.array([[1.5, 1.0, 1.0]]))[0], 1.0, atol=1e-9)


def test_a_map_keeps_faces_apart_and_says_where_there_is_no_scan() -> None:
    mesh = plain_box()
    surface = NominalSurface(mesh)
    points, normals, _ = surface.sample(40_000, 3)
    seen = normals[:, 0] < 0.5  # nothing of the face at +x
    high = 0.2 * (normals[:, 2] > 0.5) - 0.1 * (normals[:, 2] < -0.5)
    scan = (points + high[:, None] * normals)[seen]
    scan = np.vstack([scan, [[0.0, 0.0, 40.0]]])
    found = deviate_points(surface, scan, STILL, 5.0)
    assert found.beyond == 1
    assert found.alone < 20
    information = weigh_pose(surface, scan[:-1], STILL, 0.2)
    mapped = map_deviations(surface, found, information, scanner_std_mm=0.03)
    top, bottom, right = (mapped.normals @ np.array(way) > 0.9 for way in ([0, 0, 1], [0, 0, -1], [1, 0, 0]))
    inner = np.abs(mapped.points[:, :2]).max(axis=1) < 26
    np.testing.assert_allclose(mapped.deviation_mm[top & inner], 0.2, atol=1e-6)
    np.testing.assert_allclose(mapped.deviation_mm[bottom & inner], -0.1, atol=1e-6)
    assert np.isnan(mapped.deviation_mm[right]).mean() > 0.85
    assert (mapped.std_mm[mapped.is_seen] >= 0.03).all()
    figures = summarise(mapped)
    assert figures.highest_mm == pytest.approx(0.2, abs=0.02)
    assert 0.8 < figures.covered < 0.96
    worst = find_worst(mapped)
    assert worst[0].deviation_mm == pytest.approx(0.2, abs=0.02)
    at = deviations_at(
        mapped, np.array([[0.0, 0.0, 15.0], [50.0, 0.0, 0.0]]), np.array([[0, 0, 1.0], [1.0, 0, 0]])
    )
    assert at[0] == pytest.approx(0.2, abs=1e-3)
    assert np.isnan(at[1])


def test_cells_of_a_face_hold_its_median_and_leave_strays_out() -> None:
    mesh = plain_box()
    surface = NominalSurface(mesh)
    points, normals, _ = surface.sample(20_000, 3)
    scan = points + 0.1 * normals
    top = np.flatnonzero((normals[:, 2] > 0.5) & (np.abs(points[:, 0]) < 40) & (np.abs(points[:, 1]) < 25))
    scan[top[:50], 2] += 2.0
    found = deviate_points(surface, scan, STILL, 5.0)
    mine = surface.normals[:, 2] > 0.5
    cells = gather_cells(found, mine, float(np.hypot(100, 60)))
    assert cells.is_enough
    assert cells.left_out + found.alone >= 50
    assert cells.left_out > 0
    assert np.median(cells.points[:, 2]) == pytest.approx(15.1)
    assert not gather_cells(found, np.zeros(len(surface.faces), dtype=bool), 100.0).is_enough


def test_the_pose_makes_far_points_less_sure() -> None:
    mesh = plain_box()
    surface = NominalSurface(mesh)
    points, _, _ = surface.sample(3000, 3)
    noisy = points + 0.05 * np.random.default_rng(1).normal(size=points.shape)
    information = weigh_pose(surface, noisy, STILL, 0.05)
    up = np.array([[0.0, 0.0, 1.0]])
    near, far = (pose_variance(np.array([[x, 0.0, 15.0]]), up, information)[0] for x in (0.0, 50.0))
    # By the step: the height of a point is its shift plus its turn times its arm.
    row = np.concatenate([np.cross(np.array([50.0, 0, 15.0]) / information.length_mm, up[0]), up[0]])
    assert far == pytest.approx(row @ information.covariance @ row)
    assert far > near > 0


def test_a_pose_is_as_good_only_where_chance_explains_the_rest() -> None:
    mesh = plain_box()
    surface = NominalSurface(mesh)
    points, _, _ = surface.sample(3000, 3)
    noisy = points + 0.05 * np.random.default_rng(1).normal(size=points.shape)
    turned = RigidMotion(np.diag([-1.0, -1.0, 1.0]), np.zeros(3))
    assert compare_poses(surface, noisy, STILL, turned, 0.05).is_as_good
    shifted = RigidMotion(np.eye(3), np.array([0.0, 0.0, 0.1]))
    assert not compare_poses(surface, noisy, STILL, shifted, 0.05).is_as_good
    assert Comparison(0.5, 1.0).is_as_good
    assert not Comparison(0.5, 5.0).is_as_good


def test_a_rod_turns_freely_and_a_box_does_not() -> None:
    for mesh, kinds in ((rod(), ["turn"]), (plain_box(), [])):
        surface = NominalSurface(mesh)
        points, _, _ = surface.sample(3000, 3)
        noisy = points + 0.05 * np.random.default_rng(1).normal(size=points.shape)
        information = weigh_pose(surface, noisy, STILL, 0.05)
        free = find_free_motions(surface, noisy, FinePose(STILL, 0.05, 1.0, True, 1), information)
        assert [motion.kind for motion in free] == kinds
        for motion in free:
            np.testing.assert_allclose(np.abs(motion.axis), [0, 0, 1], atol=0.01)
            np.testing.assert_allclose(motion.point_mm[:2], 0.0, atol=0.2)


def test_an_alternative_is_a_turn_about_a_line_and_a_mark_chooses() -> None:
    mesh = plain_box()
    surface = NominalSurface(mesh)
    points, _, _ = surface.sample(2000, 3)
    information = weigh_pose(surface, points, STILL, 0.05)
    half = RigidMotion(np.diag([-1.0, -1.0, 1.0]), np.array([20.0, 6.0, 3.0]))
    found = as_alternative(STILL, half, Comparison(0.0, 0.0), surface.centre_mm)
    assert found.angle_deg == pytest.approx(180.0)
    assert found.along_mm == pytest.approx(3.0)
    np.testing.assert_allclose(found.axis, [0, 0, 1], atol=1e-9)
    np.testing.assert_allclose(found.point_mm[:2], [10.0, 3.0], atol=1e-9)
    laid = Registration(STILL, 0.05, 1.0, True, information, (), (found,), None)
    assert laid.is_ambiguous
    spot = np.array([[40.0, 20.0, 15.0]])
    chosen, missed = choose_pose(laid, spot, half.apply(spot), 0.5)
    assert chosen is half
    assert missed == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ComputationRefused, match="do not tell"):
        choose_pose(laid, np.array([[10.0, 3.0, 0.0]]), np.array([[10.0, 3.0, 1.5]]), 0.5)


def test_a_scan_of_a_few_points_is_refused() -> None:
    points = np.random.default_rng(1).normal(size=(99, 3))
    with pytest.raises(ComputationRefused, match="99 points; 100 are the least"):
        register_scan(NominalSurface(plain_box()), points)


def test_beyond_a_sharp_edge_is_outside() -> None:
    """A blade of 20 degrees, convex: a point is inside where it is below all five planes, closed form.

    Beyond the edge of a blade half of the points lie behind the plane of one of the two faces that meet there.
    """
    half = np.tan(np.radians(10.0))
    profile = [(0.0, 0.0), (60.0, -60.0 * half), (60.0, 60.0 * half)]
    blade = manifold3d.Manifold.extrude(manifold3d.CrossSection([profile]), 40.0)
    surface = NominalSurface(mesh_of(blade))
    points = np.random.default_rng(3).uniform((-6.0, -8.0, -4.0), (20.0, 8.0, 44.0), (4000, 3))
    corners = surface.vertices[surface.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.linalg.norm(normals, axis=1)[:, None]
    heights = np.einsum("nfi,fi->nf", points[:, None, :] - corners[None, :, 0], normals)
    is_inside = (heights < 0.0).all(axis=1)
    assert (surface.nearest(points).distance_mm < 0.0).tolist() == is_inside.tolist()
