"""Holes under a boundary offset, and holes told from pins."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import Estimate
from dryfit.calc.errormodel import outward_motion
from dryfit.calc.printability import hole_after_offset, turn_of_face

TURN = Rotation.from_rotvec([0.7, -0.2, 1.1]).as_matrix()


def arc(radius, sweep_deg, inward, count=40):
    angle = np.radians(np.linspace(0.0, sweep_deg, count))
    way = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(count)])
    height = np.column_stack([np.zeros((count, 2)), np.linspace(0, 12, count) % 5])
    points = (radius * way + height) @ TURN.T + [3.0, 4.0, 5.0]
    return points, (-way if inward else way) @ TURN.T


def test_four_millimetres_print_as_three_point_six():
    """Common practice: a 4 mm hole prints near 3.6 mm, an offset of 0.2 mm a side."""
    after = hole_after_offset(4.0, 4.0, Estimate(0.2, 0.03))
    assert after.printed_mm.value == pytest.approx(3.6)
    assert after.model_mm.value == pytest.approx(4.4)
    assert after.model_mm.std == after.printed_mm.std == pytest.approx(0.06)


def test_the_model_told_prints_as_wanted():
    offset = Estimate(0.137)
    model = hole_after_offset(3.1, 3.3, offset).model_mm.value
    assert hole_after_offset(model, 3.3, offset).printed_mm.value == pytest.approx(3.3)


def test_it_agrees_with_how_the_error_model_moves_the_wall():
    """Two opposite points of an upright hole move outward of the material, toward each other."""
    normals = np.array([[-1.0, 0.0, 0.0], [1.0, 0.0, 0.0]])
    motion = outward_motion(normals, np.eye(3), np.full(2, 9.0), 0.0).offset * 0.15
    wall = np.array([[2.0, 0, 0], [-2.0, 0, 0]]) + motion
    assert wall[0, 0] - wall[1, 0] == pytest.approx(
        hole_after_offset(4.0, 4.0, Estimate(0.15)).printed_mm.value
    )


@pytest.mark.parametrize("sweep", [20.0, 90.0, 350.0])
@pytest.mark.parametrize("inward", [True, False])
def test_a_hole_has_a_negative_radius(sweep, inward):
    face = turn_of_face(*arc(6.5, sweep, inward))
    assert face.radius_mm == pytest.approx(-6.5 if inward else 6.5)
    assert abs(face.axis @ TURN[:, 2]) == pytest.approx(1.0)
    off = face.point_mm - [3.0, 4.0, 5.0]
    assert np.linalg.norm(off - face.axis * (off @ face.axis)) == pytest.approx(0.0, abs=1e-9)


def test_a_plane_is_neither():
    points = np.random.default_rng(1).random((30, 3)) * [1, 1, 0]
    with pytest.raises(ComputationRefused, match="one axis"):
        turn_of_face(points, np.tile([0.0, 0.0, 1.0], (30, 1)))


def test_a_ball_is_neither():
    way = np.random.default_rng(1).normal(size=(200, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    with pytest.raises(ComputationRefused):
        turn_of_face(5.0 * way, way)
