"""Interference and clearance against closed forms (memory: lens of two spheres; boxes by arithmetic)."""

import math

import manifold3d
import numpy as np
import pytest

from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.overlap import (
    NotChecked,
    Overlap,
    broad_pairs,
    clearance_of,
    common_box,
    crossing_points,
    overlap_of,
    prepare_surface,
)
from dryfit.model.mesh import TriangleMesh

TURN = rotation_from_euler((20.0, 35.0, 50.0))


def mesh_of(solid: manifold3d.Manifold) -> TriangleMesh:
    mesh = solid.to_mesh64()
    return TriangleMesh(np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts, dtype=np.int64))


def box(low: tuple[float, float, float], high: tuple[float, float, float], fine: int = 1) -> TriangleMesh:
    size = tuple(float(top - bottom) for bottom, top in zip(low, high, strict=True))
    return mesh_of(manifold3d.Manifold.cube(size).translate(low).refine(fine))


def ball(centre: tuple[float, float, float], radius: float, segments: int = 128) -> TriangleMesh:
    return mesh_of(manifold3d.Manifold.sphere(radius, segments).translate(centre))


def turned(mesh: TriangleMesh) -> TriangleMesh:
    return TriangleMesh(mesh.vertices @ TURN.T, mesh.faces)


def shared(a: TriangleMesh, b: TriangleMesh) -> Overlap:
    found = overlap_of(a, b)
    assert isinstance(found, Overlap)
    return found


@pytest.mark.parametrize("apart", [15.0, 20.0, 22.0])
def test_two_spheres_share_a_lens(apart: float) -> None:
    # Lens of spheres R, r at distance d: pi (R+r-d)^2 (d^2 + 2d(r+R) - 3(r-R)^2) / (12 d) (memory).
    R, r, d = 15.0, 10.0, apart
    lens = math.pi * (R + r - d) ** 2 * (d * d + 2 * d * (r + R) - 3 * (r - R) ** 2) / (12 * d)
    found = shared(ball((0, 0, 0), R, 256), ball((d, 0, 0), r, 256))
    # A tessellated sphere of n segments lacks about a share (2 pi / n)^2 / 2 of its curvature's height.
    assert found.volume_mm3 == pytest.approx(lens, rel=5e-3)
    assert found.depth_mm == pytest.approx(R + r - d, abs=0.15)
    assert len(found.places) == 1
    assert found.places[0].centroid_mm[1:] == pytest.approx([0, 0], abs=1e-3)


def test_two_turned_boxes_share_a_box() -> None:
    a, b = box((0, 0, 0), (40, 30, 20), 8), box((39.7, 5, -5), (80, 20, 10), 8)
    found = shared(turned(a), turned(b))
    assert found.volume_mm3 == pytest.approx(0.3 * 15 * 10, rel=1e-9)
    assert found.depth_mm == pytest.approx(0.3, abs=1e-9)
    assert found.places[0].centroid_mm == pytest.approx(TURN @ [39.85, 12.5, 5.0], abs=1e-9)


def test_depth_where_the_sides_of_both_are_flush() -> None:
    found = shared(box((0, 0, 0), (40, 30, 20)), box((39.5, 0, 0), (80, 30, 20)))
    assert found.volume_mm3 == pytest.approx(0.5 * 30 * 20, rel=1e-9)
    assert found.depth_mm == pytest.approx(0.5, abs=1e-9)


@pytest.mark.parametrize("deep", [0.05, 0.9, 6.0, 17.0])
@pytest.mark.parametrize("fine", [2, 12])
def test_depth_of_thin_and_thick_overlaps_of_coarse_and_fine_meshes(deep: float, fine: int) -> None:
    """Two plates of 40 one into the other: the deepest point lies as far in as they overlap."""
    a, b = box((0, 0, 0), (40, 60, 50), fine), box((40 - deep, -5, -5), (80, 65, 55), fine)
    assert shared(turned(a), turned(b)).depth_mm == pytest.approx(min(deep, 25.0), abs=1e-9)


def test_depth_where_the_nearest_wall_lies_farther_off_than_the_overlap_is_fine() -> None:
    """A bar 30 deep in a block 20 wide, midway: its end lies 10 from either wall, and 30 from the mouth."""
    block, bar = box((0, 0, 0), (20, 60, 60), 12), box((5, 20, 30), (15, 40, 90), 12)
    assert shared(block, bar).depth_mm == pytest.approx(10.0, abs=0.9)


def test_a_small_part_inside_a_large_one() -> None:
    small = box((10, 10, 10), (12, 13, 14))
    for a, b in ((small, box((0, 0, 0), (40, 40, 40), 6)), (box((0, 0, 0), (40, 40, 40), 6), small)):
        found = shared(a, b)
        assert found.volume_mm3 == pytest.approx(24.0, rel=1e-9)
        assert found.depth_mm == pytest.approx(12.0, abs=1e-9)  # its far corner, from the face x = 0
        assert np.allclose(found.places[0].box, [[10, 10, 10], [12, 13, 14]])


