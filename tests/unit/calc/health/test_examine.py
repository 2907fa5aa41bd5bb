"""The examination of meshes made by hand, each with a known fault."""

from __future__ import annotations

import itertools
import math

import igl
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from igl.predicates import find_self_intersections

from dryfit.calc.health import (
    CROSSING,
    OVERLAPPING,
    HealthOptions,
    examine,
    find_meetings,
    overlapping_pairs,
)
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import box
from support.shapes import torus


def union(*meshes):
    """Several meshes as one, nothing joined."""
    vertices = [mesh.vertices for mesh in meshes]
    shifts = np.cumsum([0, *map(len, vertices)])
    faces = [mesh.faces + shift for mesh, shift in zip(meshes, shifts, strict=False)]
    return TriangleMesh(np.concatenate(vertices), np.concatenate(faces))


def cube(size=1.0, at=(0.0, 0.0, 0.0)):
    return TriangleMesh(*box((size,) * 3, at))


def ball(radius=10.0, at=(0, 0, 0), fineness=3):
    sphere = trimesh.creation.icosphere(subdivisions=fineness, radius=radius)
    return TriangleMesh(np.asarray(sphere.vertices) + at, np.asarray(sphere.faces))


def flipped(mesh):
    return TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])


def kinds(mesh, **options):
    return {problem.kind: problem for problem in examine(mesh, options=HealthOptions(**options)).problems}


@pytest.mark.parametrize("mesh", [cube(), ball(), torus(30, 10, 40, 20)], ids=["cube", "ball", "torus"])
def test_a_sound_body_has_no_problem(mesh):
    report = examine(mesh)
    assert report.problems == ()
    assert report.not_checked == ()
    assert (report.is_closed, report.bodies, report.welded) == (True, 1, 0)


def test_a_soup_of_corners_is_joined_for_the_examination():
    """As STL gives them; exactly equal corners are one."""
    mesh = ball(fineness=2)
    soup = TriangleMesh(
        mesh.vertices[mesh.faces].reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3)
    )
    report = examine(soup)
    assert report.problems == ()
    assert report.welded == 3 * len(mesh.faces) - len(mesh.vertices)


def test_a_missing_face_is_a_hole_with_its_perimeter():
    """A right triangle in a unit square: 2 + sqrt 2."""
    mesh = cube()
    found = kinds(TriangleMesh(mesh.vertices, mesh.faces[1:]))
    hole = found.pop("hole")
    assert (hole.count, hole.members) == (1, 3)
    assert hole.amount == pytest.approx(2 + math.sqrt(2), rel=1e-15)
    missing = mesh.vertices[mesh.faces[0]]
    lengths = np.linalg.norm(missing - np.roll(missing, -1, axis=0), axis=1)
    middles = (missing + np.roll(missing, -1, axis=0)) / 2
    assert hole.places_mm[0] == pytest.approx(lengths @ middles / lengths.sum(), rel=1e-12)
    assert len(hole.triangles) == 3
    assert not found


def test_two_holes_are_two_places_longest_first():
    mesh = ball()
    far = np.argsort(mesh.vertices[mesh.faces].mean(axis=1)[:, 2])
    hole = kinds(TriangleMesh(mesh.vertices, np.delete(mesh.faces, [far[0], far[-1]], axis=0)))["hole"]
    assert hole.count == 2
    assert hole.amounts[0] >= hole.amounts[1] > 0
    assert sorted(np.sign(hole.places_mm[:, 2])) == [-1, 1]


def test_a_crack_is_named_with_its_width():
    """One corner of one face lies 0.005 mm off."""
    mesh = cube(10)
    vertices = np.concatenate([mesh.vertices, mesh.vertices[mesh.faces[0, :1]] + [0, 0, 0.005]])
    faces = mesh.faces.copy()
    faces[0, 0] = len(mesh.vertices)
    found = kinds(TriangleMesh(vertices, faces))
    assert found["crack"].amount == pytest.approx(0.005, rel=1e-9)
    assert found["crack"].count == 2
    assert "crack" not in kinds(TriangleMesh(vertices, faces), crack_mm=0.004)


def test_three_faces_on_an_edge():
    """A fin on a cube."""
    mesh = cube()
    a, b = mesh.faces[0, :2]
    vertices = np.concatenate([mesh.vertices, [[-5.0, -5.0, -5.0]]])
    fin = kinds(TriangleMesh(vertices, np.concatenate([mesh.faces, [[a, b, len(mesh.vertices)]]])))
    assert fin["non-manifold edge"].count == 1
    length = np.linalg.norm(mesh.vertices[a] - mesh.vertices[b])
    assert fin["non-manifold edge"].amount == pytest.approx(length, rel=1e-15)
    assert len(fin["non-manifold edge"].triangles) == 3


