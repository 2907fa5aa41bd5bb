"""Merging against numpy's own unique; triangulation against the shoelace formula and shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from dryfit.base import equal_rows
from dryfit.calc.mesh import merge_equal_vertices, triangulate_polygons

few = st.sampled_from([0.0, -0.0, 1.0, -1.0, 0.5, 1e-300, 3e38])


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@settings(max_examples=100, deadline=None, derandomize=True)
@given(data=st.data())
def test_merging_equals_numpys_unique(kind, data):
    points = data.draw(hnp.arrays(np.float64, st.tuples(st.integers(0, 60), st.just(3)), elements=few))
    points = points.astype(kind)
    vertices, index = merge_equal_vertices(points)
    assert (vertices[index] == points).all()
    assert len(vertices) == len(np.unique(points + 0.0, axis=0))
    # First appearances, in order.
    first = [int(np.argmax(index == k)) for k in range(len(vertices))]
    assert first == sorted(first)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_merging_many_rows(kind):
    """More rows than are taken at a time; whole numbers below 60 as digits of one key."""
    points = np.random.default_rng(5).integers(0, 60, (700_000, 3)).astype(kind)
    vertices, index = merge_equal_vertices(points)
    assert (vertices[index] == points).all()
    assert len(vertices) == len(np.unique(points.astype(np.int64) @ [1, 60, 3600]))


def test_rows_made_to_collide_are_still_told_apart(monkeypatch):
    monkeypatch.setattr(equal_rows, "_hash_rows", lambda rows: rows[:, 0] << np.uint64(40))
    points = np.random.default_rng(1).integers(0, 5, (400, 3)).astype(float)
    vertices, index = merge_equal_vertices(points)
    assert (vertices[index] == points).all()
    assert len(vertices) == len(np.unique(points, axis=0))
    assert (vertices == points[np.sort(np.unique(points, axis=0, return_index=True)[1])]).all()


@st.composite
def star_polygons(draw):
    """Simple polygons: corners around the origin at growing angles, at any distance."""
    radii = draw(st.lists(st.floats(0.5, 5), min_size=4, max_size=14))
    angles = 2 * np.pi * np.arange(len(radii)) / len(radii)
    return np.stack([radii * np.cos(angles), radii * np.sin(angles)], axis=1)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(star_polygons(), st.integers(0, 13), st.booleans())
def test_triangles_cover_the_polygon(flat, roll, is_turned):
    """Every triangle faces as the polygon does, and their areas sum to shapely's area of the polygon."""
    flat = np.roll(flat, roll, axis=0)
    along = np.array([[1, 2, 2], [2, 1, -2]]) / 3.0  # an inclined plane
    points = (flat[::-1] if is_turned else flat) @ along
    done = triangulate_polygons(points, np.arange(len(points))[None])
    assert done.failed == ()
    u, v = (points[done.triangles[:, k]] - points[done.triangles[:, 0]] for k in (1, 2))
    signed = np.cross(u, v) @ np.cross(*along) / 2 * (-1 if is_turned else 1)
    assert (signed > -1e-9).all()
    assert signed.sum() == pytest.approx(shapely.Polygon(flat).area, rel=1e-9)
    assert done.departure == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    ("words", "corners"),
    [
        ("bow tie", [[0, 0], [1, 1], [1, 0], [0, 2]]),
        ("five-pointed star", [[np.cos(a), np.sin(a)] for a in 4 * np.pi * np.arange(5) / 5]),
        ("no area", [[0, 0], [1, 0], [2, 0], [3, 0]]),
        ("a point", [[1, 1]] * 4),
    ],
)
def test_polygons_that_cross_themselves_fail(words, corners):
    points = np.column_stack([np.array(corners, dtype=float), np.zeros(len(corners))])
    assert triangulate_polygons(points, np.arange(len(points))[None]).failed == (0,), words


def test_a_corner_on_a_straight_side_is_kept():
    """A quadrangle with a fifth corner on its side: three triangles, and the corner is one of theirs."""
    points = np.array([[0, 0, 0], [1, 0, 0], [2, 0, 0], [2, 2, 0], [0, 2, 0]], dtype=float)
    for roll in range(5):
        done = triangulate_polygons(points, np.roll(np.arange(5), roll)[None])
        assert done.failed == ()
        assert set(done.triangles.ravel().tolist()) == set(range(5))
