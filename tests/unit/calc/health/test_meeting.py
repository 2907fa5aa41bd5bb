"""How two triangles meet: hand-made cases, and thousands against arithmetic with whole and broken numbers."""

from __future__ import annotations

import igl
import numpy as np
import pytest

from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.base.topology import double_area_vectors
from dryfit.calc.health import APART, CROSSING, OVERLAPPING, TOUCHING, classify_pairs
from support import exact_triangles

BASE = [[0, 0, 0], [4, 0, 0], [0, 4, 0]]
CASES = {
    "crosses in the middle": ([[1, 1, -1], [1, 1, 1], [2, 2, 1]], CROSSING),
    "an edge pierces the other": ([[1, 1, -1], [1, 1, 5], [9, 9, 2]], CROSSING),
    "stands on it with a corner": ([[1, 1, 0], [1, 2, 3], [2, 1, 3]], TOUCHING),
    "stands on its edge with a corner": ([[2, 0, 0], [1, 2, 3], [2, 1, 3]], TOUCHING),
    "corner on corner, not joined": ([[0, 0, 0], [1, 2, 3], [2, 1, 3]], APART),  # equal corners are joined
    "stands on it with an edge": ([[1, 1, 0], [2, 1, 0], [1, 1, 3]], TOUCHING),
    "edge along part of its edge": ([[1, 0, 0], [3, 0, 0], [2, -1, 3]], TOUCHING),
    "edges cross": ([[2, -1, -1], [2, 1, 1], [2, -9, 1]], TOUCHING),
    "in its plane, apart": ([[4, 4, 0], [5, 4, 0], [4, 5, 0]], APART),
    "in its plane, inside it": ([[1, 1, 0], [2, 1, 0], [1, 2, 0]], OVERLAPPING),
    "in its plane, a star": ([[-1, 2, 0], [3, -1, 0], [3, 3, 0]], OVERLAPPING),
    "in its plane, corner on edge": ([[2, 2, 0], [5, 4, 0], [4, 5, 0]], TOUCHING),
    "in its plane, edges along one another": ([[1, 0, 0], [3, 0, 0], [2, -2, 0]], TOUCHING),
    "a finger's breadth above": ([[0, 0, 1e-9], [4, 0, 1e-9], [0, 4, 1e-9]], APART),
    "shares an edge, stands up": ([[0, 0, 0], [4, 0, 0], [0, 0, 3]], APART),
    "shares an edge, flat on": ([[0, 0, 0], [4, 0, 0], [3, -1, 0]], APART),
    "shares an edge, folded over": ([[0, 0, 0], [4, 0, 0], [1, 1, 0]], OVERLAPPING),
    "shares a corner, apart": ([[0, 0, 0], [-1, -2, 3], [-2, -1, 3]], APART),
    "shares a corner, folded over": ([[0, 0, 0], [2, 1, 0], [1, 2, 0]], OVERLAPPING),
    "shares a corner, passes through": ([[0, 0, 0], [1, 1, -1], [1, 1, 1]], CROSSING),
    "shares a corner, an edge lies on it": ([[0, 0, 0], [1, 1, 0], [1, 1, 5]], TOUCHING),
    "shares a corner, an edge along its edge": ([[0, 0, 0], [2, 0, 0], [1, -1, 5]], TOUCHING),
    "shares a corner, far off and inside": ([[4, 0, 0], [1, 1, 1], [1, 1, -1]], CROSSING),
    "the same": ([[4, 0, 0], [0, 0, 0], [0, 4, 0]], APART),  # a duplicate, which is another fault
}


def joined(*triangles):
    """Triangles with equal corners joined."""
    points = np.concatenate([np.asarray(triangle, dtype=float) for triangle in triangles])
    first = first_equal_rows(without_negative_zeros(points)).astype(np.int64)
    return points, first[np.arange(len(points)).reshape(-1, 3)]


def turns():
    """Turns and shifts that keep whole numbers whole: the answers stay exact."""
    rng = np.random.default_rng(5)
    for _ in range(12):
        turn = np.eye(3)[rng.permutation(3)] * rng.choice([-1, 1], 3)
        yield turn, rng.integers(-9, 9, 3) * 1000.0


@pytest.mark.parametrize("name", CASES)
def test_hand_made(name):
    """By construction; every order of corners, either first, turned about the axes."""
    other, expected = CASES[name]
    if name == "a finger's breadth above":
        points, faces = joined(BASE, other)
        assert classify_pairs(points, faces, np.array([0]), np.array([1])).tolist() == [expected]
        return
    for turn, shift in turns():
        for i in range(3):
            base = np.roll(BASE, i, axis=0) @ turn * 0.5 + shift
            points, faces = joined(base, np.array(other[::-1]) @ turn * 0.5 + shift)
            first, second = np.array([0, 1]), np.array([1, 0])
            assert classify_pairs(points, faces, first, second).tolist() == [expected, expected]


@pytest.mark.parametrize(("span", "flat"), [(3, False), (4, False), (6, False), (12, True)])
def test_against_whole_and_broken_numbers(span, flat):
    """Corners on a small lattice: nearly every special case, thousands of times."""
    rng = np.random.default_rng(span)
    points = rng.integers(0, span, (4000, 6, 3)).astype(float)
    if flat:
        points[..., 2] = rng.integers(0, 2, points.shape[:2])
    vertices, corner = points.reshape(-1, 3), np.arange(6 * len(points)).reshape(-1, 6)
    for late in range(1, 6):
        for early in range(late):
            is_same = (points[:, late] == points[:, early]).all(axis=1)
            corner[is_same, late] = np.minimum(corner[is_same, late], corner[is_same, early])
    faces = corner.reshape(-1, 3)
    has_area = np.abs(double_area_vectors(vertices, faces)).any(axis=1).reshape(-1, 2).all(axis=1)
    first = 2 * np.flatnonzero(has_area)
    whole = points[has_area].astype(int).tolist()
    expected = [exact_triangles.meet(six[:3], six[3:]) for six in whole]
    assert classify_pairs(vertices, faces, first, first + 1).tolist() == expected
    assert classify_pairs(vertices, faces, first + 1, first).tolist() == expected
    assert set(expected) == {APART, TOUCHING, CROSSING, OVERLAPPING}


def test_a_turned_lattice_keeps_its_answers_where_no_special_case_is_near():
    """Against igl.tri_tri_intersection_test_3d, a general-purpose library, on triangles at random."""
    rng = np.random.default_rng(8)
    points = rng.standard_normal((3000, 6, 3))
    vertices, faces = points.reshape(-1, 3), np.arange(len(points) * 6).reshape(-1, 3)
    first = np.arange(0, len(faces), 2)
    found = classify_pairs(vertices, faces, first, first + 1)
    expected = [igl.tri_tri_intersection_test_3d(*(row[None] for row in six))[0] for six in points]
    assert (found == CROSSING).tolist() == expected
    assert 0.1 < np.mean(expected) < 0.9


def test_a_hair_below_the_plane_crosses_and_a_hair_above_does_not():
    """One step of double precision decides, however far from the origin: closed form."""
    for shift in (0.0, 1e3, 1e6):
        base = np.array(BASE, dtype=float) + shift
        for step, expected in ((-np.inf, CROSSING), (np.inf, APART)):
            tip = np.array([1.0, 1.0, 0.0]) + shift
            tip[2] = np.nextafter(tip[2], step)
            points, faces = joined(
                base, [tip, [1 + shift, 2 + shift, 3 + shift], [2 + shift, 1 + shift, 3 + shift]]
            )
            assert classify_pairs(points, faces, np.array([0]), np.array([1])).tolist() == [expected]
