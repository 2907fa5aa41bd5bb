"""How a surface is sampled, and what is made of the samples."""

import time

import numpy as np
import pytest

from building.meshes import box_mesh
from dryfit.calc.thickness import least_walls, sample_surface, thickness_map, wall_histogram
from dryfit.model.mesh import TriangleMesh
from support.shapes import torus


def together(*meshes):
    vertices, faces, start = [], [], 0
    for mesh in meshes:
        vertices.append(mesh.vertices)
        faces.append(mesh.faces + start)
        start += len(mesh.vertices)
    return TriangleMesh(np.vstack(vertices), np.vstack(faces))


class TestSamples:
    def test_they_lie_on_their_triangles_and_share_the_area(self):
        mesh = torus(50.0, 8.0, 40, 16)
        samples = sample_surface(mesh, 800, 1)
        corner = mesh.vertices[mesh.faces[samples.triangles, 0]]
        assert np.abs(np.einsum("ij,ij->i", samples.points - corner, samples.normals)).max() < 1e-9
        a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
        area = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()
        assert samples.area_mm2.sum() == pytest.approx(area, rel=1e-9)

    def test_faces_get_their_share_by_area(self):
        """A box of 10 x 20 x 40: its largest faces hold 800 of 2800 mm2 each."""
        samples = sample_surface(box_mesh((0, 0, 0), (10, 20, 40)), 2800, 1)
        assert np.count_nonzero(samples.normals[:, 0] > 0.9) == pytest.approx(800, abs=2)

    def test_a_large_face_is_covered_evenly(self):
        samples = sample_surface(box_mesh((0, 0, 0), (100, 100, 1)), 2000, 1)
        top = samples.points[samples.normals[:, 2] > 0.9]
        count, _, _ = np.histogram2d(top[:, 0], top[:, 1], bins=8, range=[[0, 100], [0, 100]])
        assert count.min() > 0.5 * len(top) / 64

    def test_a_speck_on_a_large_body_is_sampled(self):
        """A pin of 0.3 mm on a metre of body: its share of area is far below one sample."""
        body = together(
            box_mesh((0, 0, 0), (1000, 300, 300)), box_mesh((500, 150, 300.5), (500.3, 150.3, 302))
        )
        found = thickness_map(body, 1000)
        pin = found.points[:, 2] > 300.2
        assert pin.sum() >= 4
        assert found.wall_mm[pin].min() == pytest.approx(0.3, abs=1e-6)

    def test_words_say_how_densely(self):
        words = sample_surface(box_mesh((0, 0, 0), (10, 20, 40)), 700, 1).words
        assert words.startswith("700 samples, one on every 4 mm2 of surface, about 2 mm apart")


def test_the_same_seed_gives_the_same_map():
    mesh = torus(50.0, 8.0, 40, 16)
    one, two, other = thickness_map(mesh, 500), thickness_map(mesh, 500), thickness_map(mesh, 500, seed=2)
    assert np.array_equal(one.points, two.points)
    assert np.array_equal(one.sphere_mm, two.sphere_mm)
    assert not np.array_equal(one.points, other.points)


def test_the_order_of_triangles_in_the_file_costs_no_wall():
    mesh = torus(50.0, 8.0, 100, 40)
    shuffled = TriangleMesh(mesh.vertices, np.random.default_rng(1).permutation(mesh.faces))
    spread = [
        np.histogram(np.arctan2(*sample_surface(m, 720, 1).points[:, :2].T), 36)[0] for m in (mesh, shuffled)
    ]
    assert min(spread[1]) > 0.5 * 720 / 36


def test_places_are_told_apart_and_come_thinnest_first():
    body = together(
        box_mesh((0, 0, 0), (50, 50, 0.5)),
        box_mesh((100, 0, 0), (150, 50, 0.9)),
        box_mesh((200, 0, 0), (250, 50, 9)),
    )
    places = least_walls(thickness_map(body, 3000), 1.0)
    assert [place.least_mm for place in places] == pytest.approx([0.5, 0.9], abs=1e-6)
    assert places[0].area_mm2 == pytest.approx(5000, rel=0.05)
    assert places[0].taper_deg == pytest.approx(0.0, abs=1e-3)
    assert 0 <= places[0].point_mm[0] <= 50


def test_no_wall_at_the_edges_of_a_thick_block():
    assert least_walls(thickness_map(box_mesh((0, 0, 0), (40, 40, 40)), 4000), 5.0) == ()


def test_the_histogram_holds_the_whole_area():
    found = thickness_map(
        together(box_mesh((0, 0, 0), (50, 50, 0.5)), box_mesh((100, 0, 0), (150, 50, 3.5))), 2000
    )
    shares = wall_histogram(found, 4.0, 4)
    assert shares.edges_mm.tolist() == [0, 1, 2, 3, 4, np.inf]
    assert shares.area_mm2.sum() == pytest.approx(found.area_mm2.sum())
    assert shares.area_mm2[0] == pytest.approx(5000, rel=0.03)
    assert shares.area_mm2[3] == pytest.approx(5000, rel=0.03)


def test_a_hundred_thousand_triangles_take_little_time():
    mesh = torus(100.0, 20.0, 316, 158)
    thickness_map(mesh, 100)
    start = time.process_time()
    thickness_map(mesh, 2000)
    assert time.process_time() - start < 2.0  # a quarter of it on an idle computer
