"""Lenses on turned pictures, boards that are alike, what boards cover, and frames that known places span."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    LENS_NAMES,
    Bend,
    BoardView,
    Lens,
    Pose,
    board_corners,
    covered_share,
    frame_corners,
    lens_from_boards,
    move_lens,
    project,
    spans_frame,
)
from dryfit.calc.photo.joint_start import find_cameras
from dryfit.calc.photo.joint_task import linearise, make_task
from support.boards import LENS, SQUARE_ON, STANDS, pose_of
from support.photographs import marked

CORNERS = board_corners(9, 6, 25.0)
FLAT = np.column_stack([CORNERS, np.zeros(len(CORNERS))])


def views(stands: tuple[tuple[float, ...], ...] = STANDS, lens: Lens = LENS) -> list[BoardView]:
    draw = np.random.default_rng(1)
    return [
        BoardView(
            project(lens, pose_of(stand), FLAT).marks_px + 0.1 * draw.normal(size=CORNERS.shape), CORNERS
        )
        for stand in stands
    ]


@pytest.mark.parametrize(
    "matrix", [((0, -1), (1, 0)), ((-1, 0), (0, 1)), ((0.5, 0), (0, 0.5)), ((0, 2), (2, 0))]
)
def test_a_moved_lens_projects_to_moved_pixels(matrix: tuple[tuple[float, ...], ...]) -> None:
    lens = Lens(620.0, np.array([322.0, 236.0]), -0.16, 0.05, 0.004, -0.003, 0.02)
    turn, shift = np.array(matrix, dtype=float), np.array([3.0, 479.0])
    moved, covariance, slope = move_lens(lens, np.diag(np.arange(8.0)), turn, shift)
    pose = pose_of(STANDS[4])
    there = project(lens, pose, FLAT).marks_px @ turn.T + shift
    unit = turn / np.sqrt(abs(np.linalg.det(turn)))
    # a camera whose x and y are turned in the same way sees the moved picture; a flip mirrors the board's own axes too
    camera = (FLAT - pose.position_mm) @ pose.rotation.T
    camera[:, :2] = camera[:, :2] @ unit.T
    here = project(moved, Pose(np.eye(3), np.zeros(3)), camera).marks_px
    assert np.allclose(here, there, atol=1e-9)
    assert np.allclose(covariance, slope @ np.diag(np.arange(8.0)) @ slope.T)


def test_a_picture_is_never_sheared() -> None:
    with pytest.raises(ValueError, match="as a whole"):
        move_lens(LENS, np.zeros((8, 8)), np.array([[1.0, 0.2], [0.0, 1.0]]), np.zeros(2))


def test_boards_that_stand_alike_are_refused_and_others_give_the_lens() -> None:
    with pytest.raises(ComputationRefused, match="cannot be told apart"):
        lens_from_boards(views(SQUARE_ON), 640, 480)
    with pytest.raises(ComputationRefused, match="three or more"):
        lens_from_boards(views()[:2], 640, 480)
    found = lens_from_boards(views(), 640, 480)
    assert not found.has_k3
    away = (found.found.lens.vector - LENS.vector)[:7] / found.found.std[:7]
    assert np.abs(away).max() < 4.0
    assert found.tilt_deg[0] == pytest.approx(30.0, abs=0.5)
    assert found.distance_mm[0] == pytest.approx(380.0, abs=3.0)


def test_k3_is_found_where_the_boards_ask_for_it() -> None:
    bent = Lens(620.0, np.array([322.0, 236.0]), -0.3, 0.1, 0.0, 0.0, 0.35)
    found = lens_from_boards(views(lens=bent), 640, 480)
    assert found.has_k3
    assert found.found.overall_px < found.without_k3_px
    assert not lens_from_boards(views(lens=bent), 640, 480, False).has_k3


def test_cover_is_the_area_inside_all_corners() -> None:
    square = BoardView(np.array([[0.0, 0.0], [320.0, 0.0], [320.0, 240.0], [0.0, 240.0]]), CORNERS[:4])
    assert covered_share([square], 640, 480) == pytest.approx(0.25)


def test_corners_of_the_picture_move_as_the_lens_says_and_as_surely() -> None:
    found = lens_from_boards(views(), 640, 480)
    corners = frame_corners(found.found, views(), 640, 480)
    assert [item.is_reached for item in corners] == [True, True, True, True]
    draw = np.random.default_rng(3)
    root = np.linalg.cholesky(found.found.covariance[:7, :7])
    drawn = []
    for _ in range(80):
        vector = found.found.lens.vector.copy()
        vector[:7] += root @ draw.normal(size=7)
        focal, x, y, k1, k2, p1, p2, k3 = (float(value) for value in vector)
        other = replace(found.found, lens=Lens(focal, np.array([x, y]), k1, k2, p1, p2, k3))
        drawn.append([item.moved_px for item in frame_corners(other, views()[:1], 640, 480)])
    spread = np.std(drawn, axis=0)
    assert [item.std_px for item in corners] == pytest.approx(spread, rel=0.35)


def test_three_places_on_a_line_span_no_frame() -> None:
    line = np.array([[0.0, 0.0, 0.0], [1000.0, 0.0, 0.0], [3000.0, 0.0, 1.0]])
    assert not spans_frame(line)
    assert not spans_frame(line[:2])
    assert spans_frame(np.vstack([line, [0.0, 500.0, 0.0]]))


def test_rows_of_straight_lines_have_the_slopes_of_their_residuals() -> None:
    problem = marked(np.random.default_rng(1))
    start = find_cameras(problem)
    bend = Bend(3000.0, np.array([-0.1, 0.04]), np.array([[1e-4, -2e-5], [-2e-5, 4e-4]]))
    belief = replace(problem.lenses[0], bend=bend)
    task = make_task(
        replace(problem, lenses=(belief,)), np.ones(len(problem.photo), dtype=bool), start.mirrored
    )
    network = start.network
    base = linearise(task, network)
    assert len(LENS_NAMES) == 8
    for figure in (0, 3, 4):
        column = task.layout.lens[0, figure]
        step = 1e-6 * max(abs(network.lenses[0, figure]), 1.0)
        lenses = network.lenses.copy()
        lenses[0, figure] += step
        moved = linearise(task, replace(network, lenses=lenses))
        slope = -(moved.other_residual - base.other_residual) / step
        assert np.allclose(slope, base.other_rows[:, column], rtol=1e-4, atol=1e-6)
