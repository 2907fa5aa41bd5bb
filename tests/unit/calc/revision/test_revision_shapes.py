"""Two revisions of a shape: their hash, the map of deviations, its regions, the way off a face."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from building.meshes import box_mesh, ring_segment_mesh
from dryfit.calc.revision import (
    changed_triangles,
    find_regions,
    has_free_way,
    hash_geometry,
    measure_deviation,
)
from dryfit.model.mesh import TriangleMesh

CUBE = box_mesh([0, 0, 0], [10, 10, 10])


def with_hole() -> TriangleMesh:
    """A plate of 20 x 20 x 4 with a round hole of radius 2: every corner of the plate stays where it was."""
    plate = trimesh.creation.box((20, 20, 4))
    hole = trimesh.creation.cylinder(2.0, 10.0, sections=32)
    cut = trimesh.boolean.difference([plate, hole], engine="manifold")
    return TriangleMesh(np.array(cut.vertices), np.array(cut.faces, dtype=np.int64))


def test_the_hash_does_not_ask_for_the_order_of_triangles_and_vertices() -> None:
    draw = np.random.default_rng(1)
    order = draw.permutation(len(CUBE.vertices))
    back = np.argsort(order)
    faces = np.roll(back[CUBE.faces], 1, axis=1)[draw.permutation(len(CUBE.faces))]
    assert hash_geometry(TriangleMesh(CUBE.vertices[order], faces)) == hash_geometry(CUBE)
    soup = TriangleMesh(CUBE.vertices[CUBE.faces].reshape(-1, 3), np.arange(36).reshape(-1, 3))
    assert hash_geometry(soup) == hash_geometry(CUBE)


def test_the_hash_asks_for_place_side_and_size() -> None:
    turned_over = TriangleMesh(CUBE.vertices, CUBE.faces[:, ::-1])
    moved = TriangleMesh(CUBE.vertices + np.array([0.0, 0.0, 0.00001]), CUBE.faces)
    assert len({hash_geometry(mesh) for mesh in (CUBE, turned_over, moved)}) == 3


def test_triangles_that_both_have_are_left_out() -> None:
    taller = box_mesh([0, 0, 0], [10, 10, 11])
    gone, fresh = changed_triangles(CUBE, taller)
    assert len(gone) == len(fresh) == 10  # all but the two of the floor


def test_a_face_that_moved_out_is_plastic_added_and_back_is_taken_away() -> None:
    taller = box_mesh([0, 0, 0], [10, 10, 11])
    grown, shrunk = measure_deviation(CUBE, taller), measure_deviation(taller, CUBE)
    assert (grown.added_mm, grown.removed_mm) == (pytest.approx(1.0), pytest.approx(0.0, abs=1e-9))
    assert (shrunk.added_mm, shrunk.removed_mm) == (pytest.approx(0.0, abs=1e-9), pytest.approx(1.0))
    assert sorted(grown.on_new_mm) == pytest.approx([0, 0, 0, 0, 1, 1, 1, 1])
    assert grown.is_signed


def test_a_body_that_grew_all_round_is_off_most_at_its_corners() -> None:
    """The nearest point of a corner is a corner, where no single normal tells the side."""
    grown = measure_deviation(CUBE, box_mesh([-1, -1, -1], [11, 11, 11]))
    assert grown.added_mm == pytest.approx(3**0.5)
    assert grown.removed_mm == pytest.approx(0.0, abs=1e-9)
    assert grown.on_new_mm == pytest.approx(np.full(8, 3**0.5))


def test_nothing_deviates_from_itself() -> None:
    same = measure_deviation(CUBE, CUBE)
    assert same.largest_mm == same.rms_mm == same.touched_mm2(0.0) == 0.0
    assert same.new is None
    assert not same.on_new_mm.any()


def test_a_hole_through_a_plate_is_seen_from_its_walls() -> None:
    plate = TriangleMesh(*(np.array(part) for part in box_parts((20, 20, 4))))
    drilled = measure_deviation(plate, with_hole())
    assert (
        1.8 < drilled.removed_mm <= 2.0
    )  # the middle of the wall lies 2 mm deep; points on it lie near the middle
    assert drilled.added_mm == pytest.approx(0.0, abs=1e-9)
    filled = measure_deviation(with_hole(), plate)
    assert filled.added_mm > 1.5
    assert filled.removed_mm == pytest.approx(0.0, abs=1e-9)


def box_parts(size):
    body = trimesh.creation.box(size)
    return body.vertices, body.faces


def test_the_root_mean_square_goes_by_area() -> None:
    """A side of 10 x 10 x 11: over the top 1 mm; up the sides linear over the last mm: closed form."""
    grown = measure_deviation(CUBE, box_mesh([0, 0, 0], [10, 10, 11]))
    exact = np.sqrt((100.0 * 1.0 + 4 * 10.0 * 1.0 / 3.0) / (2 * 100.0 + 4 * 110.0))
    assert grown.rms_mm == pytest.approx(exact, rel=0.02)


def test_an_open_mesh_has_distances_without_a_side() -> None:
    opened = TriangleMesh(CUBE.vertices + np.array([0.0, 0.0, 0.5]), CUBE.faces[:-2])
    found = measure_deviation(CUBE, opened)
    assert not found.is_signed
    assert found.largest_mm > 4.0  # the side that is missing lies far from all that is left
    assert found.removed_mm == 0.0


def test_a_mesh_without_triangles_deviates_from_nothing() -> None:
    empty = TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    with pytest.raises(ValueError, match="without triangles"):
        measure_deviation(CUBE, empty)


def test_regions_name_each_patch_by_its_middle_and_area() -> None:
    ring = ring_segment_mesh(50, 60, 20, 0, 90)
    vertices = ring.vertices.copy()
    n = 21
    vertices[2 * n :, 2] += np.where(np.arange(2 * n) % n < 2, 0.3, 0.0)  # the top at one end
    raised = TriangleMesh(vertices, ring.faces)
    found = measure_deviation(ring, raised)
    assert found.new is not None
    (region,) = find_regions(raised, found.new, 0.05)
    assert region.largest_mm == pytest.approx(0.3, abs=0.01)
    assert region.place_mm[2] == pytest.approx(10.3, abs=0.05)
    assert region.normal[2] > 0.9
    assert find_regions(raised, found.new, 0.5) == ()


def test_two_patches_are_two_regions_the_greater_first() -> None:
    lower, upper = box_mesh([0, 0, 0], [10, 10, 10]), box_mesh([30, 0, 0], [40, 10, 10])
    both = TriangleMesh(
        np.vstack([lower.vertices, upper.vertices]), np.vstack([lower.faces, upper.faces + 8])
    )
    vertices = both.vertices.copy()
    vertices[4:8, 2] += 0.2
    vertices[12:16, 2] -= 0.4
    changed = TriangleMesh(vertices, both.faces)
    found = measure_deviation(both, changed)
    assert found.new is not None
    regions = find_regions(changed, found.new, 0.1)
    assert [round(region.largest_mm, 6) for region in regions] == [-0.4, 0.2]
    assert regions[0].place_mm[0] > 30


def test_a_way_off_a_face_is_free_unless_the_part_itself_stands_in_it() -> None:
    slot = trimesh.boolean.difference(
        [trimesh.creation.box((40, 40, 40)), trimesh.creation.box((10, 50, 20))], engine="manifold"
    )
    mesh = TriangleMesh(np.array(slot.vertices), np.array(slot.faces, dtype=np.int64))
    points = np.array([[0.0, 3.0, 20.0], [0.0, 3.0, -10.0]])  # on the outside; on the floor of the slot
    normals = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 1.0]])
    assert has_free_way(mesh, points, normals, 30.0).tolist() == [True, False]
    assert has_free_way(mesh, points, normals, 15.0).tolist() == [True, True]
