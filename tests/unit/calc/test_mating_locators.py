"""Locator points on a common face: a quarter and three quarters of its long or short side, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from dryfit.base.errors import ComputationRefused
from dryfit.calc.mating import face_locators
from dryfit.model.joint import FaceContacts


def face(points, normal=(0.0, 1.0, 0.0)) -> FaceContacts:
    points = np.asarray(points, float)
    return FaceContacts(points, points, np.tile(normal, (len(points), 1)))


def plate(width, height, x0=0.0, z0=0.0):
    return face([(x0, 0, z0), (x0 + width, 0, z0), (x0 + width, 0, z0 + height), (x0, 0, z0 + height)])


RING_FACE = plate(40, 40, 560, -20)


@pytest.mark.parametrize(
    ("axis", "expected"), [("long", [(20, 0, 15), (60, 0, 15)]), ("short", [(40, 0, 7.5), (40, 0, 22.5)])]
)
def test_points_lie_at_a_quarter_and_three_quarters(axis, expected):
    assert face_locators(plate(80, 30), axis) == pytest.approx(np.array(expected), abs=1e-9)


def test_a_square_face_of_a_ring_has_its_locators_along_the_radius():
    points = face_locators(RING_FACE, "long", np.array([130.0, 240, 0]))
    assert points == pytest.approx(np.array([(570, 0, 0), (590, 0, 0)]), abs=1e-9)
    points = face_locators(RING_FACE, "short", np.array([130.0, 240, 0]))
    assert points == pytest.approx(np.array([(580, 0, -10), (580, 0, 10)]), abs=1e-9)


def test_the_pin_is_the_point_nearer_to_the_parts():
    points = face_locators(RING_FACE, "long", np.array([-130.0, 240, 0]))
    assert points[:, 0] == pytest.approx([590, 570], abs=1e-9)


def test_a_square_face_follows_a_steep_direction_and_else_lies_level():
    assert face_locators(RING_FACE, "long", np.array([1.0, 0, 5]))[:, 2] == pytest.approx([-10, 10], abs=1e-9)
    for toward in (None, np.array([0.0, 80, 0]), np.array([1e-6, 80, 1e-5])):
        found = face_locators(RING_FACE, "long", toward)
        assert found == pytest.approx(np.array([(570, 0, 0), (590, 0, 0)]), abs=1e-9)


def test_sides_within_a_hundredth_are_equal_and_beyond_are_not():
    steep = np.array([0.0, 0, 1])
    assert face_locators(plate(40.3, 40), "long", steep)[:, 2] == pytest.approx([10, 30], abs=1e-9)
    assert face_locators(plate(40.5, 40), "long", steep)[:, 2] == pytest.approx([20, 20], abs=1e-9)


def test_the_rectangle_is_that_of_least_area_not_along_the_axes():
    turn = Rotation.from_euler("y", 30, degrees=True).as_matrix()
    tilted = face(np.array([(0, 0, 0), (80, 0, 0), (80, 0, 30), (0, 0, 30.0)]) @ turn.T)
    expected = np.array([(20, 0, 15), (60, 0, 15.0)]) @ turn.T
    assert face_locators(tilted, "long") == pytest.approx(expected, abs=1e-9)


def test_points_in_a_line_have_a_long_axis_only():
    line = face([(0, 0, 0), (30, 0, 0), (40, 0, 0)])
    assert face_locators(line, "long") == pytest.approx(np.array([(10, 0, 0), (30, 0, 0)]), abs=1e-9)
    with pytest.raises(ComputationRefused, match="in a line") as refused:
        face_locators(line, "short")
    assert "locator_points_mm" in refused.value.do


@pytest.mark.parametrize("points", [[(5, 6, 7)], [(5, 6, 7), (5, 6, 7)], [(0, 0, 0), (0, 9, 0)]])
def test_a_single_place_has_no_axis(points):
    with pytest.raises(ComputationRefused, match="single contact point"):
        face_locators(face(points), "long")


def test_a_round_face_is_refused():
    angles = np.radians([0, 90, 180, 270])
    normals = np.column_stack([np.cos(angles), np.sin(angles), np.zeros(4)])
    for count in (2, 4):
        with pytest.raises(ComputationRefused, match="curved"):
            face_locators(FaceContacts(5 * normals[:count], 5 * normals[:count], normals[:count]), "long")


@settings(deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.sampled_from(["long", "short"]), st.integers(3, 8))
def test_the_rule_turns_with_the_parts(seed, axis, count):
    random = np.random.default_rng(seed)
    rotation, shift = Rotation.random(rng=random).as_matrix(), random.uniform(-200, 200, 3)
    points = np.column_stack([random.uniform(0, 90, count), np.zeros(count), random.uniform(0, 40, count)])
    toward = np.array([70.0, 20, 55])
    still = face_locators(face(points), axis, toward)
    turned = face_locators(face(points @ rotation.T + shift, rotation[:, 1]), axis, rotation @ toward)
    assert turned == pytest.approx(still @ rotation.T + shift, abs=1e-7)
    # They lie in the face and half a side apart.
    assert still[:, 1] == pytest.approx([0, 0], abs=1e-9)
