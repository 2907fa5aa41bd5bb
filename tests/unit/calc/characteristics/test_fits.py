"""Fitted planes and circles against closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.calc.characteristics import circle_through, flatness_of, plane_through

TURN = Rotation.from_rotvec([0.4, -0.3, 1.2]).as_matrix()


def test_a_plane_through_points_of_a_turned_face() -> None:
    flat = np.array([[0.0, 0, 0], [40, 0, 0], [40, 30, 0], [0, 30, 0], [10, 5, 0]])
    plane = plane_through(flat @ TURN.T + [1.0, 2.0, 3.0])
    assert abs(plane.normal @ TURN[:, 2]) == pytest.approx(1.0)
    assert plane.origin == pytest.approx(flat.mean(axis=0) @ TURN.T + [1.0, 2.0, 3.0])
    assert plane.axes @ plane.axes.T == pytest.approx(np.eye(2))
    assert plane.axes @ plane.normal == pytest.approx([0.0, 0.0], abs=1e-12)


def test_flatness_does_not_depend_on_attitude() -> None:
    saddle = np.array([[0, 0, 0.05], [10, 10, 0.05], [10, 0, -0.05], [0, 10, -0.05]])
    assert flatness_of(saddle @ TURN.T + [5.0, 5.0, 5.0]) == pytest.approx(0.1)


def test_one_raised_point_of_nine_stands_out_by_its_whole_height() -> None:
    # the plane rises level by a ninth: the peak is 8/9 over it, the valley 1/9 under it
    grid = np.array([[x, y, 0.0] for x in (0, 10, 20) for y in (0, 10, 20)])
    grid[4, 2] = 0.09
    assert flatness_of(grid) == pytest.approx(0.09)


def test_a_circle_through_points_of_one() -> None:
    angle = np.radians([0.0, 30.0, 45.0, 200.0])
    circle = circle_through(np.column_stack([3 + 5 * np.cos(angle), -1 + 5 * np.sin(angle)]))
    assert circle.centre == pytest.approx([3.0, -1.0])
    assert circle.radius == pytest.approx(5.0)
    assert circle.outward == pytest.approx(np.column_stack([np.cos(angle), np.sin(angle)]))


def test_points_on_a_line_are_refused() -> None:
    line = np.array([[0.0, 0, 0], [1, 1, 1], [3, 3, 3]])
    with pytest.raises(ValueError, match="line"):
        plane_through(line)
    with pytest.raises(ValueError, match="line"):
        circle_through(line[:, :2])
