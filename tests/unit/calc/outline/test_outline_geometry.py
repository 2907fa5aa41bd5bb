"""Silhouettes, creases and hiding against closed forms of plane geometry."""

import math

import numpy as np
import pytest
import shapely
from scipy.spatial.transform import Rotation

from building.meshes import box_mesh, ring_segment_mesh
from dryfit.calc.outline import (
    ELEVATION,
    PLAN,
    Direction,
    Outline,
    build_surface,
    coarsen,
    crease_edges,
    depths_of,
    hide_behind,
    project_points,
    round_factor,
    silhouette,
)
from dryfit.model.mesh import TriangleMesh

SIDES = 48


def prism(sides: int, radius: float, height: float) -> TriangleMesh:
    """An upright prism with a regular base, its caps fans about their middles."""
    angle = 2.0 * np.pi * np.arange(sides) / sides
    rim = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(sides)])
    vertices = np.vstack([rim, rim + np.array([0, 0, height]), [[0, 0, 0], [0, 0, height]]])
    faces = []
    for k in range(sides):
        j = (k + 1) % sides
        faces += [(k, j, sides + j), (k, sides + j, sides + k)]
        faces += [(2 * sides, j, k), (2 * sides + 1, sides + k, sides + j)]
    return TriangleMesh(vertices, np.array(faces))


def outline(mesh: TriangleMesh, direction: Direction) -> Outline:
    surface = build_surface(mesh.vertices, mesh.faces)
    points = surface.vertices
    edges = crease_edges(surface, points, direction.toward)
    return Outline(
        silhouette(surface, points, direction),
        project_points(points, direction)[edges],
        depths_of(points, direction),
    )


def test_shadow_of_a_turned_box():
    # Closed form: a convex body's shadow is half the sum of its faces' areas times |cosine|.
    turn = Rotation.from_euler("xyz", [25, -40, 10], degrees=True).as_matrix()
    mesh = box_mesh((0, 0, 0), (30, 20, 10))
    surface = build_surface(mesh.vertices @ turn.T, mesh.faces)
    shadow = silhouette(surface, surface.vertices, PLAN).area
    expected = np.abs(turn[2]) @ [20 * 10, 30 * 10, 30 * 20]
    assert shadow == pytest.approx(expected, rel=1e-9)


def test_cylinder_from_above_and_from_the_front():
    mesh = prism(SIDES, 25.0, 60.0)
    polygon = 0.5 * SIDES * 25.0**2 * math.sin(2 * math.pi / SIDES)
    assert outline(mesh, PLAN).region.area == pytest.approx(polygon, rel=1e-9)
    front = outline(mesh, ELEVATION).region
    assert front.bounds == pytest.approx((-25, 0, 25, 60))
    assert front.area == pytest.approx(50 * 60, rel=1e-9)


def test_facets_of_a_cylinder_show_no_edges():
    # Each facet turns by 7.5 degrees: only the rim is an edge.
    surface = build_surface(*_arrays(prism(SIDES, 25.0, 60.0)))
    edges = crease_edges(surface, surface.vertices, ELEVATION.toward)
    heights = surface.vertices[edges][:, :, 2]
    assert (heights[:, 0] == heights[:, 1]).all()
    surface = build_surface(*_arrays(prism(8, 25.0, 60.0)))
    edges = crease_edges(surface, surface.vertices, ELEVATION.toward)
    heights = surface.vertices[edges][:, :, 2]
    # Of eight upright edges of an octagon with a corner toward the viewer, five bound a face that is seen.
    assert (heights[:, 0] != heights[:, 1]).sum() == 5


def _arrays(mesh: TriangleMesh):
    return mesh.vertices, mesh.faces


def test_vertices_repeated_per_triangle_make_the_same_drawing():
    mesh = box_mesh((0, 0, 0), (30, 20, 10))
    soup = TriangleMesh(mesh.vertices[mesh.faces].reshape(-1, 3), np.arange(36).reshape(-1, 3))
    whole, loose = outline(mesh, PLAN), outline(soup, PLAN)
    assert len(whole.edges) == len(loose.edges) == 4
    assert loose.region.equals(whole.region)


