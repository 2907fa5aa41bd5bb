"""Round mating faces, against the closed forms of coaxial cylinders; bodies by manifold3d."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold
from scipy.spatial.transform import Rotation

from dryfit.calc.mating import find_matings
from dryfit.calc.mating.curved import fitted_cylinder
from dryfit.model.mesh import TriangleMesh
from dryfit.model.project import Search

SEARCH = Search()


def mesh_of(solid: Manifold, rotation: Rotation | None = None, shift=(0.0, 0.0, 0.0)) -> TriangleMesh:
    raw = solid.to_mesh64()
    matrix = np.eye(3) if rotation is None else rotation.as_matrix()
    return TriangleMesh(np.array(raw.vert_properties)[:, :3] @ matrix.T + shift, np.array(raw.tri_verts))


def pin(radius=5.0, low=-10.0, high=20.0, facets=36) -> Manifold:
    return Manifold.cylinder(high - low, radius, radius, facets).translate((0, 0, low))


def block_with_hole(radius=5.1, height=10.0, facets=48) -> Manifold:
    return Manifold.cube((30, 30, height)).translate((-15, -15, 0)) - pin(radius, -1, height + 1, facets)


def tube(inner, outer, low, high, facets=90) -> Manifold:
    return pin(outer, low, high, facets) - pin(inner, low - 1, high + 1, facets)


def search_two(a: TriangleMesh, b: TriangleMesh, search: Search = SEARCH):
    return find_matings([("a", a), ("b", b)], search)


def the_mating(report):
    assert report.not_detected == ()
    (mating,) = report.matings
    return mating


@pytest.mark.parametrize("facets", [24, 36, 180, 720])
@pytest.mark.parametrize("single", [False, True])
def test_a_pin_in_a_hole_is_one_round_mating(facets, single):
    """The vertices lie on the true radii: the gap is 0.1 whatever the facets, whose middles lie deeper."""
    meshes = [mesh_of(pin(facets=facets)), mesh_of(block_with_hole())]
    if single:
        meshes = [TriangleMesh(m.vertices.astype(np.float32).astype(float), m.faces) for m in meshes]
    mating = the_mating(search_two(*meshes))
    within = 1e-5 if single else 1e-9
    assert mating.shape == "cylinder"
    on_pin, in_hole = mating.faces.points_on_first, mating.faces.points_on_second
    assert len(on_pin) == 8
    assert np.hypot(on_pin[:, 0], on_pin[:, 1]) == pytest.approx(np.full(8, 5.0), abs=within)
    assert np.hypot(in_hole[:, 0], in_hole[:, 1]) == pytest.approx(np.full(8, 5.1), abs=within)
    radial = np.column_stack([on_pin[:, :2] / 5.0, np.zeros(8)])
    assert mating.faces.normals == pytest.approx(radial, abs=within)
    assert sorted(on_pin[:, 2]) == pytest.approx([0] * 4 + [10] * 4, abs=1e-6)
    gaps = (mating.mean_gap_mm, mating.min_gap_mm, mating.max_gap_mm)
    assert gaps == pytest.approx((0.1, 0.1, 0.1), abs=within)
    assert mating.area_mm2 == pytest.approx(2 * np.pi * 5.05 * 10, rel=1e-6)
    assert mating.angle_deg == pytest.approx(0, abs=1e-3)
    turns = np.sort(np.mod(np.degrees(np.arctan2(on_pin[:4, 1], on_pin[:4, 0])), 360))
    assert np.diff(turns) == pytest.approx([90, 90, 90], abs=1e-3)


def test_normals_point_from_the_first_part_to_the_second_in_either_order():
    mating = the_mating(search_two(mesh_of(block_with_hole()), mesh_of(pin())))
    steps = mating.faces.points_on_second - mating.faces.points_on_first
    assert (steps * mating.faces.normals).sum(axis=1) == pytest.approx(np.full(8, 0.1), abs=1e-9)
    inward = -mating.faces.points_on_first[:, :2] / 5.1
    assert mating.faces.normals[:, :2] == pytest.approx(inward, abs=1e-9)


def test_a_press_fit_has_a_negative_gap():
    assert the_mating(search_two(mesh_of(pin(5.2)), mesh_of(block_with_hole()))).mean_gap_mm == pytest.approx(
        -0.1
    )


def test_a_pin_beside_the_axis_has_unequal_gaps():
    mating = the_mating(search_two(mesh_of(pin(), shift=(0.05, 0, 0)), mesh_of(block_with_hole())))
    # Along the line of centres 0.1 -+ 0.05; across it, sqrt(5.1^2 - 0.025^2) - sqrt(5^2 - 0.025^2) or so.
    assert mating.max_gap_mm - mating.min_gap_mm == pytest.approx(0.1, abs=1e-3)
    assert mating.mean_gap_mm == pytest.approx(0.1, abs=1e-3)


def test_a_leaning_pin_is_found_up_to_the_angle():
    hole, lean = mesh_of(block_with_hole(5.3)), Rotation.from_euler("y", 1.0, degrees=True)
    slim = mesh_of(pin(5.0), lean)
    assert the_mating(search_two(slim, hole)).angle_deg == pytest.approx(1.0, abs=1e-6)
    assert search_two(slim, hole, Search(max_angle_deg=0.9)).matings == ()


def test_an_arc_on_an_arc_has_contacts_over_the_common_angle():
    """Quarter shells, one turned by 30 degrees: they share 60 degrees."""
    quarter = Manifold.cube((400, 400, 400)).translate((0, 0, -200))
    inner, outer = tube(80, 100, 0, 40, 360) ^ quarter, tube(100.2, 120, 10, 60, 360) ^ quarter
    report = search_two(mesh_of(inner), mesh_of(outer.rotate((0, 0, 30))))
    mating = the_mating(report)
    points = mating.faces.points_on_first
    assert len(points) == 6
    assert mating.area_mm2 == pytest.approx(np.pi / 3 * 100.1 * 30, rel=1e-6)
    turns = np.degrees(np.arctan2(points[:, 1], points[:, 0]))
    assert np.sort(turns) == pytest.approx([30, 30, 60, 60, 90, 90], abs=1e-6)
    assert np.sort(points[:, 2]) == pytest.approx([10] * 3 + [40] * 3, abs=1e-6)
    assert mating.mean_gap_mm == pytest.approx(0.2, abs=1e-9)


def test_too_short_an_arc_is_listed_in_words():
    quarter = Manifold.cube((400, 400, 400)).translate((0, 0, -200))
    inner, outer = tube(80, 100, 0, 40, 360) ^ quarter, tube(100.2, 120, 10, 60, 360) ^ quarter
    report = search_two(mesh_of(inner), mesh_of(outer.rotate((0, 0, 84))))
    assert report.matings == ()
    assert ["6.0 degrees only" in item.words for item in report.not_detected] == [True]


def test_a_ball_in_a_socket_is_listed_in_words():
    ball = Manifold.sphere(10, 48)
    socket = Manifold.cube((30, 30, 15)).translate((-15, -15, -15)) - Manifold.sphere(10.1, 48)
    report = search_two(mesh_of(ball), mesh_of(socket))
    assert report.matings == ()
    (item,) = report.not_detected
    assert item.parts == ("a", "b")
    assert "not both cylinders" in item.words


def test_a_thin_rod_along_the_wall_of_a_wide_hole_is_listed_in_words():
    report = search_two(mesh_of(pin(3), shift=(2.05, 0, 0)), mesh_of(block_with_hole()))
    assert report.matings == ()
    assert all("radii differ by 2.10 mm" in item.words for item in report.not_detected)
    assert len(report.not_detected) == 1


def test_curved_faces_far_apart_are_not_listed():
    report = search_two(mesh_of(Manifold.sphere(8, 48)), mesh_of(block_with_hole(10)))
    assert report.matings == ()
    assert report.not_detected == ()


def test_a_stepped_pin_and_its_shoulder_are_a_round_and_a_flat_mating():
    stepped = pin(5, -10, 10) + pin(9, -20, 0)
    report = search_two(mesh_of(stepped), mesh_of(block_with_hole()))
    assert report.not_detected == ()
    assert [m.shape for m in report.matings] == ["cylinder", "plane"]
    # The shoulder lies between the regular 36-gon of the pin and 48-gon of the hole: n r^2 sin(2 pi / n) / 2.
    outer, inner = (n * r**2 * np.sin(2 * np.pi / n) / 2 for n, r in ((36, 9), (48, 5.1)))
    assert report.matings[1].area_mm2 == pytest.approx(outer - inner, rel=1e-6)


def test_a_slot_key_with_flat_sides_gives_two_flats_and_two_arcs():
    def key(radius):
        return Manifold.hull(
            pin(radius, -5, 15).translate((10, 0, 0)) + pin(radius, -5, 15).translate((-10, 0, 0))
        )

    block = Manifold.cube((60, 40, 10)).translate((-30, -20, 0)) - key(5.1)
    report = search_two(mesh_of(key(5.0)), mesh_of(block))
    assert report.not_detected == ()
    shapes = [mating.shape for mating in report.matings]
    assert sorted(shapes) == ["cylinder", "cylinder", "plane", "plane"]
    flats = [m for m in report.matings if m.shape == "plane"]
    assert [m.area_mm2 for m in flats] == pytest.approx([200, 200], rel=1e-6)


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 2**32 - 1))
def test_a_rigid_motion_of_everything_moves_the_contacts_of_a_round_face(seed):
    random = np.random.default_rng(seed)
    rotation, shift = Rotation.random(rng=random), random.uniform(-300, 300, 3)
    block = block_with_hole().translate((0, 0, 3)) + Manifold.cube((20, 30, 5)).translate((12, -15, 3))
    still = the_mating(search_two(mesh_of(pin()), mesh_of(block)))
    turned = the_mating(search_two(mesh_of(pin(), rotation, shift), mesh_of(block, rotation, shift)))
    expected = still.faces.points_on_first @ rotation.as_matrix().T + shift
    assert turned.faces.points_on_first == pytest.approx(expected, abs=1e-6)
    assert turned.faces.normals == pytest.approx(still.faces.normals @ rotation.as_matrix().T, abs=1e-7)
    assert turned.mean_gap_mm == pytest.approx(still.mean_gap_mm, abs=1e-8)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 2**32 - 1), st.floats(1, 300), st.floats(40, 360), st.integers(8, 40))
def test_a_cylinder_is_found_back_from_its_facets(seed, radius, turn, facets):
    rotation = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    angles = np.radians(np.linspace(0, turn, facets + 1))
    ring = radius * np.column_stack([np.cos(angles), np.sin(angles)])
    ends = [np.column_stack([ring, np.full(facets + 1, z)]) for z in (0.0, 25.0)]
    middle = (angles[1:] + angles[:-1]) / 2
    normals = np.column_stack([np.cos(middle), np.sin(middle), np.zeros(facets)])
    shift = np.array([100.0, -40, 7])
    points = np.concatenate(ends) @ rotation.T + shift
    cylinder, worst = fitted_cylinder(points, normals @ rotation.T, np.ones(facets))
    assert worst <= 1e-8
    assert cylinder.radius_mm == pytest.approx(radius, rel=1e-8)
    assert abs(cylinder.axis @ rotation[:, 2]) == pytest.approx(1, abs=1e-12)
    assert np.linalg.norm(np.cross(cylinder.point - shift, rotation[:, 2])) <= 1e-6
