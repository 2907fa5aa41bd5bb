"""Measures of a mesh against closed forms, trimesh and manifold3d."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.calc.mesh import has_area, measure_mesh
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import FACES, box
from support.shapes import revolved, torus

N = 48


def polygon_area(radius, sides):
    """Regular polygon in a circle: n/2 r^2 sin(2 pi/n)."""
    return sides / 2 * radius**2 * math.sin(2 * math.pi / sides)


def test_box():
    """Volume and area of a box, exactly; centroid in the middle."""
    measures = measure_mesh(TriangleMesh(*box((1, 2, 3), (10, 20, 30))))
    assert measures.volume_mm3 == pytest.approx(6, rel=1e-15)
    assert measures.area_mm2 == pytest.approx(22, rel=1e-15)
    assert measures.centroid_mm == pytest.approx([10.5, 21, 31.5], rel=1e-15)
    assert measures.centroid_of == "volume"
    assert measures.bounds.tolist() == [[10, 20, 30], [11, 22, 33]]
    assert measures.extent_mm.tolist() == [1, 2, 3]


def test_cylinder():
    """The prism: V = A h, S = 2 A + perimeter h, with A and perimeter of the regular polygon."""
    measures = measure_mesh(revolved([2, 2], [1, 6], N))
    perimeter = 2 * N * 2 * math.sin(math.pi / N)
    assert measures.volume_mm3 == pytest.approx(polygon_area(2, N) * 5, rel=1e-13)
    assert measures.area_mm2 == pytest.approx(2 * polygon_area(2, N) + perimeter * 5, rel=1e-13)
    assert measures.centroid_mm == pytest.approx([0, 0, 3.5], abs=1e-13)


def test_cone():
    """The pyramid: V = A h / 3, centroid a quarter of the height up; its ring at the top has no size."""
    height = 3.0
    measures = measure_mesh(revolved([2, 0], [0, height], N))
    slant = math.hypot(height, 2 * math.cos(math.pi / N))
    sides = N * 2 * math.sin(math.pi / N) * slant
    assert measures.volume_mm3 == pytest.approx(polygon_area(2, N) * height / 3, rel=1e-13)
    assert measures.area_mm2 == pytest.approx(polygon_area(2, N) + sides, rel=1e-13)
    assert measures.centroid_mm == pytest.approx([0, 0, height / 4], abs=1e-13)
    assert measures.degenerate_faces == 2 * N


def test_sphere_nears_its_closed_form():
    """4/3 pi r^3 and 4 pi r^2; a lattice of n sides falls short of them by order 1/n^2."""
    shortfalls = []
    for sides in (32, 64):
        angles = np.pi * np.arange(1, sides // 2) / (sides // 2)
        rings = revolved([0, *np.sin(angles), 0], [-1, *-np.cos(angles), 1], sides)
        measures = measure_mesh(rings)
        shortfalls.append(1 - measures.volume_mm3 / (4 / 3 * math.pi))
        assert measures.area_mm2 == pytest.approx(4 * math.pi, rel=0.01)
    assert 0 < shortfalls[1] < shortfalls[0] < 0.02
    assert shortfalls[0] / shortfalls[1] == pytest.approx(4, rel=0.02)


def test_torus_nears_its_closed_form():
    """Pappus: V = 2 pi^2 R r^2, S = 4 pi^2 R r."""
    measures = measure_mesh(torus(5, 1, 400, 200))
    assert measures.volume_mm3 == pytest.approx(2 * math.pi**2 * 5, rel=3e-4)
    assert measures.area_mm2 == pytest.approx(4 * math.pi**2 * 5, rel=3e-4)
    assert measures.is_closed
    assert measures.is_consistently_oriented


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(5, 40), st.integers(0, 9))
def test_hulls_agree_with_trimesh(seed, count, shift):
    points = np.random.default_rng(seed).normal(0, 20, (count, 3)) + 1e3 * shift
    hull = trimesh.convex.convex_hull(points)
    measures = measure_mesh(TriangleMesh(hull.vertices, hull.faces))
    assert measures.volume_mm3 == pytest.approx(hull.volume, rel=1e-6)
    assert measures.area_mm2 == pytest.approx(hull.area, rel=1e-9)
    assert measures.centroid_mm == pytest.approx(hull.center_mass, abs=1e-3)
    assert measures.is_closed == hull.is_watertight
    assert measures.is_consistently_oriented == hull.is_winding_consistent


@pytest.mark.parametrize("mesh", [torus(5, 1, 30, 12), revolved([2, 1, 2], [0, 1, 4], 9)])
def test_bodies_agree_with_manifold(mesh):
    """manifold3d in its 64-bit form, whose volume and area are its own sums."""
    body = manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=mesh.vertices.copy(), tri_verts=mesh.faces.astype(np.uint64))
    )
    assert body.status() == manifold3d.Error.NoError
    measures = measure_mesh(mesh)
    assert measures.volume_mm3 == pytest.approx(body.volume(), rel=1e-12)
    assert measures.area_mm2 == pytest.approx(body.surface_area(), rel=1e-12)


def test_far_from_the_origin_no_digits_are_lost():
    vertices, faces = box((1, 2, 3), (2**40, 2**40, 2**40))
    assert measure_mesh(TriangleMesh(vertices, faces)).volume_mm3 == pytest.approx(6, rel=1e-9)


def test_inside_out():
    measures = measure_mesh(TriangleMesh(box()[0], FACES[:, ::-1]))
    assert measures.volume_mm3 == pytest.approx(-6)
    assert measures.is_inside_out
    assert measures.centroid_mm == pytest.approx([0.5, 1, 1.5])


def test_one_face_turned_over():
    faces = np.concatenate([FACES[:1, ::-1], FACES[1:]])
    measures = measure_mesh(TriangleMesh(box()[0], faces))
    assert (measures.is_closed, measures.is_consistently_oriented) == (True, False)
    assert measures.centroid_of == "surface"
    assert not trimesh.Trimesh(box()[0], faces, process=False).is_winding_consistent


def test_an_open_box_has_its_surface_centroid():
    """Without its lid of 2 x 1: area 20; z by hand: (2 * 0 + 18 * 1.5) / 20 = 1.35."""
    vertices, faces = box()
    lidless = faces[~(vertices[faces][:, :, 2] == 3).all(axis=1)]
    measures = measure_mesh(TriangleMesh(vertices, lidless))
    assert (measures.is_closed, measures.open_edges, measures.nonmanifold_edges) == (False, 4, 0)
    assert measures.is_consistently_oriented
    assert measures.centroid_of == "surface"
    assert measures.centroid_mm == pytest.approx([0.5, 1, 1.35], rel=1e-14)
    assert not measures.is_inside_out


def test_two_boxes_that_share_an_edge():
    """Closed, yet one edge borders four faces. The volume is that of both."""
    first, second = box((1, 1, 1))[0], box((1, 1, 1), (1, 1, 0))[0]
    vertices, back = np.unique(np.concatenate([first, second]), axis=0, return_inverse=True)
    faces = back.reshape(-1)[np.concatenate([FACES, FACES + 8])]
    measures = measure_mesh(TriangleMesh(vertices, faces))
    assert (len(vertices), measures.nonmanifold_edges, measures.open_edges) == (14, 1, 0)
    assert measures.is_closed
    assert measures.is_consistently_oriented
    assert measures.volume_mm3 == pytest.approx(2)


def test_a_fin_on_a_box_leaves_it_open():
    vertices = np.concatenate([box()[0], [[5, 5, 5]]])
    measures = measure_mesh(TriangleMesh(vertices, np.concatenate([FACES, [[0, 1, 8]]])))
    assert (measures.is_closed, measures.nonmanifold_edges, measures.open_edges) == (False, 1, 2)


def test_faces_without_area():
    """A face that names a vertex twice leaves the edges as they were; a needle of three points counts."""
    vertices = np.concatenate([box()[0], [[0.5, 0, 0]]])
    twice = measure_mesh(TriangleMesh(vertices, np.concatenate([FACES, [[0, 0, 1]]])))
    assert (twice.degenerate_faces, twice.is_closed, twice.open_edges) == (1, True, 0)
    needle = measure_mesh(TriangleMesh(vertices, np.concatenate([FACES, [[0, 8, 1]]])))
    assert (needle.degenerate_faces, needle.is_closed) == (1, False)


def test_vertices_that_no_face_uses_do_not_count():
    vertices = np.concatenate([box()[0], [[1e6, 0, 0]]])
    assert measure_mesh(TriangleMesh(vertices, FACES)).bounds[1].tolist() == [1, 2, 3]


def test_a_flat_closed_sheet_has_its_surface_centroid():
    flat = box((1, 2, 0))
    measures = measure_mesh(TriangleMesh(*flat))
    assert measures.volume_mm3 == 0
    assert measures.centroid_of == "surface"


def test_a_mesh_of_nothing_has_no_measures():
    with pytest.raises(ValueError, match="without faces"):
        measure_mesh(TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3))))
    only_points = TriangleMesh(np.zeros((1, 3)), np.zeros((1, 3)))
    measures = measure_mesh(only_points)
    assert (measures.area_mm2, measures.is_closed, measures.degenerate_faces) == (0, False, 1)
    assert not has_area(only_points.vertices, only_points.faces)
