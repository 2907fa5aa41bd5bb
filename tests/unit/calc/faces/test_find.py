"""Finding faces by point and by direction, on a box of which every distance is known."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import Moved, box, flange

from dryfit.calc.faces import (
    FaceFound,
    FaceLost,
    distances_to_triangles,
    face_at,
    face_of_triangle,
    face_toward,
    segment_faces,
    vertices_of,
)
from dryfit.model.mesh import TriangleMesh
from support.shapes import revolved


@pytest.fixture(scope="module")
def moved():
    return Moved(box((30, 20, 10), 4), 8)


@pytest.fixture(scope="module")
def faces(moved):
    return segment_faces(moved.mesh)


def test_nearest_face_and_its_distance(moved, faces):
    found = face_at(moved.mesh, faces, moved.point((3, 2, 5.2)), None, 1.0)
    assert isinstance(found, FaceFound)
    assert found.distance_mm == pytest.approx(0.2, abs=1e-4)
    assert found.normal @ moved.direction((0, 0, 1)) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("along", [(1, 0, 0), (0, 0, 1)])
def test_at_an_edge_the_normal_decides(moved, faces, along):
    found = face_at(moved.mesh, faces, moved.point((15, 2, 5)), moved.direction(along), 0.5)
    assert isinstance(found, FaceFound)
    assert found.normal @ moved.direction(along) == pytest.approx(1.0, abs=1e-6)


def test_no_face_within_reach(moved, faces):
    assert isinstance(face_at(moved.mesh, faces, moved.point((0, 0, 8)), None, 1.0), FaceLost)


def test_face_that_looks_elsewhere_is_passed_over(moved, faces):
    down = moved.direction((0, 0, -1))
    assert isinstance(face_at(moved.mesh, faces, moved.point((3, 2, 5)), down, 1.0, 20.0), FaceLost)
    assert isinstance(face_at(moved.mesh, faces, moved.point((3, 2, 5)), down, 20.0, 20.0), FaceFound)


def test_outermost_face_toward_a_direction():
    moved = Moved(flange(48), 1)
    faces = segment_faces(moved.mesh)
    found = face_toward(faces, moved.direction((0, 0, 1)))
    # The top of the cone (r 6) is too small a share of the land: a boss on a plate is not its top face.
    assert isinstance(found, FaceFound)
    assert faces.face(found.face).area_mm2 == pytest.approx(np.pi * (30**2 - 14**2), rel=0.01)
    assert isinstance(face_toward(faces, moved.direction((1, 0, 0))), FaceLost)
    box_round_top = np.array([moved.point((0, 0, 45)) - 1, moved.point((0, 0, 45)) + 1])
    top = face_toward(faces, moved.direction((0, 0, 1)), box_round_top)
    assert isinstance(top, FaceFound)
    assert faces.face(top.face).area_mm2 == pytest.approx(np.pi * 6**2, rel=0.01)


def test_of_two_faces_that_look_the_same_way_the_outer_one():
    moved = Moved(revolved([20, 20, 12, 12], [0, 5, 5, 10], 36), 3)
    faces = segment_faces(moved.mesh)
    found = face_toward(faces, moved.direction((0, 0, 1)))
    assert isinstance(found, FaceFound)
    assert faces.face(found.face).area_mm2 == pytest.approx(np.pi * 12**2, rel=0.01)


def test_face_of_a_triangle_and_of_one_without_area():
    vertices = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [2, 0, 0]], dtype=float)
    mesh = TriangleMesh(vertices, np.array([[0, 1, 3], [0, 1, 2]]))
    faces = segment_faces(mesh)
    assert isinstance(face_of_triangle(faces, 0), FaceLost)
    found = face_of_triangle(faces, 1)
    assert isinstance(found, FaceFound)
    assert found.face == 0


def test_vertices_once_each_with_the_normals_of_their_own_face(moved, faces):
    found = face_at(moved.mesh, faces, moved.point((3, 2, 5)), None, 1.0)
    points, normals = vertices_of(faces, faces.face(found.face).triangles)
    assert len(points) == 25
    assert normals @ moved.direction((0, 0, 1)) == pytest.approx(np.ones(25), abs=1e-5)


def test_distance_to_a_triangle_beside_over_and_beyond_it():
    corners = np.array([[[0, 0, 0], [4, 0, 0], [0, 3, 0]]], dtype=float)
    for point, wanted in (
        ((1, 1, 2), 2),
        ((-3, 1, 4), 5),
        ((2, -2, 0), 2),
        ((7, -4, 0), 5),
        ((4, 3, 0), 2.4),
    ):
        assert distances_to_triangles(np.array(point, dtype=float), corners) == pytest.approx([wanted])
