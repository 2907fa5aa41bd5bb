"""Faces of bodies whose faces are known by construction: counts, areas and normals in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import Moved, box, flange, rounded_box, sphere

from dryfit.calc.faces import segment_faces
from dryfit.model.mesh import TriangleMesh
from support.shapes import revolved, torus


def planes_of(faces):
    return [faces.face(k) for k in range(len(faces)) if faces.is_plane[k]]


def curved_of(faces):
    return [faces.face(k) for k in range(len(faces)) if not faces.is_plane[k]]


@pytest.mark.parametrize("sides", [24, 36, 72, 100, 200])
@pytest.mark.parametrize("radius", [2.0, 5.0, 100.0])
def test_cylinder_is_two_planes_and_one_round(sides, radius):
    faces = segment_faces(Moved(revolved([radius] * 2, [0, 20], sides), sides).mesh)
    assert len(faces) == 3
    assert faces.is_plane.sum() == 2
    disc = 0.5 * sides * radius**2 * np.sin(2 * np.pi / sides)
    assert [face.area_mm2 for face in planes_of(faces)] == pytest.approx([disc] * 2, rel=1e-4)
    wall = 2 * sides * radius * np.sin(np.pi / sides) * 20
    assert curved_of(faces)[0].area_mm2 == pytest.approx(wall, rel=1e-4)


@pytest.mark.parametrize("steps", [5, 6, 12, 25, 50])
def test_planes_do_not_leak_into_the_rounds_beside_them(steps):
    faces = segment_faces(Moved(rounded_box((60, 40, 30), 5, steps), steps).mesh)
    large = sorted(face.area_mm2 for face in planes_of(faces) if face.area_mm2 > 400)
    assert large == pytest.approx([600, 600, 1000, 1000, 1500, 1500], rel=1e-5)


@pytest.mark.parametrize("sides", [24, 72, 200])
def test_flat_land_round_a_fillet(sides):
    faces = segment_faces(Moved(flange(sides), 3).mesh)
    share = 0.5 * sides * np.sin(2 * np.pi / sides)
    # The fillet starts at r 14 and is tangent to the land; its first facets bend by half a step only.
    wanted = sorted([share * 6**2, share * (30**2 - 14**2), share * 30**2])
    # The underside is a ring of triangles to its middle: a plane like the others.
    assert sorted(face.area_mm2 for face in planes_of(faces)) == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize("sides", [24, 100])
@pytest.mark.parametrize("body", ["sphere", "torus"])
def test_doubly_curved_bodies_are_one_round(body, sides):
    mesh = sphere(10.0, sides) if body == "sphere" else torus(50, 5, 2 * sides, sides)
    faces = segment_faces(Moved(mesh, 5).mesh)
    assert len(curved_of(faces)) == 1
    assert curved_of(faces)[0].area_mm2 > 0.98 * faces.groups.areas.sum()


@pytest.mark.parametrize("cuts", [1, 20])
@pytest.mark.parametrize("noise", [0.0, 0.005, 0.01])
def test_box_with_noise_has_six_planes(cuts, noise):
    faces = segment_faces(Moved(box((30, 20, 10), cuts), 7, noise).mesh)
    large = sorted(face.area_mm2 for face in planes_of(faces))[-6:]
    assert large == pytest.approx([200, 200, 300, 300, 600, 600], rel=0.02)


def test_two_planes_that_meet_at_a_small_angle_stay_two():
    mesh = box((30, 20, 10), 2)
    vertices = mesh.vertices.copy()
    ridge = (vertices[:, 2] > 4.9) & (np.abs(vertices[:, 0]) < 0.1)
    vertices[ridge, 2] += 1.0  # slopes of 3.8 degrees
    faces = segment_faces(Moved(TriangleMesh(vertices, mesh.faces), 1).mesh)
    assert len(faces) == 7
    assert faces.is_plane.all()


def test_labels_tell_the_face_of_each_triangle_of_the_mesh():
    faces = segment_faces(Moved(flange(24), 2).mesh)
    for index in range(len(faces)):
        assert (faces.labels[faces.face(index).triangles] == index).all()


def test_normals_point_outward():
    moved = Moved(box((30, 20, 10), 3), 4)
    faces = segment_faces(moved.mesh)
    for face in planes_of(faces):
        assert face.normal @ (face.centroid_mm - moved.shift) > 0
        assert np.abs(face.normal @ moved.rotation).max() == pytest.approx(1.0, abs=1e-6)
