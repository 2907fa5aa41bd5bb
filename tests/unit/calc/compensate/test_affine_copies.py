"""The affine part of corrected copies against the definition of the error model and closed forms."""

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from dryfit.calc.compensate import correct_points, greatest_departure
from dryfit.calc.errormodel import machine_gain
from dryfit.calc.mesh import measure_mesh
from dryfit.model.mesh import TriangleMesh
from support.shapes import torus

SCALES = st.floats(-0.01, 0.01)
SKEWS = st.floats(-1.0, 1.0)
MACHINES = st.tuples(SCALES, SCALES, SCALES, SKEWS, SKEWS, SKEWS).map(np.array)
SHRINKAGES = st.floats(0.0, 0.02)
POSES = st.tuples(*[st.floats(-np.pi, np.pi)] * 3).map(lambda v: Rotation.from_rotvec(v).as_matrix())


# A machine that fails is as plain as any other: making it simpler takes minutes and says nothing.
RANDOM = settings(max_examples=60, deadline=None, phases=[Phase.explicit, Phase.generate])


@RANDOM
@given(MACHINES, POSES, SHRINKAGES)
def test_a_copy_printed_on_its_machine_is_the_part(figures, pose, shrinkage):
    wanted = torus(180.0, 40.0, 24, 12).vertices @ pose.T
    gain = (1.0 - shrinkage) * machine_gain(figures)
    copy = correct_points(wanted, gain)
    printed = np.array([gain @ point for point in copy])  # the error model as design.md states it
    assert np.abs(printed - wanted).max() < 1e-9


@RANDOM
@given(MACHINES, POSES, SHRINKAGES)
def test_the_volume_of_a_copy_is_that_of_the_part_over_the_determinant(figures, pose, shrinkage):
    body = torus(180.0, 40.0, 24, 12)
    vertices = body.vertices @ pose.T
    copy = correct_points(vertices, (1.0 - shrinkage) * machine_gain(figures))
    before = measure_mesh(TriangleMesh(vertices, body.faces))
    after = measure_mesh(TriangleMesh(copy, body.faces))
    # A is upper triangular: its determinant is the product of its diagonal
    determinant = float(np.prod(1.0 + figures[:3])) * (1.0 - shrinkage) ** 3
    assert after.volume_mm3 == pytest.approx(before.volume_mm3 / determinant, rel=1e-12)
    assert after.is_closed
    assert not after.is_inside_out


def test_a_print_that_leans_to_plus_x_is_commanded_to_lean_to_minus_x():
    copy = correct_points(np.array([[0.0, 0.0, 500.0]]), machine_gain(np.array([0, 0, 0, 0, 0.5, 0])))
    # 4.36 mm in 500 mm for half a degree (common practice in design.md)
    assert copy[0] == pytest.approx([-500.0 * np.tan(np.radians(0.5)), 0.0, 500.0])


def test_a_gain_that_flattens_is_refused():
    with pytest.raises(ValueError, match="no inverse"):
        correct_points(np.zeros((1, 3)), np.diag([1.0, 1.0, 0.0]))
    with pytest.raises(ValueError, match="no inverse"):
        correct_points(np.zeros((1, 3)), np.diag([1.0, 1.0, -1.0]))


def test_a_departure_leaves_out_where_the_part_lies_and_nothing_else():
    points = np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]])
    assert greatest_departure(points + np.array([5.0, -3.0, 2.0]), points) == pytest.approx(0.0, abs=1e-12)
    turned = points @ Rotation.from_euler("z", 1.0, degrees=True).as_matrix().T
    assert greatest_departure(turned, points) > 0.1