def test_two_cubes_on_a_corner_share_a_pinched_vertex():
    found = kinds(union(cube(1), cube(1, (1, 1, 1))))
    assert set(found) == {"non-manifold vertex", "several bodies"}
    assert found["non-manifold vertex"].places_mm.tolist() == [[1, 1, 1]]
    assert found["several bodies"].count == 2


def test_pinched_vertices_are_the_same_whichever_way_they_are_counted():
    """Balls that meet in a point, by walking round each vertex and by joining corners; a face off forces the latter."""
    mesh = union(ball(), ball(at=(0, 0, 20)))
    top = mesh.vertices[np.argmax(mesh.vertices[:642, 2])]
    other = 642 + np.argmin(np.linalg.norm(mesh.vertices[642:] - top, axis=1))
    vertices = mesh.vertices.copy()
    vertices[other] = top
    for faces in (mesh.faces, mesh.faces[:-1]):
        found = kinds(TriangleMesh(vertices, faces))["non-manifold vertex"]
        assert found.places_mm.tolist() == [top.tolist()]


def test_two_cubes_along_an_edge_share_an_edge_of_four_faces():
    found = kinds(union(cube(1), cube(1, (1, 1, 0))))
    assert set(found) == {"non-manifold edge"}
    assert found["non-manifold edge"].places_mm.tolist() == [[1, 1, 0.5]]


def test_turned_faces_are_the_smaller_part():
    mesh = ball()
    turned = [3, 4, 700]
    faces = mesh.faces.copy()
    faces[turned] = faces[turned, ::-1]
    found = kinds(TriangleMesh(mesh.vertices, faces))
    assert found["orientation"].triangles.tolist() == turned
    assert set(found) == {"orientation"}


def test_a_band_with_half_a_twist_is_one_sided():
    """Moebius."""
    n = 24
    angle = 2 * np.pi * np.arange(n) / n
    rows = [
        [[(20 + t * math.cos(a / 2)) * math.cos(a), (20 + t * math.cos(a / 2)) * math.sin(a), t * math.sin(a / 2)]
         for t in (-3, 3)]
        for a in angle
    ]  # fmt: skip
    faces = []
    for i in range(n):
        a, b, c, d = 2 * i, 2 * i + 1, 2 * (i + 1), 2 * (i + 1) + 1
        if i == n - 1:
            c, d = 1, 0
        faces += [[a, b, c], [b, d, c]]
    found = kinds(TriangleMesh(np.reshape(rows, (-1, 3)), np.array(faces)))
    assert found["one-sided"].count == 1
    assert len(found["one-sided"].triangles) == 2 * n
    assert "orientation" not in found


def test_inside_out_whole_and_one_of_two():
    assert set(kinds(flipped(ball()))) == {"inside out"}
    wrong = kinds(union(ball(), flipped(ball(4, (30, 0, 0)))))
    assert wrong["inside out"].count == 1
    assert wrong["inside out"].places_mm[0] == pytest.approx([30, 0, 0], abs=1e-12)


def test_inside_out_shows_through_a_small_hole():
    mesh = ball()
    assert "inside out" not in kinds(TriangleMesh(mesh.vertices, mesh.faces[1:]))
    assert "inside out" in kinds(TriangleMesh(mesh.vertices, mesh.faces[1:, ::-1]))


def test_nested_boxes():
    """A void faces inwards; a body in a body does not; a body in a void is a body."""
    void = kinds(union(cube(10), flipped(cube(6, (2, 2, 2)))))
    assert void["internal void"].amount == pytest.approx(216, rel=1e-12)
    assert set(void) == {"internal void"}
    nested = kinds(union(cube(10), cube(6, (2, 2, 2))))
    assert set(nested) == {"nested body", "several bodies"}
    rattle = kinds(union(cube(10), flipped(cube(6, (2, 2, 2))), cube(2, (4, 4, 4))))
    assert set(rattle) == {"internal void", "several bodies"}
    assert rattle["several bodies"].count == 2


def test_a_stray_shell_is_small_in_share_and_size():
    found = kinds(union(ball(100, fineness=4), ball(0.5, (150, 0, 0), fineness=1)))
    assert set(found) == {"stray shell"}
    assert found["stray shell"].members == 80
    assert found["stray shell"].places_mm[0] == pytest.approx([150, 0, 0], abs=1e-9)


def test_duplicates_either_way_round():
    mesh = cube()
    faces = np.concatenate([mesh.faces, mesh.faces[:2], mesh.faces[2:3, ::-1]])
    found = kinds(TriangleMesh(mesh.vertices, faces))
    assert (found["duplicate faces"].count, found["duplicate faces"].members) == (3, 1)
    assert "self-intersection" not in found


