"""Likeness of shapes that are equal, mirrored or changed by a known amount (closed forms by construction)."""

import math

import manifold3d
import numpy as np
import pytest

from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.likeness import Likeness, chord_errors, compare_shapes, may_be_alike, shape_of, signature
from dryfit.calc.likeness.turns import symmetric_rotations
from dryfit.model.mesh import TriangleMesh

TURN = rotation_from_euler((20.0, 35.0, 50.0))
SHIFT = np.array([300.0, -120.0, 40.0])


def mesh_of(solid: manifold3d.Manifold) -> TriangleMesh:
    mesh = solid.to_mesh64()
    return TriangleMesh(np.array(mesh.vert_properties)[:, :3], np.array(mesh.tri_verts, dtype=np.int64))


def moved(mesh: TriangleMesh, mirror: bool = False, shuffle: bool = False) -> TriangleMesh:
    vertices, faces = mesh.vertices.copy(), mesh.faces
    if mirror:
        vertices, faces = vertices * [1.0, 1.0, -1.0], faces[:, ::-1]
    vertices = vertices @ TURN.T + SHIFT
    if shuffle:
        order = np.random.default_rng(3).permutation(len(vertices))
        place = np.argsort(order)
        vertices, faces = vertices[order], place[faces][::-1]
    return TriangleMesh(vertices, faces)


def cube(x: float, y: float, z: float) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube((x, y, z))


def bracket(hole: float = 0.0, length: float = 60.0) -> manifold3d.Manifold:
    """A chiral angle piece with a hole, whose place may be moved along y."""
    piece = cube(length, 30, 8) + cube(8, 30, 40) + cube(25, 6, 20)
    return piece - manifold3d.Manifold.cylinder(20, 3, 3, 32).translate((45, 18 + hole, -5))


def found(a: TriangleMesh, b: TriangleMesh) -> Likeness:
    likeness = compare_shapes(a, b)
    assert likeness is not None
    return likeness


@pytest.mark.parametrize("shuffle", [False, True])
@pytest.mark.parametrize("mirror", [False, True])
def test_copies_are_recognised_wherever_they_lie(mirror: bool, shuffle: bool) -> None:
    a = mesh_of(bracket())
    likeness = found(a, b := moved(a, mirror, shuffle))
    assert likeness.kind == ("mirrored" if mirror else "equal")
    assert np.linalg.det(likeness.rotation) == pytest.approx(-1.0 if mirror else 1.0)
    # The motion found brings every vertex onto one of the other.
    brought = a.vertices @ likeness.rotation.T + likeness.translation_mm
    gaps = np.linalg.norm(brought[:, None] - b.vertices[None], axis=2).min(axis=1)
    assert gaps.max() < 1e-6


@pytest.mark.parametrize("mirror", [False, True])
def test_a_hole_moved_by_three_tenths_is_found_with_its_place(mirror: bool) -> None:
    a, b = mesh_of(bracket()), moved(mesh_of(bracket(hole=0.3)), mirror)
    likeness = found(a, b)
    assert likeness.kind == ("nearly mirrored" if mirror else "nearly equal")
    assert likeness.largest_mm == pytest.approx(0.3, abs=0.03)
    back = TURN.T @ (likeness.place_mm - SHIFT)
    assert math.hypot(back[0] - 45, back[1] - 18) == pytest.approx(3.0, abs=0.4)


def test_a_longer_arm_is_found() -> None:
    likeness = found(mesh_of(bracket()), moved(mesh_of(bracket(length=60.3)), mirror=True))
    assert likeness.kind == "nearly mirrored"
    assert 0.1 < likeness.largest_mm < 0.31


def test_something_else_is_different() -> None:
    likeness = compare_shapes(mesh_of(bracket()), mesh_of(bracket(hole=4.0)))
    assert likeness is not None
    assert likeness.kind == "different"
    assert compare_shapes(mesh_of(bracket()), mesh_of(cube(60, 30, 40))) is None


SYMMETRIC = {
    "cube": cube(20, 20, 20),
    "square prism": cube(20, 20, 50),
    "hexagonal prism": manifold3d.Manifold.cylinder(40, 12, 12, 6),
    "ball": manifold3d.Manifold.sphere(15, 64),
    "cylinder": manifold3d.Manifold.cylinder(40, 12, 12, 90),
    "cube with a corner cut": cube(20, 20, 20) - cube(5, 5, 5).translate((16, 17, 18)),
    "disc with an off-centre hole": manifold3d.Manifold.cylinder(6, 30, 30, 90)
    - manifold3d.Manifold.cylinder(20, 2, 2, 24).translate((20, 5, -5)),
}