def test_a_hole_stays_open():
    # A flat ring; closed form of a polygon inscribed in a circle.
    ring = outline(ring_segment_mesh(50, 60, 8, 0, 360, chords=48), PLAN).region
    expected = 0.5 * 48 * math.sin(2 * math.pi / 48) * (60**2 - 50**2)
    assert ring.area == pytest.approx(expected, rel=1e-9)
    assert len(ring.interiors) == 1


def test_an_open_surface_seen_from_behind_has_its_silhouette():
    surface = build_surface(np.array([[0, 0, 0], [0, 10, 0], [10, 0, 0]], float), np.array([[0, 1, 2]]))
    assert silhouette(surface, surface.vertices, PLAN).area == pytest.approx(50.0)


def test_a_rough_surface_is_looked_up_in_the_same_way():
    # More than a few cells take another path; a tent of many ridges covers its own rectangle.
    ridges = 40
    x = np.repeat(np.arange(2 * ridges + 1.0), 2)
    z = np.repeat((np.arange(2 * ridges + 1) % 2) * 5.0, 2)
    y = np.tile([0.0, 7.0], 2 * ridges + 1)
    faces = [
        face
        for k in range(2 * ridges)
        for face in ((2 * k, 2 * k + 2, 2 * k + 3), (2 * k, 2 * k + 3, 2 * k + 1))
    ]
    surface = build_surface(np.column_stack([x, y, z]), np.array(faces))
    tilted = surface.vertices @ Rotation.from_euler("y", 80, degrees=True).as_matrix().T
    region = silhouette(surface, tilted, PLAN)
    low, high = tilted[:, 0].min(), tilted[:, 0].max()
    assert region.area == pytest.approx(7.0 * (high - low), rel=1e-9)


def _visible_area(rings) -> float:
    area = shapely.Polygon()
    for ring in rings:
        area = shapely.symmetric_difference(area, shapely.Polygon(ring))
    return area.area


def test_the_nearer_body_covers_the_farther_one():
    low = outline(box_mesh((0, 0, 0), (40, 40, 5)), PLAN)
    high = outline(box_mesh((10, 10, 20), (60, 30, 25)), PLAN)
    far, near = hide_behind([low, high], 0.01)
    assert _visible_area(near.rings) == pytest.approx(50 * 20)
    assert _visible_area(far.rings) == pytest.approx(40 * 40 - 30 * 20)
    drawn = sum(shapely.LineString(line).length for line in far.lines)
    assert drawn == pytest.approx(4 * 40 - 20, abs=0.05)


def test_an_edge_that_two_bodies_share_is_drawn_once():
    left = outline(box_mesh((0, 0, 0), (10, 10, 5)), PLAN)
    right = outline(box_mesh((10, 0, 0), (20, 10, 5)), PLAN)
    drawn = sum(
        shapely.LineString(line).length for seen in hide_behind([left, right], 0.001) for line in seen.lines
    )
    assert drawn == pytest.approx(7 * 10, abs=0.02)


@pytest.mark.parametrize("departure", [1e-5, 0.003, 0.11, 1.7, 4.6, 30.0, 400.0])
def test_the_factor_is_round_and_leaves_the_view_readable(departure):
    size = 1200.0
    factor = round_factor(departure, size)
    assert factor in (1, 2, 5, 10, 20, 50, 100, 200)
    assert factor == 1 or factor * departure <= 0.05 * size
    assert factor == 200 or factor * departure > 0.02 * size - 1e-9


def test_nothing_to_show_is_drawn_as_it_is():
    assert round_factor(0.0, 1200.0) == round_factor(1e-12, 1200.0) == 1.0


def test_a_coarser_mesh_departs_by_no_more_than_a_cell():
    mesh = prism(2000, 100.0, 50.0)
    vertices, faces = coarsen(mesh.vertices, mesh.faces, 2000, 1.0)
    # Doubling the cell halves the count of a rim at most, so that half the count is always kept.
    assert 500 <= len(faces) <= 2000
    surface = build_surface(vertices, faces)
    bounds = silhouette(surface, surface.vertices, PLAN).bounds
    assert bounds == pytest.approx((-100, -100, 100, 100), abs=2.0)