def test_one_face_a_thousand_times_encloses_nothing():
    found = kinds(TriangleMesh(np.eye(3), np.tile([[0, 1, 2]], (1000, 1))))
    assert set(found) == {"duplicate faces", "non-manifold edge"}


def test_degenerate_and_unused():
    mesh = cube()
    a, b, _ = mesh.faces[0]
    vertices = np.concatenate([mesh.vertices, [[7.0, 7.0, 7.0]]])
    found = kinds(TriangleMesh(vertices, np.concatenate([mesh.faces, [[a, b, b]]])))
    assert set(found) == {"degenerate faces", "unused vertices"}
    assert found["degenerate faces"].triangles.tolist() == [len(mesh.faces)]


def test_far_from_the_origin():
    """numpy.spacing of float32 at the farthest coordinate."""
    near = TriangleMesh(*box((100, 100, 100), (3000, 0, 0)))
    assert examine(near).problems == ()
    found = kinds(TriangleMesh(*box((100, 100, 100), (2e5, 0, 0))))
    assert found["far from origin"].amount == float(np.spacing(np.float32(2e5 + 100)))
    wide = TriangleMesh(*box((2e5, 100, 100), (0, 0, 0)))
    assert "far from origin" not in kinds(wide)


def test_boxes_that_stand_on_one_another_overlap_in_a_plane():
    found = kinds(union(cube(2), cube(1, (0.5, 0.5, 2))))
    assert "self-intersection" in found
    assert found["self-intersection"].amount == 0
    assert found["self-intersection"].places_mm[:, 2] == pytest.approx(2)


def test_a_tip_on_a_face_touches():
    """An octahedron that stands on a plate with its tip."""
    vertices = np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float)
    hull = trimesh.Trimesh(vertices, process=False).convex_hull
    octahedron = TriangleMesh(np.asarray(hull.vertices) + np.array([0.3, 0.2, 3.0]), np.asarray(hull.faces))
    found = kinds(union(cube(2, (-1, -1, 0)), octahedron))
    assert set(found) == {"touching", "several bodies"}
    assert found["touching"].places_mm[0] == pytest.approx([0.3, 0.2, 2.0], abs=1e-12)


def test_depth_of_two_boxes_that_cross():
    """A post through a plate, 0.25 deep."""
    found = kinds(
        union(TriangleMesh(*box((10, 10, 1), (0, 0, 0))), TriangleMesh(*box((1, 1, 5), (4, 4, 0.75))))
    )
    assert found["self-intersection"].amount == pytest.approx(0.25, rel=1e-12)
    assert found["self-intersection"].members == 1
    assert found["self-intersection"].places_mm[0] == pytest.approx([4.5, 4.5, 1], abs=0.6)


def test_two_balls_against_every_pair():
    """Every pair by igl.tri_tri_intersection_test_3d, and igl's own search: general-purpose libraries."""
    mesh = union(ball(10, fineness=2), ball(10, (7.3, 3.1, 2.2), fineness=2))
    half = len(mesh.faces) // 2
    found = find_meetings(mesh.vertices, mesh.faces, np.arange(len(mesh.faces)), HealthOptions())
    corners = mesh.vertices[mesh.faces]
    every = {
        (i, j + half)
        for i, j in itertools.product(range(half), range(half))
        if (corners[i].min(0) <= corners[j + half].max(0)).all()
        and (corners[j + half].min(0) <= corners[i].max(0)).all()
        and igl.tri_tri_intersection_test_3d(*(p[None] for p in (*corners[i], *corners[j + half])))[0]
    }
    assert set(zip(found.first.tolist(), found.second.tolist(), strict=True)) == every
    assert (found.kind == CROSSING).all()
    _, pairs, _ = find_self_intersections(np.array(mesh.vertices), np.array(mesh.faces))
    assert {tuple(sorted(pair)) for pair in pairs.tolist()} == every
    assert kinds(mesh)["self-intersection"].count == len(every) > 50
    assert kinds(mesh)["self-intersection"].members == 1  # one ring


def test_places_of_crossings_lie_on_both_balls():
    """Distances by igl's point_mesh_squared_distance."""
    balls = ball(10, fineness=3), ball(10, (12, 0, 0), fineness=3)
    mesh = union(*balls)
    found = find_meetings(mesh.vertices, mesh.faces, np.arange(len(mesh.faces)), HealthOptions())
    for one in balls:
        squared, *_ = igl.point_mesh_squared_distance(
            np.array(found.places_mm), np.array(one.vertices), np.array(one.faces)
        )
        assert np.sqrt(squared).max() < 1e-12


