"""Rotations against scipy.spatial.transform."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from dryfit.base.rotation import rotation_from_euler, rotation_from_vector, skew, turn_about_z

angles = st.floats(-400.0, 400.0)


@given(st.tuples(*[st.floats(-3.0, 3.0)] * 3))
def test_rotation_from_vector_agrees_with_scipy(vector: tuple[float, float, float]) -> None:
    ours = rotation_from_vector(np.array(vector))
    assert ours == pytest.approx(Rotation.from_rotvec(vector).as_matrix(), abs=1e-12)


@pytest.mark.parametrize("size", [0.0, 1e-12, 1e-9, 1e-8, 1e-7, 1e-4])
def test_small_rotations_keep_their_second_order(size: float) -> None:
    vector = size * np.array([0.36, -0.48, 0.8])
    ours = rotation_from_vector(vector)
    cross = skew(vector)
    assert ours == pytest.approx(np.eye(3) + cross + 0.5 * cross @ cross, abs=1e-15 + size**3)
    assert ours @ ours.T == pytest.approx(np.eye(3), abs=1e-15)


@given(angles, angles, angles)
def test_euler_angles_are_extrinsic_turns_about_x_then_y_then_z(x: float, y: float, z: float) -> None:
    theirs = Rotation.from_euler("xyz", [x, y, z], degrees=True).as_matrix()
    assert rotation_from_euler((x, y, z)) == pytest.approx(theirs, abs=1e-11)


@pytest.mark.parametrize("quarters", range(-5, 6))
def test_quarter_turns_are_exact(quarters: int) -> None:
    turn = turn_about_z(90.0 * quarters)
    assert set(np.abs(turn).ravel()) == {0.0, 1.0}
    assert turn == pytest.approx(Rotation.from_euler("z", 90 * quarters, degrees=True).as_matrix(), abs=1e-12)


def test_skew_turns_a_cross_product_into_a_matrix_product() -> None:
    a, b = np.array([1.0, -2.0, 3.0]), np.array([0.5, 4.0, -1.0])
    assert skew(a) @ b == pytest.approx(np.cross(a, b))
