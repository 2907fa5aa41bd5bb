"""Rays and inscribed spheres against closed forms on plates, tubes, wedges, balls and boxes."""

import itertools

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from building.meshes import box_mesh, moved, ring_segment_mesh
from dryfit.base.errors import ComputationRefused
from dryfit.calc.thickness import spheres, thickness_at, thickness_map
from dryfit.calc.thickness.nearest import Seen
from dryfit.calc.thickness.solid import FEW_TRIANGLES
from dryfit.model.mesh import TriangleMesh
from support.shapes import revolved, torus

TURN = Rotation.from_rotvec([0.3, -0.8, 0.5]).as_matrix()


def wedge(angle_deg, length, width):
    """A prism on z from 0 to width whose section has its tip at the origin and one side along x."""
    rise = length * np.tan(np.radians(angle_deg))
    flat = np.array([[0, 0], [length, 0], [length, rise]])
    low, high = np.column_stack([flat, [0] * 3]), np.column_stack([flat, [width] * 3])
    faces = [[0, 2, 1], [3, 4, 5], [0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4], [2, 0, 3], [2, 3, 5]]
    return TriangleMesh(np.vstack([low, high]), np.array(faces))


def ball(radius, sides=96):
    angle = np.linspace(0.0, np.pi, sides // 2)
    radii = np.maximum(radius * np.sin(angle), 1e-3)
    return revolved(radii, -radius * np.cos(angle), sides)


@pytest.mark.parametrize("shift", [0.0, 1500.0])
@pytest.mark.parametrize("rotation", [np.eye(3), TURN], ids=["square", "turned"])
def test_a_plate_is_as_thick_as_it_is(rotation, shift):
    plate = moved(box_mesh((0, 0, 0), (100, 60, 2)), rotation, np.full(3, shift))
    points = np.array([[50, 30, 2], [20, 11, 0], [99, 59, 2]], dtype=float)
    normals = np.array([[0, 0, 1], [0, 0, -1], [0, 0, 1]], dtype=float)
    found = thickness_at(plate, points @ rotation.T + shift, normals @ rotation.T)
    assert found.ray_mm == pytest.approx([2, 2, 2], abs=1e-9)
    assert found.sphere_mm == pytest.approx([2, 2, 2], abs=1e-9)
    assert found.is_wall.all()


def test_beside_a_square_edge_the_sphere_is_twice_the_way_to_it_and_no_wall():
    """A sphere on one face at e from the edge touches the other face when its radius is e."""
    box = box_mesh((0, 0, 0), (40, 40, 40))
    found = thickness_at(box, np.array([[20.0, 3.0, 40.0]]), np.array([[0.0, 0.0, 1.0]]))
    assert found.sphere_mm == pytest.approx([6.0], rel=2e-3)
    assert found.sphere_taper_deg == pytest.approx([90.0], abs=1)
    assert found.wall_mm == pytest.approx([40.0], abs=1e-9)
    assert found.taper_deg == pytest.approx([0.0], abs=1e-6)
    assert found.is_wall.all()


@pytest.mark.parametrize("angle", [8.0, 20.0, 29.0])
@pytest.mark.parametrize("along", [10.0, 25.0])
def test_a_wedge(angle, along):
    """From the side at x from the tip: the ray runs x tan a; the sphere's diameter is 2 x tan(a / 2)."""
    body = wedge(angle, 60.0, 80.0)
    found = thickness_at(body, np.array([[along, 0.0, 40.0]]), np.array([[0.0, -1.0, 0.0]]))
    a = np.radians(angle)
    assert found.ray_mm == pytest.approx([along * np.tan(a)], abs=1e-9)
    assert found.sphere_mm == pytest.approx([2 * along * np.tan(a / 2)], rel=3e-3)
    assert found.sphere_mm >= 2 * along * np.tan(a / 2) * (1 - 1e-9)
    assert found.taper_deg == pytest.approx([angle], abs=0.6)


def fine(mesh, times=4):
    """The same surface in 4 to the power of times as many triangles: too many for a search tree."""
    for _ in range(times):
        a, b, c = np.moveaxis(mesh.vertices[mesh.faces], 1, 0)
        ab, bc, ca = 0.5 * (a + b), 0.5 * (b + c), 0.5 * (c + a)
        corners = np.stack([a, ab, ca, ab, b, bc, ca, bc, c, ab, bc, ca], axis=1).reshape(-1, 3)
        vertices, index = np.unique(corners, axis=0, return_inverse=True)
        mesh = TriangleMesh(vertices, index.reshape(-1, 3))
    assert len(mesh.faces) > FEW_TRIANGLES
    return mesh


class TestFineMeshes:
    """Spheres shrink by quick looks, each time until they tell nothing more; then a whole look decides."""

    @pytest.mark.parametrize("way", [0.7, 3.0, 12.0])
    def test_beside_a_square_edge_the_sphere_is_twice_the_way_to_it(self, way):
        found = thickness_at(
            fine(box_mesh((0, 0, 0), (40, 40, 40))),
            np.array([[20.3, way, 40.0]]),
            np.array([[0.0, 0.0, 1.0]]),
        )
        assert found.sphere_mm == pytest.approx([2 * way], rel=1e-3)
        assert found.sphere_mm >= 2 * way * (1 - 1e-9)
        assert found.wall_mm == pytest.approx([40.0], abs=1e-9)

    @pytest.mark.parametrize("angle", [8.0, 20.0, 29.0])
    def test_a_wedge(self, angle):
        found = thickness_at(
            fine(wedge(angle, 60.0, 80.0), 5), np.array([[25.0, 0.0, 40.3]]), np.array([[0.0, -1.0, 0.0]])
        )
        exact = 2 * 25.0 * np.tan(np.radians(angle) / 2)
        assert found.sphere_mm == pytest.approx([exact], rel=1e-3)
        assert found.sphere_mm >= exact * (1 - 1e-9)

    def test_quick_looks_that_see_nothing_cost_time_and_nothing_else(self, monkeypatch):
        body = fine(box_mesh((0, 0, 0), (60, 25, 9)))
        quick = thickness_map(body, 600).sphere_mm

        def blind(solid, centres, ahead):
            return Seen(np.full_like(centres, np.inf), np.full(len(centres), -1), ahead)

        monkeypatch.setattr(spheres, "nearest_ahead", blind)
        whole = thickness_map(body, 600).sphere_mm
        assert quick == pytest.approx(whole, rel=2e-3)


def test_a_blunt_wedge_is_an_edge_and_no_wall():
    found = thickness_at(wedge(40.0, 60.0, 80.0), np.array([[10.0, 0.0, 40.0]]), np.array([[0.0, -1.0, 0.0]]))
    assert not found.is_wall.any()


def test_a_tube_of_facets():
    """Between the flats of two polygons of n sides: (R - r) cos(pi / n)."""
    sides = 90
    first = ring_segment_mesh(20.0, 22.0, 30.0, 0.0, 180.0, sides // 2)
    middle = np.radians(np.array([10.0, 90.0, 130.0]))  # middles of facets of 4 degrees
    out = np.column_stack([np.cos(middle), np.sin(middle), np.zeros(3)])
    flat = np.cos(np.pi / sides)
    for points, normals in ((22 * flat * out, out), (20 * flat * out, -out)):
        found = thickness_at(first, points, normals)
        assert found.ray_mm == pytest.approx(np.full(3, 2 * flat), abs=1e-6)
        assert found.sphere_mm == pytest.approx(np.full(3, 2 * flat), rel=1e-6)


def test_a_tube_all_over():
    tube = torus(50.0, 8.0, 180, 72)
    found = thickness_map(tube, 2000)
    assert np.abs(found.ray_mm - 16.0).max() < 0.02 * 16
    assert np.abs(found.wall_mm - 16.0).max() < 0.02 * 16


def test_a_ball_all_over():
    """Spheres and rays are the diameter; facets of 3.75 degrees leave 4 % at most."""
    found = thickness_map(ball(10.0), 1500)
    inner = np.abs(found.points[:, 2]) < 9.5
    assert np.abs(found.ray_mm[inner] / 20.0 - 1).max() < 0.01
    assert np.abs(found.sphere_mm[inner] / 20.0 - 1).max() < 0.07
    assert np.median(found.sphere_mm) == pytest.approx(20.0, rel=0.03)


def test_a_sphere_is_never_larger_than_the_ray():
    found = thickness_map(torus(50.0, 8.0, 40, 12), 1000)
    assert (found.sphere_mm <= found.ray_mm * (1 + 1e-12)).all()


def test_a_hidden_hollow_bounds_the_wall():
    outer, inner = box_mesh((0, 0, 0), (30, 30, 30)), box_mesh((10, 10, 1.5), (20, 20, 20))
    body = TriangleMesh(
        np.vstack([outer.vertices, inner.vertices]), np.vstack([outer.faces, inner.faces[:, ::-1] + 8])
    )
    found = thickness_at(body, np.array([[15.0, 15.0, 0.0]]), np.array([[0.0, 0.0, -1.0]]))
    assert found.ray_mm == pytest.approx([1.5], abs=1e-9)
    assert found.sphere_mm == pytest.approx([1.5], abs=1e-9)


def test_overlapping_bodies_count_as_one():
    one, two = box_mesh((0, 0, 0), (10, 10, 10)), box_mesh((2, 2, 8), (8, 8, 25))
    body = TriangleMesh(np.vstack([one.vertices, two.vertices]), np.vstack([one.faces, two.faces + 8]))
    found = thickness_at(body, np.array([[5.0, 5.0, 0.0]]), np.array([[0.0, 0.0, -1.0]]))
    assert found.ray_mm == pytest.approx([25.0], abs=1e-9)
    assert found.wall_mm == pytest.approx([25.0], abs=1e-9)


class TestRefused:
    def test_open(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        with pytest.raises(ComputationRefused, match="open"):
            thickness_map(TriangleMesh(box.vertices, box.faces[1:]))

    def test_open_by_any_two_triangles(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        for pair in itertools.combinations(range(12), 2):
            with pytest.raises(ComputationRefused, match="open"):
                thickness_map(TriangleMesh(box.vertices, np.delete(box.faces, pair, axis=0)))

    def test_inside_out(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        with pytest.raises(ComputationRefused, match="inside out"):
            thickness_map(TriangleMesh(box.vertices, box.faces[:, ::-1]))

    def test_one_face_the_wrong_way(self):
        box = box_mesh((0, 0, 0), (10, 10, 10))
        faces = box.faces.copy()
        faces[3] = faces[3, ::-1]
        with pytest.raises(ComputationRefused, match="oriented"):
            thickness_map(TriangleMesh(box.vertices, faces))

    def test_one_body_inside_out_among_sound_ones_is_unmeasured_there(self):
        one, two = box_mesh((0, 0, 0), (30, 30, 30)), box_mesh((50, 0, 0), (60, 10, 10))
        body = TriangleMesh(
            np.vstack([one.vertices, two.vertices]), np.vstack([one.faces, two.faces[:, ::-1] + 8])
        )
        found = thickness_map(body, 500)
        assert len(found.unmeasured)
        assert (found.points[found.unmeasured, 0] > 40).all()
