"""Rigid copies of a mesh (closed forms by construction): the motion is the one that the copy was made with."""

import manifold3d
import numpy as np
import pytest

from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.likeness import COPY_MM, find_copy
from dryfit.model.mesh import TriangleMesh

TURN = rotation_from_euler((20.0, 35.0, 50.0))
SHIFT = np.array([300.0, -120.0, 40.0])
MIRROR = np.array([1.0, 1.0, -1.0])


@pytest.fixture(scope="module")
def bracket():
    cube = manifold3d.Manifold.cube
    solid = (
        cube((60, 30, 8))
        + cube((8, 30, 40))
        - manifold3d.Manifold.cylinder(20, 3, 3, 32).translate((45, 18, -5))
    )
    mesh = solid.to_mesh64()
    return TriangleMesh(np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts, dtype=np.int64))


def moved(mesh, faces=None):
    return TriangleMesh(mesh.vertices @ TURN.T + SHIFT, mesh.faces if faces is None else faces)


def test_a_turned_and_moved_copy_is_found_with_its_motion(bracket):
    found = find_copy(bracket, moved(bracket))
    assert np.allclose(found.rotation, TURN, atol=1e-12)
    assert np.allclose(found.translation_mm, SHIFT, atol=1e-9)
    assert np.allclose(found.move(bracket.vertices), moved(bracket).vertices, atol=1e-9)


@pytest.mark.parametrize("written", [[2, 1, 0], [0, 2, 1], [1, 0, 2]])
def test_a_mirror_image_is_one_however_its_faces_are_turned_round(bracket, written):
    image = TriangleMesh(bracket.vertices * MIRROR, bracket.faces[:, written])
    found = find_copy(bracket, moved(image))
    assert np.linalg.det(found.rotation) == pytest.approx(-1.0)
    assert np.allclose(found.rotation, TURN * MIRROR, atol=1e-12)


def test_vertices_mirrored_without_turning_the_faces_are_none(bracket):
    """It is inside out: another mesh with another fault."""
    assert find_copy(bracket, moved(TriangleMesh(bracket.vertices * MIRROR, bracket.faces))) is None
    assert find_copy(bracket, moved(bracket, bracket.faces[:, ::-1])) is None


@pytest.mark.parametrize(("by_mm", "is_copy"), [(0.0005, True), (0.002, False)])
def test_one_vertex_may_be_off_by_less_than_a_micrometre(bracket, by_mm, is_copy):
    assert COPY_MM == 0.001
    copy = moved(bracket)
    for vertex in (0, 7):  # one that the first glance sees, and another
        vertices = copy.vertices.copy()
        vertices[vertex, 1] += by_mm
        assert (find_copy(bracket, TriangleMesh(vertices, copy.faces)) is not None) == is_copy


def test_other_faces_over_the_same_vertices_are_none(bracket):
    other = bracket.faces.copy()
    other[[0, 1]] = other[[1, 0]]
    assert find_copy(bracket, moved(bracket, other)) is None
    assert find_copy(bracket, moved(bracket, bracket.faces[:-1])) is None


def test_vertices_that_coincide_must_coincide_in_both(bracket):
    """Health takes vertices at exactly the same place as one: a crack of half a micrometre is a crack."""
    corner = bracket.faces[0, 0]
    vertices = np.vstack([bracket.vertices, bracket.vertices[corner]])
    faces = bracket.faces.copy()
    faces[0, 0] = len(bracket.vertices)
    joined = TriangleMesh(vertices, faces)
    torn = vertices.copy()
    torn[-1, 0] += 0.0005
    assert find_copy(joined, TriangleMesh(joined.vertices + 256.0, faces)) is not None
    assert find_copy(joined, TriangleMesh(torn + 256.0, faces)) is None


def test_no_mesh_is_a_copy_of_nothing():
    nothing = TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    assert find_copy(nothing, nothing) is None
