"""Lenses from boards and straight lines, cameras from known points, on invented figures."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    BoardView,
    Lens,
    Pose,
    board_corners,
    calibrate_board,
    carry_distortion,
    fit_plumb_lines,
    project,
    resect,
    straighten,
    undistort,
)
from support.photographs import BUILDING, PLAIN_LENS, POSES, looking

BENT = Lens(3000.0, np.array([1999.5, 1499.5]), -0.12, 0.05)
STD = 0.7


def test_directions_lead_back_to_their_marks_with_derivatives() -> None:
    lens = Lens(3000.0, np.array([1990.0, 1510.0]), -0.12, 0.05, 1e-3, -2e-3, 0.01)
    marks = np.random.default_rng(0).uniform([0, 0], [4000, 3000], (40, 2))
    found = undistort(lens, marks)
    straight = np.column_stack([found.xy, np.ones(40)])
    still = Pose(np.eye(3), np.zeros(3))
    assert project(lens, still, straight).marks_px == pytest.approx(marks, abs=1e-6)
    step = 1e-4
    for axis in range(2):
        shift = np.eye(2)[axis] * step
        rise = (undistort(lens, marks + shift).xy - undistort(lens, marks - shift).xy) / (2 * step)
        assert found.by_mark[:, :, axis] == pytest.approx(rise, rel=1e-4, abs=1e-10)
    for index, size in enumerate((1.0, 1.0, 1.0, 1e-3, 1e-3, 1e-4, 1e-4, 1e-3)):
        up, down = lens.vector, lens.vector
        up[index] += size
        down[index] -= size
        ends = [undistort(Lens(v[0], v[1:3], v[3], v[4], v[5], v[6], v[7]), marks).xy for v in (up, down)]
        assert found.by_lens[:, :, index] == pytest.approx(
            (ends[0] - ends[1]) / (2 * size), rel=2e-3, abs=1e-8
        )


def test_turn_of_the_camera_has_the_derivative_that_it_says() -> None:
    from dryfit.base.rotation import rotation_from_vector

    pose = POSES[2]
    seen = project(BENT, pose, BUILDING)
    for axis in range(3):
        turn = np.eye(3)[axis] * 1e-6
        up, down = (
            project(BENT, Pose(rotation_from_vector(sign * turn) @ pose.rotation, pose.position_mm), BUILDING)
            for sign in (1.0, -1.0)
        )
        rise = (up.marks_px - down.marks_px) / 2e-6
        assert seen.by_pose[:, :, axis] == pytest.approx(rise, rel=1e-4, abs=1e-2)


def test_point_behind_the_camera_and_mark_beyond_the_lens_are_refused() -> None:
    with pytest.raises(ComputationRefused, match="point 1 lies behind the camera"):
        project(PLAIN_LENS, Pose(np.eye(3), np.zeros(3)), np.array([[0.0, 0.0, -5.0]]))
    with pytest.raises(ComputationRefused, match="mark 2 lies farther out"):
        undistort(Lens(3000.0, np.zeros(2), -0.5), np.array([[10.0, 10.0], [4000.0, 3000.0]]))
    with pytest.raises(ValueError, match="right-handed"):
        Pose(np.diag([-1.0, 1.0, 1.0]), np.zeros(3))
    with pytest.raises(ValueError, match="above zero"):
        Lens(0.0, np.zeros(2))


def test_board_runs_along_its_rows() -> None:
    assert board_corners(3, 2, 25.0).tolist() == [[0, 0], [25, 0], [50, 0], [0, 25], [25, 25], [50, 25]]


def boards(draw: np.random.Generator, lens: Lens, std: float = 0.3) -> list[BoardView]:
    corners = board_corners(9, 6, 25.0)
    flat = np.column_stack([corners, np.zeros(len(corners))])
    views = []
    for x, y, z in (
        (25, 15, 400),
        (150, -100, 350),
        (-150, 120, 380),
        (220, 150, 330),
        (-60, -220, 350),
        (90, 90, 300),
    ):
        pose = looking((100.0 + x, 62.0 + y, -float(z)), (100.0, 62.0, 0.0), float(x % 7))
        views.append(BoardView(project(lens, pose, flat).marks_px + draw.normal(size=(54, 2)) * std, corners))
    return views


def test_lens_from_boards_scatters_as_its_covariance_says() -> None:
    lens = Lens(1200.0, np.array([640.0, 470.0]), -0.2, 0.05)
    away, sizes = [], []
    for seed in range(30):
        found = calibrate_board(
            boards(np.random.default_rng(seed), lens),
            1280,
            960,
            ("focal_px", "centre_x_px", "centre_y_px", "k1", "k2"),
        )
        away.append((found.lens.vector - lens.vector)[:5] / found.std[:5])
        sizes.append(found.mark_std_px)
        assert (found.std[5:] == 0.0).all()
    assert np.sqrt(np.square(away).mean(axis=0)) == pytest.approx(1.0, abs=4.0 / np.sqrt(60.0))
    assert np.mean(sizes) == pytest.approx(0.3, rel=0.02)


def test_blundered_board_is_named() -> None:
    views = boards(np.random.default_rng(1), Lens(1200.0, np.array([640.0, 470.0]), -0.2))
    marks = views[3].marks_px.copy()
    marks[10:14] += 6.0
    views[3] = BoardView(marks, views[3].corners_mm)
    found = calibrate_board(views, 1280, 960)
    assert [each.view for each in found.suspects] == [3]
    assert calibrate_board(boards(np.random.default_rng(1), BENT), 4000, 3000).suspects == ()


def test_boards_that_do_not_determine_a_lens_are_refused() -> None:
    lens, draw = Lens(1200.0, np.array([640.0, 470.0])), np.random.default_rng(1)
    views = boards(draw, lens)
    with pytest.raises(ComputationRefused, match="2 views do not determine a lens"):
        calibrate_board(views[:2], 1280, 960)
    line = np.column_stack([np.arange(8.0), np.zeros(8)]) * 25.0
    with pytest.raises(ComputationRefused, match="in line"):
        calibrate_board([BoardView(line + 100.0, line)] * 3, 1280, 960)
    with pytest.raises(ValueError, match="2 x 2"):
        board_corners(1, 6, 25.0)


def plumb_lines(draw: np.random.Generator, std: float = STD) -> list[Array]:
    found = []
    for y in (-0.42, 0.42, -0.3, 0.3):
        x = np.linspace(-0.6, 0.6, 9)
        rays = np.column_stack([x, y + 0.02 * x, np.ones(9)])
        marks = project(BENT, Pose(np.eye(3), np.zeros(3)), rays).marks_px
        found.append(marks + draw.normal(size=(9, 2)) * std)
    return found


def test_straight_lines_tell_the_distortion_and_how_well() -> None:
    guess, away, ratio = Lens(3000.0, BENT.centre_px), [], []
    for seed in range(100):
        found = fit_plumb_lines(plumb_lines(np.random.default_rng(seed)), STD, guess, is_k2_estimated=True)
        gap = np.array([found.lens.k1 - BENT.k1, found.lens.k2 - BENT.k2])
        away.append(gap / np.sqrt(np.diag(found.covariance)))
        ratio.append(found.vpv / found.dof)
    assert np.sqrt(np.square(away).mean(axis=0)) == pytest.approx(1.0, abs=4.0 / np.sqrt(200.0))
    assert np.mean(ratio) == pytest.approx(1.0, abs=4.0 * np.sqrt(2.0 / (100 * found.dof)))
    assert (found.before_px > 10.0 * found.bow_px).all()


def test_distortion_goes_with_the_focal_length_that_it_is_written_for() -> None:
    other = fit_plumb_lines(
        plumb_lines(np.random.default_rng(0), 1e-3), 1e-3, Lens(2000.0, BENT.centre_px), True
    )
    carried = carry_distortion(other.lens, 3000.0)
    assert (carried.k1, carried.k2) == pytest.approx((BENT.k1, BENT.k2), rel=2e-3)
    marks = np.array([[3900.0, 2900.0], [100.0, 1000.0]])
    assert undistort(carried, marks).xy * 1.5 == pytest.approx(undistort(other.lens, marks).xy, rel=1e-7)


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        ([], "no line is marked"),
        ([[[0, 0], [10, 10]]], "fewer than three marks"),
        ([[[0, 0], [1, 0], [0, 1]]], "coincide"),
        ([[[0, 1499.5], [1000, 1499.5], [2500, 1499.5], [3900, 1499.5]]], "picture's middle"),
    ],
)
def test_lines_that_tell_no_distortion_are_refused(lines: list, words: str) -> None:
    with pytest.raises(ComputationRefused, match=words):
        fit_plumb_lines([np.array(line, dtype=float) for line in lines], STD, Lens(3000.0, BENT.centre_px))


def test_camera_from_known_points_scatters_as_its_covariance_says() -> None:
    pose, away, chances = POSES[1], [], []
    for seed in range(100):
        draw = np.random.default_rng(seed)
        known = BUILDING + draw.normal(size=BUILDING.shape) * 4.0
        marks = project(PLAIN_LENS, pose, BUILDING).marks_px + draw.normal(size=(len(BUILDING), 2)) * STD
        found = resect(marks, STD, known, 4.0, centre_px=PLAIN_LENS.centre_px)
        gap = np.array([found.lens.focal_px - 3000.0, *(found.pose.position_mm - pose.position_mm)])
        away.append(gap / np.sqrt(np.diag(found.covariance))[[0, 4, 5, 6]])
        chances.append(found.p_value)
    assert np.sqrt(np.square(away).mean(axis=0)) == pytest.approx(1.0, abs=4.0 / np.sqrt(200.0))
    assert (np.array(chances, dtype=float) < 0.05).mean() < 0.14


def test_wrong_mark_of_a_known_point_stands_out() -> None:
    marks = (
        project(BENT, POSES[1], BUILDING).marks_px
        + np.random.default_rng(0).normal(size=(len(BUILDING), 2)) * STD
    )
    marks[11] += [0.0, 12.0]
    found = resect(marks, STD, BUILDING, estimated=("focal_px", "k1"), lens=BENT)
    assert int(found.normalised.argmax()) == 11
    assert found.normalised[11] > 50.0


@pytest.mark.parametrize(
    ("choose", "words"),
    [
        (slice(0, 5), "5 known points are too few"),
        (BUILDING[:, 1] == 0.0, "all points lie in one plane"),
        ([0, 1, 2, 3, 0, 8, 9], "points 1 and 5 coincide"),
    ],
)
def test_points_that_determine_no_camera_are_refused(choose, words: str) -> None:  # type: ignore[no-untyped-def]
    points = BUILDING[choose]
    marks = project(PLAIN_LENS, POSES[1], points).marks_px
    with pytest.raises(ComputationRefused, match=words):
        resect(marks, STD, points, centre_px=PLAIN_LENS.centre_px)


def test_points_on_a_line_are_refused() -> None:
    points = np.column_stack([np.linspace(0, 9000, 7), np.zeros(7), np.zeros(7)])
    with pytest.raises(ComputationRefused, match="on a line"):
        resect(project(PLAIN_LENS, POSES[1], points).marks_px, STD, points, centre_px=PLAIN_LENS.centre_px)


def test_straightened_marks_have_the_covariance_of_the_lens() -> None:
    marks = np.array([[3900.0, 2900.0], [3800.0, 2800.0]])
    spread = np.zeros((8, 8))
    spread[3, 3] = 0.01**2
    straight, covariance = straighten(BENT, marks, 1e-6, spread)
    up, down = (Lens(3000.0, BENT.centre_px, BENT.k1 + d, BENT.k2) for d in (1e-5, -1e-5))
    rise = (straighten(up, marks, 1.0)[0] - straighten(down, marks, 1.0)[0]).ravel() / 2e-5
    assert covariance == pytest.approx(np.outer(rise, rise) * 1e-4, rel=1e-3)
    assert straight.shape == (2, 2)