def test_touching_faces_rounded_to_single_precision_do_not_cross():
    """Two turned boxes that stand on one another, stored as STL would."""
    turn = np.linalg.qr(np.random.default_rng(3).standard_normal((3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    mesh = union(cube(20), TriangleMesh(*box((7, 9, 5), (3.3, 4.4, 20))))
    stored = (mesh.vertices @ turn.T + 100).astype(np.float32).astype(np.float64)
    assert set(kinds(TriangleMesh(stored, mesh.faces))) <= {"touching", "several bodies"}


def test_the_search_says_where_it_stops():
    mesh = union(ball(fineness=3), ball(9.9, fineness=3))
    report = examine(mesh, options=HealthOptions(most_pairs=100))
    assert "stopped after" in report.not_checked[0]
    report = examine(mesh, options=HealthOptions(usual_pairs=100, pairs_per_face=0))
    assert "stopped after" in report.not_checked[0]
    assert examine(mesh).not_checked == ()
    report = examine(mesh, options=HealthOptions(most_triangles=100))
    assert "more than the 100" in report.not_checked[0]


def test_progress_runs_to_the_end():
    seen = []
    examine(torus(30, 10, 60, 40), lambda done, of: seen.append(done / of))
    assert seen == sorted(seen)
    assert seen[-1] == pytest.approx(1, abs=0.01)


@given(hnp.arrays(np.int64, st.tuples(st.integers(2, 60), st.just(6)), elements=st.integers(0, 8)))
@settings(max_examples=150, deadline=None)
def test_boxes_overlap_as_every_pair_compared_says(corners):
    """numpy, every pair."""
    low, high = np.minimum(corners[:, :3], corners[:, 3:]), np.maximum(corners[:, :3], corners[:, 3:])
    meets = (low[:, None] <= high[None]).all(2) & (low[None] <= high[:, None]).all(2)
    every = set(zip(*(index.tolist() for index in np.nonzero(np.triu(meets, 1))), strict=True))
    found = [
        tuple(sorted(pair))
        for chunk in overlapping_pairs(low.astype(float), high.astype(float))
        for pair in zip(chunk.first.tolist(), chunk.second.tolist(), strict=True)
    ]
    assert len(found) == len(set(found))
    assert every <= set(found)
    apart = ((low[:, None] > high[None] + 0.5) | (low[None] > high[:, None] + 0.5)).any(2)
    assert not any(apart[pair] for pair in found)


coordinates = st.one_of(
    st.integers(0, 3).map(float),
    st.floats(-1e12, 1e12, allow_nan=False),
    st.sampled_from([0.0, -0.0, 1e-300, 5e-324, 1e12, -1e12, 0.1, 1 / 3]),
)
soups = st.integers(1, 12).flatmap(
    lambda n: st.tuples(
        hnp.arrays(np.float64, (n, 3), elements=coordinates),
        hnp.arrays(np.int64, st.tuples(st.integers(0, 40), st.just(3)), elements=st.integers(0, n - 1)),
    )
)


@given(soups)
@settings(max_examples=300, deadline=None)
def test_no_soup_is_too_thick(soup):
    """An answer for every mesh of finite numbers, and places that are finite."""
    with np.errstate(all="raise", under="ignore"):
        report = examine(TriangleMesh(*soup))
    for problem in report.problems:
        assert problem.count > 0
        assert len(problem.places_mm) == len(problem.amounts)
        assert (np.diff(problem.amounts) <= 0).all()
        assert problem.triangles.max(initial=0) < max(len(soup[1]), 1)


@given(soups, st.randoms(use_true_random=False))
@settings(max_examples=100, deadline=None)
def test_the_order_of_faces_changes_nothing(soup, random):
    vertices, faces = soup
    order = list(range(len(faces)))
    random.shuffle(order)
    one, other = examine(TriangleMesh(vertices, faces)), examine(TriangleMesh(vertices, faces[order]))
    assert [(p.kind, p.count) for p in one.problems if p.kind != "orientation"] == [
        (p.kind, p.count) for p in other.problems if p.kind != "orientation"
    ]


def test_what_is_not_a_mesh_is_refused():
    with pytest.raises(ValueError, match="finite"):
        examine(TriangleMesh(np.full((3, 3), np.nan), np.array([[0, 1, 2]])))
    with pytest.raises(ValueError, match="not there"):
        examine(TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 3]])))
    assert [p.kind for p in examine(TriangleMesh(np.zeros((2, 3)), np.zeros((0, 3), int))).problems] == [
        "empty",
        "unused vertices",
    ]


def test_a_fold_is_found():
    """Two triangles folded flat onto one another about their edge."""
    vertices = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0], [1, 1, 0]], dtype=float)
    mesh = TriangleMesh(vertices, np.array([[0, 1, 2], [1, 0, 3]]))
    found = find_meetings(mesh.vertices, mesh.faces, np.arange(2), HealthOptions())
    assert found.kind.tolist() == [OVERLAPPING]