def test_two_places_are_told_apart() -> None:
    bar = box((0, 0, 0), (100, 10, 10))
    comb = mesh_of(
        manifold3d.Manifold.cube((10, 10, 10)).translate((10, 9, 0))
        + manifold3d.Manifold.cube((10, 10, 10)).translate((70, 8, 0))
    )
    found = shared(bar, comb)
    assert [round(p.volume_mm3, 6) for p in found.places] == [200.0, 100.0]
    assert [round(p.depth_mm, 6) for p in found.places] == [2.0, 1.0]


@pytest.mark.parametrize("fine", [1, 7])
def test_faces_that_touch_share_nothing(fine: int) -> None:
    a, b = box((0, 0, 0), (40, 30, 20), fine), box((40, -5, 3), (80, 20, 40), fine)
    assert shared(a, b).places == ()
    # As single precision leaves them, after a turn.
    near = [
        TriangleMesh(m.vertices.astype(np.float32).astype(float), m.faces) for m in (turned(a), turned(b))
    ]
    assert shared(near[0], near[1]).places == ()


def test_a_round_peg_that_fills_its_hole_shares_only_rounding() -> None:
    peg = manifold3d.Manifold.cylinder(30.0, 5.0, 5.0, 64, True).rotate((10, 20, 30))
    block = manifold3d.Manifold.cube((20, 20, 20), True).rotate((10, 20, 30)) - peg
    found = shared(mesh_of(block), mesh_of(peg))
    assert found.places == ()
    assert found.ignored_mm3 < 1e-3


def test_a_press_fit_is_as_deep_as_its_interference() -> None:
    peg = manifold3d.Manifold.cylinder(30.0, 5.1, 5.1, 64, True)
    hole = manifold3d.Manifold.cylinder(30.0, 5.0, 5.0, 64, True)
    block = manifold3d.Manifold.cube((20, 20, 20), True) - hole
    found = shared(mesh_of(block), mesh_of(peg))
    area = 0.5 * 64 * math.sin(2 * math.pi / 64) * (5.1**2 - 5.0**2)  # of two regular polygons
    assert found.volume_mm3 == pytest.approx(20 * area, rel=1e-9)
    # The corners of the polygon stand 0.1 mm from the corners of the hole, which nothing is nearer to.
    assert found.depth_mm == pytest.approx(0.1, abs=1e-9)


def test_slivers_below_the_stated_depth_are_left_out() -> None:
    a, b = turned(box((0, 0, 0), (40, 30, 20))), turned(box((39.96, 0, 0), (80, 30, 20)))
    assert isinstance(found := overlap_of(a, b, least_depth_mm=0.05), Overlap)
    assert found.places == ()
    assert len(shared(a, b).places) == 1


def test_open_and_inside_out_meshes_are_not_checked() -> None:
    whole, other = box((0, 0, 0), (40, 40, 40), 4), ball((40, 20, 20), 8.0)
    opened = TriangleMesh(whole.vertices, whole.faces[1:])
    found = overlap_of(opened, other)
    assert isinstance(found, NotChecked)
    assert "first mesh is open" in found.reason
    assert found.surfaces_cross
    assert np.allclose(found.places_mm[:, 0], 40.0, atol=1e-9)
    found = overlap_of(other, TriangleMesh(whole.vertices, whole.faces[:, ::-1]))
    assert isinstance(found, NotChecked)
    assert "second mesh is inside out" in found.reason
    # Far enough inside to cross nothing.
    found = overlap_of(opened, ball((20, 20, 20), 8.0))
    assert isinstance(found, NotChecked)
    assert not found.surfaces_cross


def test_a_mesh_without_shared_vertices_is_still_a_solid() -> None:
    whole = box((0, 0, 0), (40, 40, 40), 2)
    loose = TriangleMesh(
        whole.vertices[whole.faces].reshape(-1, 3), np.arange(len(whole.faces) * 3).reshape(-1, 3)
    )
    assert shared(loose, box((39, 0, 0), (50, 40, 40))).volume_mm3 == pytest.approx(1600.0)


def test_a_cavity_holds_a_part_without_overlap() -> None:
    shell = manifold3d.Manifold.cube((40, 40, 40), True) - manifold3d.Manifold.cube((30, 30, 30), True)
    assert shared(mesh_of(shell), ball((0, 0, 0), 14.0)).places == ()
    assert shared(mesh_of(shell), ball((0, 0, 0), 15.5)).depth_mm == pytest.approx(0.5, abs=0.02)


def test_the_plane_that_keeps_apart_is_not_fooled_by_a_part_inside() -> None:
    # No triangle of the large box lies near the small one; no plane may be said to keep them apart.
    large, small = turned(box((0, 0, 0), (90, 90, 90))), turned(box((40, 40, 40), (44, 44, 44)))
    assert shared(large, small).volume_mm3 == pytest.approx(64.0)