@pytest.mark.parametrize("name", SYMMETRIC)
@pytest.mark.parametrize("shuffle", [False, True])
def test_symmetric_bodies_are_recognised(name: str, shuffle: bool) -> None:
    a = mesh_of(SYMMETRIC[name])
    assert found(a, moved(a, shuffle=shuffle)).kind == "equal"
    # Another tessellation of the same solid goes by its surface.
    finer = mesh_of(SYMMETRIC[name].refine(3))
    assert found(a, moved(finer)).kind == "equal"


@pytest.mark.parametrize("pair", [(48, 64), (96, 40)])
def test_another_tessellation_of_a_round_body_is_the_same(pair: tuple[int, int]) -> None:
    def knob(segments: int) -> TriangleMesh:
        body = manifold3d.Manifold.cylinder(30, 14, 14, segments)
        return mesh_of(body + cube(9, 6, 10).translate((1, -2, 29)))

    likeness = found(knob(pair[0]), moved(knob(pair[1])))
    assert likeness.kind == "equal"
    coarse = 14.0 * (1 - math.cos(math.pi / min(pair)))  # sagitta of the coarser one
    assert 0.5 * coarse < likeness.largest_mm < 1.5 * coarse


def test_a_radius_that_differs_is_not_put_down_to_facets() -> None:
    def pin(segments: int, radius: float) -> TriangleMesh:
        return mesh_of(manifold3d.Manifold.cylinder(30, radius, radius, segments))

    assert found(pin(96, 14.0), moved(pin(120, 14.15))).kind == "nearly equal"


def test_chord_errors_of_a_cylinder() -> None:
    """Sagitta r (1 - cos(pi / n)) of a regular polygon (closed form); the end planes have none."""
    shape = shape_of(mesh_of(manifold3d.Manifold.cylinder(30, 14, 14, 64)))
    errors = chord_errors(shape)
    is_side = np.abs(shape.normals[:, 2]) < 0.5
    assert errors[is_side] == pytest.approx(14 * (1 - math.cos(math.pi / 64)), rel=1e-3)
    assert errors[~is_side] == pytest.approx(0.0, abs=1e-12)


def test_signature_of_a_box() -> None:
    """Second moments of the surface of a cube of side s: each 5 s^2 / 36 (closed form)."""
    s = signature(moved(mesh_of(cube(20, 20, 20))))
    assert s.spreads_mm == pytest.approx([math.sqrt(5 * 400 / 36)] * 3)
    assert s.area_mm2 == pytest.approx(2400)
    assert s.volume_mm3 == pytest.approx(8000)
    assert s.radius_mm == pytest.approx(10 * math.sqrt(3))
    assert s.centre_mm == pytest.approx(TURN @ [10, 10, 10] + SHIFT)


def test_signatures_tell_sizes_apart() -> None:
    a, b = shape_of(mesh_of(cube(20, 20, 20))), shape_of(mesh_of(cube(20, 20, 24)))
    assert not may_be_alike(a, b)
    assert may_be_alike(a, shape_of(mesh_of(cube(20, 20, 20.3))))


@pytest.mark.parametrize("name", ["square prism", "hexagonal prism"])
def test_moments_about_the_axis_give_the_angle(name: str) -> None:
    # A body of two equal spreads, turned about its axis: every rotation found by moments fits it.
    plain = mesh_of(SYMMETRIC[name])
    a = TriangleMesh(plain.vertices @ rotation_from_euler((0.0, 0.0, 11.0)).T, plain.faces)
    turn = rotation_from_euler((0.0, 0.0, 17.0))
    b = TriangleMesh(a.vertices @ turn.T, a.faces)
    first, second = shape_of(a), shape_of(b)
    arms = a.vertices - first.signature.centre_mm
    rotations = symmetric_rotations(first, second)
    there = b.vertices - second.signature.centre_mm
    misses = [
        np.linalg.norm((arms @ r.T)[:, None] - there[None], axis=2).min(axis=1).max() for r in rotations
    ]
    assert sum(miss < 1e-6 for miss in misses) >= 4
