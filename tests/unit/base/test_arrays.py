"""Helpers on arrays, against numpy's own slower ways."""

import numpy as np
import pytest

from dryfit.base.arrays import bounds_of, corners_of


def test_bounds_are_the_least_and_greatest_of_each_column():
    points = np.random.default_rng(1).normal(size=(50, 3))
    assert np.array_equal(bounds_of(points), [points.min(axis=0), points.max(axis=0)])
    assert np.array_equal(bounds_of(points[:, :2]), [points[:, :2].min(axis=0), points[:, :2].max(axis=0)])


def test_no_points_have_no_bounds():
    with pytest.raises(ValueError, match="zero-size"):
        bounds_of(np.zeros((0, 3)))


def test_corners_of_faces_in_their_order():
    points = np.random.default_rng(2).normal(size=(20, 3))
    faces = np.random.default_rng(3).integers(0, 20, size=(30, 3))
    found = np.stack(corners_of(points, faces), axis=1)
    assert np.array_equal(found, points[faces])