def test_pairs_of_boxes() -> None:
    boxes = np.array(
        [[[0, 0, 0], [1, 1, 1]], [[1.5, 0, 0], [2, 1, 1]], [[0, 0.5, 0], [1, 2, 1]]], dtype=float
    )
    assert broad_pairs(boxes).tolist() == [[0, 2]]
    assert broad_pairs(boxes, 0.5).tolist() == [[0, 1], [0, 2], [1, 2]]


def test_clearance_of_two_spheres_and_two_boxes() -> None:
    found = clearance_of(ball((0, 0, 0), 10.0, 64), ball((20.5, 0, 0), 10.0, 64), 2.0)
    assert found is not None
    assert found.distance_mm == pytest.approx(0.5, abs=1e-9)  # vertices face each other on the axis
    assert found.point_a_mm == pytest.approx([10, 0, 0], abs=1e-9)
    a, b = turned(box((0, 0, 0), (40, 30, 20), 9)), turned(box((40.3, 0, 0), (80, 30, 20), 11))
    found = clearance_of(a, b, 1.0)
    assert found is not None
    assert found.distance_mm == pytest.approx(0.3, abs=1e-9)
    assert clearance_of(a, b, 0.25) is None


def test_clearance_between_two_crossed_edges() -> None:
    # Two long prisms, each standing on an edge, crossing at right angles: no corner is near.
    a = manifold3d.Manifold.cube((100, 2, 2), True).rotate((45, 0, 0))
    b = manifold3d.Manifold.cube((2, 100, 2), True).rotate((0, 45, 0))
    height = 2 * math.sqrt(2.0) + 0.05
    first, second = mesh_of(a), mesh_of(b.translate((0, 0, height)))
    found = clearance_of(first, second, 1.0)
    assert found is not None
    assert found.distance_mm == pytest.approx(0.05, abs=1e-9)
    assert found.point_a_mm == pytest.approx([0, 0, math.sqrt(2.0)], abs=1e-9)
    assert found.point_b_mm == pytest.approx([0, 0, math.sqrt(2.0) + 0.05], abs=1e-9)


def test_clearance_agrees_with_every_pair_of_triangles() -> None:
    """Against igl's distance of two triangles, over all pairs (general-purpose library)."""
    import igl

    rng = np.random.default_rng(7)
    for _ in range(4):
        turn = rotation_from_euler(tuple(rng.uniform(0, 360, 3)))
        a, b = ball((0, 0, 0), 10.0, 12), box((-4, -3, -2), (4, 3, 2), 2)
        b = TriangleMesh(b.vertices @ turn.T + [15.5, 1.0, 2.0], b.faces)
        least = min(
            igl.simplex_simplex_squared_distance(a.vertices[f], b.vertices[g])[0]
            for f in a.faces
            for g in b.faces
        )
        found = clearance_of(prepare_surface(a), b, 20.0, bound_mm=1e-6)
        assert found is not None
        assert found.distance_mm == pytest.approx(math.sqrt(least), abs=1e-6)


def test_common_box_of_two_and_of_none() -> None:
    a, b = np.array([[0.0, 0, 0], [4, 4, 4]]), np.array([[1.0, -1, 2], [6, 3, 9]])
    assert common_box(a, b).tolist() == [[1, 0, 2], [4, 3, 4]]
    assert (common_box(a, b + 20.0)[1] < common_box(a, b + 20.0)[0]).all()


def test_a_part_beside_a_cavity_is_still_inside() -> None:
    # The wall of the cavity lies near the small part and a plane runs between them, in solid material.
    cavity = manifold3d.Manifold.cube((10, 10, 10), True).rotate((0, 0, 45)).translate((9, 9, 2))
    block = manifold3d.Manifold.cube((90, 90, 90), True) - cavity
    assert shared(mesh_of(block), box((0, 0, 0), (4, 4, 4))).volume_mm3 == pytest.approx(64.0)


@pytest.mark.parametrize(("place", "crosses"), [((2.0, 2.0), True), ((8.0, 8.0), False)])
def test_triangles_that_pass_each_other_do_not_cross(place: tuple[float, float], crosses: bool) -> None:
    flat = TriangleMesh(np.array([[0.0, 0, 0], [10, 0, 0], [0, 10, 0]]), np.array([[0, 1, 2]]))
    x, y = place
    upright = TriangleMesh(np.array([[x, y, -1.0], [x, y, 1], [x + 50, y + 50, 1]]), np.array([[0, 1, 2]]))
    found = crossing_points(prepare_surface(flat), prepare_surface(upright), 0.01)
    assert (len(found) > 0) == crosses
    if crosses:
        assert np.abs(found - [x, y, 0.0]).sum(axis=1).min() < 1e-12
