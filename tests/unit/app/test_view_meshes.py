"""What the three-dimensional view is given: copies of meshes, places of parts, marks of joints."""

import dataclasses
import struct

import numpy as np
import pytest
import trimesh

from building import box_mesh, by_id, machine, material, ring
from dryfit.app.forecast import place_chain, run_forecast
from dryfit.app.motion import Side, printed_gains, printed_points
from dryfit.app.view_meshes import (
    joint_marks,
    make_copy,
    pack,
    placed_matrices,
    share_budget,
    view_copies,
    view_motion,
    view_placing,
)
from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import Estimate
from dryfit.model.project import Assembly

SKEWED = {"scale_x": 0.002, "scale_z": -0.001, "skew_xy_deg": 0.5, "skew_xz_deg": 0.3, "skew_yz_deg": -0.2}


def warm_ring(count=6, **figures):
    """A ring printed on a machine with every affine fault, of a material that shrinks, at 30 C."""
    made = ring(count, machine(**{**SKEWED, **figures}), pose="alternate", first_deg=11.0)
    plastic = material(shrinkage=Estimate(0.003), expansion_per_k=Estimate(7e-5))
    assembly = Assembly("r1", made.project.assembly.order, Estimate(30.0))
    return made.replaced(materials=(plastic,), assembly=assembly)


def apply(matrix, points):
    return points @ matrix[:3, :3].T + matrix[:3, 3]


def sphere(radius_mm=100.0):
    """81,920 triangles, from the mesh library."""
    made = trimesh.creation.icosphere(subdivisions=6, radius=radius_mm)
    return np.asarray(made.vertices) + np.array([1500.0, -700.0, 30.0]), np.asarray(
        made.faces, dtype=np.int64
    )


def test_any_point_goes_where_printing_and_placing_take_it():
    chain = warm_ring().chain
    poses, structure = place_chain(chain), chain.structure
    matrices = placed_matrices(chain, poses)
    generator = np.random.default_rng(3)
    part = np.repeat(np.arange(6), 20)
    points = generator.uniform(-700.0, 700.0, (120, 3))
    still = np.zeros((120, 3))
    side = Side(part, points - structure.centroids[part], still, still, np.zeros((120, 9)))
    printed = printed_points(
        chain.project, structure, printed_gains(chain.project, chain.motion), side, points
    )
    expected = structure.centroids[part] + poses.translation[part]
    expected = expected + np.einsum("nij,nj->ni", poses.rotation[part], printed - structure.centroids[part])
    seen = np.array([apply(matrices[f"r{p + 1}"], x) for p, x in zip(part, points, strict=True)])
    assert np.abs(seen - expected).max() < 1e-9
    assert np.abs(seen - points).max() > 1.0


def test_contacts_lie_where_the_placing_put_them():
    chain = warm_ring().chain
    poses, table = place_chain(chain), chain.structure.table
    matrices = placed_matrices(chain, poses)
    for part, points, placed in (
        (table.first, table.p_first, poses.x_first),
        (table.second, table.p_second, poses.x_second),
    ):
        seen = np.array([apply(matrices[f"r{p + 1}"], x) for p, x in zip(part, points, strict=True)])
        assert np.abs(seen - placed).max() < 1e-9


def test_a_boundary_offset_moves_surfaces_and_not_the_body():
    plain, grown = warm_ring().chain, warm_ring(boundary_offset_mm=0.2).chain
    turn = {name: matrix[:3, :3] for name, matrix in placed_matrices(plain, place_chain(plain)).items()}
    for name, matrix in placed_matrices(grown, place_chain(grown)).items():
        assert np.abs(np.linalg.det(matrix[:3, :3]) - np.linalg.det(turn[name])) < 1e-9


def test_the_closing_gap_is_drawn_as_long_as_the_closed_form_says():
    # Closed form for N equal segments printed alike: mean gap N g r sin(360/N) sin(2 m), here g half a degree.
    chain = ring(4, machine(skew_xy_deg=0.5)).chain
    report = run_forecast(chain)
    placing = view_placing(chain, report)
    closing = [marks for marks in placing.joints if marks.is_closing]
    assert [marks.joint for marks in closing] == ["j4"]
    gap = closing[0].gap
    start = apply(placing.matrices["r4"], gap.from_mm)
    end = apply(placing.matrices["r1"], gap.to_mm)
    expected = 4.0 * np.tan(np.radians(0.5)) * 580.0
    assert abs((end - start)[1]) == pytest.approx(expected, rel=0.01)
    assert abs(gap.value_mm) == pytest.approx(expected, rel=0.01)
    assert (gap.characteristic, gap.value_mm) == ("gap", by_id(report)["gap"].predicted)
    assert gap.std_mm == by_id(report)["gap"].std


def test_what_moves_while_a_slider_does_is_what_the_whole_placing_says():
    chain = ring(4, machine(skew_xy_deg=0.5)).chain
    report = run_forecast(chain)
    placing, motion = view_placing(chain, report), view_motion(chain, report)
    assert list(motion.matrices) == list(placing.matrices)
    for name, matrix in motion.matrices.items():
        np.testing.assert_array_equal(matrix, placing.matrices[name])
    assert {marks.joint for marks in placing.joints if marks.gap is not None} == set(motion.gaps) == {"j4"}
    ours, whole = motion.gaps["j4"], placing.joints[-1].gap
    assert (ours.value_mm, ours.std_mm, ours.characteristic) == (
        whole.value_mm,
        whole.std_mm,
        whole.characteristic,
    )
    np.testing.assert_array_equal([ours.from_mm, ours.to_mm], [whole.from_mm, whole.to_mm])


