"""Nearest points of triangles against libigl, a general-purpose geometry library."""

import igl
import numpy as np
import pytest

from dryfit.calc.thickness.nearest import nearest_on_triangles, nearest_seen
from dryfit.calc.thickness.solid import prepare_solid
from support.shapes import torus


def test_against_a_library():
    generator = np.random.default_rng(3)
    points, corners = generator.normal(size=(500, 3)) * 2, generator.normal(size=(500, 3, 3))
    near = nearest_on_triangles(points, corners)
    for point, triangle, found in zip(points, corners, near, strict=True):
        square, _, there = igl.point_mesh_squared_distance(point[None], triangle, np.array([[0, 1, 2]]))
        assert found == pytest.approx(there.ravel(), abs=1e-9)
        assert ((point - found) ** 2).sum() == pytest.approx(float(np.ravel(square)[0]), abs=1e-9)


def test_looking_about_finds_the_nearest_surface():
    mesh = torus(50.0, 8.0, 90, 36)
    solid = prepare_solid(mesh)
    generator = np.random.default_rng(4)
    turn, across, depth = generator.random((3, 300)) * [[2 * np.pi], [2 * np.pi], [7.0]]
    level = 50 + depth * np.cos(across)
    inside = np.stack([level * np.cos(turn), level * np.sin(turn), depth * np.sin(across)], axis=1)
    near = nearest_seen(solid, inside).near
    square, _, _ = igl.point_mesh_squared_distance(inside, solid.mesh.vertices, solid.mesh.faces)
    found, exact = np.linalg.norm(near - inside, axis=1), np.sqrt(np.ravel(square))
    assert (found >= exact - 1e-9).all()
    assert (found / exact - 1).max() < 0.02
