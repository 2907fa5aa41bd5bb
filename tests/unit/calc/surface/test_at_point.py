"""Faces at a point of a mesh: boxes by hand, random triangles against trimesh."""

import numpy as np
import pytest
import trimesh

from building import box_mesh
from dryfit.calc.surface import outward_at, triangles_near
from dryfit.model.mesh import TriangleMesh

BOX = box_mesh((0.0, 0.0, 0.0), (10.0, 20.0, 30.0))


@pytest.mark.parametrize(
    ("point", "outward"),
    [
        ([10.0, 7.0, 9.0], [1.0, 0.0, 0.0]),
        ([3.0, 0.0, 9.0], [0.0, -1.0, 0.0]),
        ([3.0, 7.0, 30.0], [0.0, 0.0, 1.0]),
        ([10.0, 20.0, 9.0], [1.0, 1.0, 0.0]),  # an edge moves both its faces by one
        ([0.0, 0.0, 0.0], [-1.0, -1.0, -1.0]),
        ([5.0, 7.0, 9.0], [0.0, 0.0, 0.0]),  # inside
        ([10.1, 7.0, 9.0], [0.0, 0.0, 0.0]),  # off the surface
        ([10.005, 7.0, 9.0], [1.0, 0.0, 0.0]),  # within reach
    ],
)
def test_outward_at_a_box(point: list[float], outward: list[float]) -> None:
    assert outward_at(BOX, np.array(point)) == pytest.approx(outward, abs=1e-9)


def test_faces_that_oppose_one_another_give_no_direction() -> None:
    plate = box_mesh((0.0, 0.0, 0.0), (10.0, 20.0, 0.004))
    assert outward_at(plate, np.array([5.0, 7.0, 0.002])) == pytest.approx([0.0, 0.0, 0.0])


def test_distances_to_random_triangles_agree_with_a_mesh_library() -> None:
    generator = np.random.default_rng(11)
    soup = TriangleMesh(generator.uniform(-1, 1, (300, 3)), np.arange(300).reshape(-1, 3))
    corners = soup.vertices[soup.faces]
    for point in generator.uniform(-1, 1, (40, 3)):
        closest = trimesh.triangles.closest_point(corners, np.tile(point, (100, 1)))
        distance = np.linalg.norm(closest - point, axis=1)
        for reach in (0.05, 0.3, 1.0):
            assert triangles_near(soup, point, reach).tolist() == np.nonzero(distance <= reach)[0].tolist()


def test_outward_on_a_ball_agrees_with_a_mesh_library() -> None:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=20.0)
    mesh = TriangleMesh(np.array(ball.vertices), np.array(ball.faces))
    for point, normal in zip(ball.triangles_center, ball.face_normals, strict=True):
        assert outward_at(mesh, np.array(point)) == pytest.approx(normal, abs=1e-9)


def test_degenerate_triangles_are_left_out() -> None:
    mesh = TriangleMesh(np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0]]), np.array([[0, 1, 2]]))
    assert triangles_near(mesh, np.array([1.0, 0.0, 0.0]), 1.0).tolist() == []