def test_a_closing_gap_without_limits_has_a_value_and_no_uncertainty():
    made = ring(4, machine(skew_xy_deg=0.5))
    stated = tuple(item for item in made.project.characteristics if item.kind != "gap")
    bare = made.replaced(characteristics=stated).chain
    marks = joint_marks(bare, place_chain(bare), run_forecast(bare))
    gap = marks[-1].gap
    assert (gap.std_mm, gap.characteristic) == (None, None)
    assert abs(gap.value_mm) == pytest.approx(4.0 * np.tan(np.radians(0.5)) * 580.0, rel=0.01)


def test_outlines_go_round_the_face():
    chain = ring(4, machine()).chain
    for marks in joint_marks(chain, place_chain(chain), run_forecast(chain)):
        sides = np.linalg.norm(np.roll(marks.outline_first, -1, axis=0) - marks.outline_first, axis=1)
        assert sides == pytest.approx([40.0] * 4)  # a square; across its corners it would be 56.6
        assert len(marks.points) == len(marks.directions) == len(marks.is_locating) == 7
        assert marks.is_locating.any() != marks.is_closing


def test_small_parts_are_shown_whole_and_large_ones_share_the_rest():
    shares = share_budget({"large": 900, "small": 40, "larger": 2000}, 1000)
    assert shares == {"large": 480, "small": 40, "larger": 480}
    assert share_budget({"a": 10, "b": 20}, 1000) == {"a": 10, "b": 20}
    assert share_budget({}, 1000) == {}


def test_the_copy_of_a_sphere_keeps_its_surface_and_its_volume():
    # Closed forms: radius, and 4/3 pi r^3.
    vertices, faces = sphere()
    copy = make_copy(vertices, faces, 5000)
    assert 4900 <= copy.triangles_shown <= 5000
    assert copy.triangles_exact == 81_920
    assert copy.triangles_shown == len(copy.indices)
    radius = np.linalg.norm(copy.positions - [1500.0, -700.0, 30.0], axis=1)
    assert np.abs(radius - 100.0).max() < 0.3
    volume = trimesh.Trimesh(copy.positions, copy.indices, process=False).volume
    assert volume == pytest.approx(4.0 / 3.0 * np.pi * 1e6, rel=0.005)
    assert len(copy.edges) == 0


def test_the_drawn_edges_of_a_box_are_its_twelve():
    copy = make_copy(*_arrays(box_mesh((0, 0, 0), (30, 40, 50))), 1000)
    lengths = np.linalg.norm(copy.edges[1::2] - copy.edges[::2], axis=1)
    assert sorted(lengths.tolist()) == [30.0] * 4 + [40.0] * 4 + [50.0] * 4
    assert (copy.triangles_shown, copy.edges_left_out) == (12, 0)


def test_of_too_many_edges_the_longest_are_kept_and_the_rest_counted():
    boxes = [box_mesh((100.0 * k, 0, 0), (100.0 * k + 30 + k, 40, 50)) for k in range(60)]
    vertices = np.vstack([mesh.vertices for mesh in boxes])
    faces = np.vstack([mesh.faces + 8 * k for k, mesh in enumerate(boxes)])
    copy = make_copy(vertices, faces, 600)
    assert len(copy.edges) // 2 == 600
    assert copy.edges_left_out == 120
    assert np.linalg.norm(copy.edges[1::2] - copy.edges[::2], axis=1).min() >= 40.0


def test_a_mesh_whose_vertices_repeat_is_joined_first():
    mesh = box_mesh((0, 0, 0), (30, 40, 50))
    soup = mesh.vertices[mesh.faces].reshape(-1, 3)
    copy = make_copy(soup, np.arange(36).reshape(-1, 3), 1000)
    assert len(copy.positions) == 8
    assert len(copy.edges) == 24


@pytest.mark.parametrize(
    "faces", [np.zeros((0, 3), dtype=np.int64), np.array([[0, 0, 1]])], ids=["no triangle", "no area"]
)
def test_a_mesh_without_surface_is_refused(faces):
    with pytest.raises(ComputationRefused, match=r"no triangle"):
        make_copy(np.eye(3), faces, 10)


def test_an_open_surface_says_so():
    vertices, faces = _arrays(box_mesh((0, 0, 0), (30, 40, 50)))
    assert make_copy(vertices, faces, 1000).is_closed
    assert not make_copy(vertices, faces[1:], 1000).is_closed


def test_all_copies_keep_to_the_budget():
    shapes = ring(6, machine()).shapes
    copies = view_copies(shapes, budget=300)
    assert set(copies) == {f"r{k}" for k in range(1, 7)}
    assert sum(copy.triangles_shown for copy in copies.values()) <= 300
    assert all(copy.triangles_exact == len(shapes[name].mesh.faces) for name, copy in copies.items())


def test_packed_bytes_read_back_by_their_description():
    copy = make_copy(*_arrays(box_mesh((0, 0, 0), (30, 40, 50))), 1000)
    copy = dataclasses.replace(copy, edges_left_out=7)
    content = pack(copy)
    assert struct.unpack("<4s6I", content[:28]) == (b"DFV1", 8, 12, 12, 12, 7, 1)
    assert len(content) == 28 + 8 * 12 + 12 * 12 + 12 * 24
    positions = np.frombuffer(content, "<f4", 24, 28).reshape(-1, 3)
    indices = np.frombuffer(content, "<u4", 36, 28 + 96).reshape(-1, 3)
    edges = np.frombuffer(content, "<f4", 72, 28 + 96 + 144).reshape(-1, 3)
    assert np.array_equal(positions, copy.positions)
    assert np.array_equal(indices, copy.indices)
    assert np.array_equal(edges, copy.edges)
    assert trimesh.Trimesh(positions, indices, process=False).volume == pytest.approx(30 * 40 * 50)


def _arrays(mesh):
    return mesh.vertices, mesh.faces
