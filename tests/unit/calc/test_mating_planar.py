"""Flat mating faces, against closed forms and against polygons intersected by shapely on their own."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import Manifold, Mesh64, triangulate
from scipy.spatial.transform import Rotation
from shapely import Polygon

from dryfit.base.errors import Interrupted, ReferenceUnknown
from dryfit.calc.mating import find_matings
from dryfit.model.mesh import TriangleMesh
from dryfit.model.project import Search

SEARCH = Search()


def mesh_of(solid: Manifold) -> TriangleMesh:
    raw = solid.to_mesh64()
    return TriangleMesh(np.array(raw.vert_properties)[:, :3], np.array(raw.tri_verts))


def prism(outline, low: float, high: float) -> Manifold:
    """Built by hand: the library's own extrusion rounds coordinates to about 1e-8."""
    outline = np.asarray(outline, float)
    count, ahead = len(outline), np.roll(np.arange(len(outline)), -1)
    here, top = np.arange(count), np.array(triangulate([outline]), dtype=np.int64)
    walls = [
        np.column_stack([here, ahead, ahead + count]),
        np.column_stack([here, ahead + count, here + count]),
    ]
    vertices = [np.column_stack([outline, np.full(count, z)]) for z in (low, high)]
    faces = np.concatenate([top[:, ::-1], top + count, *walls])
    solid = Manifold(Mesh64(np.concatenate(vertices), faces.astype(np.uint64)))
    assert solid.volume() == pytest.approx(Polygon(outline).area * (high - low))
    return solid


def box(lower, upper) -> Manifold:
    size = np.subtract(upper, lower)
    return Manifold.cube(tuple(size)).translate(tuple(np.asarray(lower, float)))


def moved(mesh: TriangleMesh, rotation: Rotation, shift) -> TriangleMesh:
    return TriangleMesh(mesh.vertices @ rotation.as_matrix().T + shift, mesh.faces)


def search_two(a: Manifold, b: Manifold, search: Search = SEARCH):
    return find_matings([("a", mesh_of(a)), ("b", mesh_of(b))], search)


def the_mating(report):
    assert report.not_detected == ()
    (mating,) = report.matings
    return mating


def assert_same_points(found, expected, within=1e-9):
    """The same points in any order."""
    assert len(found) == len(expected)
    distances = np.linalg.norm(np.asarray(found)[:, None] - np.asarray(expected, float)[None], axis=2)
    assert distances.min(axis=1).max() <= within
    assert distances.min(axis=0).max() <= within


def rectangle(x, y0, y1, z0, z1):
    return [(x, y, z) for y, z in itertools.product((y0, y1), (z0, z1))]


def l_shape(x0=0.0, y0=0.0):
    outline = [(0, 0), (60, 0), (60, 20), (20, 20), (20, 50), (0, 50)]
    return [(x + x0, y + y0) for x, y in outline]


def ring_outline(number, count, facets, inner=560.0, outer=600.0):
    angles = np.linspace(0, 2 * np.pi / count, facets + 1) + number * 2 * np.pi / count
    circle = np.column_stack([np.cos(angles), np.sin(angles)])
    return np.concatenate([outer * circle, inner * circle[::-1]])


# Common region of boxes: the overlap of two rectangles, in closed form.


def test_offset_boxes_share_the_overlap_of_their_rectangles():
    mating = the_mating(search_two(box((0, 0, 0), (10, 40, 30)), box((10, 15, -5), (25, 70, 12))))
    assert_same_points(mating.faces.points_on_first, rectangle(10, 15, 40, 0, 12))
    assert mating.area_mm2 == pytest.approx(25 * 12, rel=1e-12)
    assert mating.faces.area_mm2 == mating.area_mm2
    assert mating.faces.normals == pytest.approx(np.tile([1.0, 0, 0], (4, 1)), abs=1e-12)
    assert mating.mean_gap_mm == pytest.approx(0, abs=1e-12)
    assert mating.shape == "plane"
    assert_same_points(mating.polygon, rectangle(10, 15, 40, 0, 12))


@pytest.mark.parametrize("gap", [0.3, 0.5, -0.1, -0.5])
def test_a_small_gap_or_overlap_is_found_with_its_sign(gap):
    mating = the_mating(search_two(box((0, 0, 0), (10, 40, 30)), box((10 + gap, 0, 0), (20, 40, 30))))
    assert (mating.mean_gap_mm, mating.min_gap_mm, mating.max_gap_mm) == pytest.approx((gap,) * 3, abs=1e-9)
    assert_same_points(mating.faces.points_on_first, rectangle(10, 0, 40, 0, 30))
    steps = mating.faces.points_on_second - mating.faces.points_on_first
    assert steps == pytest.approx(np.tile([gap, 0, 0], (4, 1)), abs=1e-9)


@pytest.mark.parametrize("gap", [0.51, 0.8, -0.51, -0.8])
def test_a_gap_over_the_limit_is_not_found(gap):
    report = search_two(box((0, 0, 0), (10, 40, 30)), box((10 + gap, 0, 0), (20, 40, 30)))
    assert report.matings == ()


def test_a_face_below_the_least_area_is_not_found():
    a, b = box((0, 0, 0), (10, 10, 10)), box((10, 8, 8), (20, 18, 18))
    assert the_mating(search_two(a, b)).area_mm2 == pytest.approx(4)
    assert search_two(a, b, Search(min_area_mm2=4.1)).matings == ()


@pytest.mark.parametrize("lower", [(10, 10, 0), (10, 0, 10), (10, 10, 10)])
def test_parts_that_touch_along_an_edge_or_in_a_corner_do_not_mate(lower):
    report = search_two(box((0, 0, 0), (10, 10, 10)), box(lower, np.add(lower, 10)))
    assert report.matings == ()
    assert report.not_detected == ()


@pytest.mark.parametrize("tilt_deg", [0.2, 1.0, 1.9])
def test_a_leaning_face_is_found_and_its_angle_reported(tilt_deg):
    leaning = box((0, 0, 0), (20, 40, 40)).refine(4).rotate((0, 0, tilt_deg)).translate((10, 0, 0))
    search = Search(max_gap_mm=1.0)
    mating = the_mating(search_two(box((0, -5, 0), (10, 45, 40)).refine(4), leaning, search))
    assert mating.angle_deg == pytest.approx(tilt_deg, abs=1e-6)
    slope = np.tan(np.radians(tilt_deg))
    # The face runs from the hinge to 40 mm along its own plane; separation grows by the tangent, towards b.
    assert mating.min_gap_mm == pytest.approx(-40 * np.sin(np.radians(tilt_deg)), rel=0.02)
    assert mating.max_gap_mm == pytest.approx(0, abs=1e-3)
    assert mating.mean_gap_mm == pytest.approx(-20 * slope, rel=0.02)


def test_a_face_that_leans_too_far_is_not_found():
    leaning = box((0, -20, 0), (20, 20, 40)).rotate((0, 0, 5)).translate((10, 20, 0))
    assert search_two(box((0, 0, 0), (10, 40, 40)), leaning, Search(max_gap_mm=5.0)).matings == ()
    assert len(search_two(box((0, 0, 0), (10, 40, 40)), leaning, Search(5.0, 6.0)).matings) == 1


# Rings: every neighbour pair meets in the radial face 560..600 x 40.


@pytest.mark.parametrize("count", [4, 6, 8])
@pytest.mark.parametrize("facets", [1, 30])
@pytest.mark.parametrize("single", [False, True])
def test_ring_segments_meet_in_their_radial_faces(count, facets, single):
    parts = []
    for k in range(count):
        mesh = mesh_of(prism(ring_outline(k, count, facets), -20, 20))
        if single:  # as binary STL leaves it
            mesh = TriangleMesh(mesh.vertices.astype(np.float32).astype(float), mesh.faces)
        parts.append((f"ring-{k + 1}", mesh))
    report = find_matings(parts, SEARCH)
    assert report.not_detected == ()
    assert len(report.matings) == count
    within = 1e-4 if single else 1e-9
    for mating in report.matings:
        a, b = (int(id.removeprefix("ring-")) for id in mating.parts)
        angle = 2 * np.pi / count * (a if b == a + 1 else 0)
        along, tangent = (
            np.array([np.cos(angle), np.sin(angle), 0]),
            np.array([-np.sin(angle), np.cos(angle), 0]),
        )
        expected = [r * along + [0, 0, z] for r, z in itertools.product((560, 600), (-20, 20))]
        assert_same_points(mating.faces.points_on_first, expected, within)
        sense = 1 if b == a + 1 else -1
        assert mating.faces.normals == pytest.approx(np.tile(sense * tangent, (4, 1)), abs=within)
        assert mating.area_mm2 == pytest.approx(1600, rel=1e-6)


def test_stacked_ring_sectors_share_an_annulus_sector():
    """Facets: r^2 sin(phi) / 2 each, phi the angle of one facet."""
    outline, facets = ring_outline(0, 4, 45), 45
    mating = the_mating(search_two(prism(outline, 0, 40), prism(outline, 40, 80)))
    phi = np.pi / 2 / facets
    assert mating.area_mm2 == pytest.approx(facets * (600**2 - 560**2) * np.sin(phi) / 2, rel=1e-9)
    assert mating.area_mm2 == pytest.approx((600**2 - 560**2) / 2 * np.pi / 2, rel=1e-3)
    assert 3 <= len(mating.faces.normals) <= 8
    assert mating.faces.normals == pytest.approx(
        np.tile([0, 0, 1.0], (len(mating.faces.normals), 1)), abs=1e-12
    )


# Other outlines.


def test_an_l_shaped_face_keeps_its_six_corners():
    mating = the_mating(search_two(prism(l_shape(), 0, 10), prism(l_shape(), 10, 20)))
    assert_same_points(mating.faces.points_on_first, [(x, y, 10) for x, y in l_shape()])
    assert mating.area_mm2 == pytest.approx(60 * 20 + 20 * 30, rel=1e-12)


offsets = st.tuples(st.floats(-25, 25), st.floats(-25, 25), st.floats(0, 360))


@settings(deadline=None, max_examples=40)
@given(offsets)
def test_common_area_is_that_of_the_polygons_intersected_on_their_own(offset):
    x, y, turn = offset
    turned = Rotation.from_euler("z", turn, degrees=True).as_matrix()[:2, :2]
    other = np.array(l_shape()) @ turned.T + [x, y]
    expected = Polygon(l_shape()).intersection(Polygon(other)).area
    report = search_two(prism(l_shape(), 0, 10), prism(other, 10, 20))
    found = sum(mating.area_mm2 for mating in report.matings)
    if abs(expected - SEARCH.min_area_mm2) > 1e-6:
        assert found == pytest.approx(expected if expected > SEARCH.min_area_mm2 else 0, rel=1e-6, abs=1e-6)


def test_a_hole_in_the_face_is_taken_off_the_area():
    plate = box((0, 0, 0), (60, 40, 10)) - box((20, 10, -1), (40, 30, 11))
    mating = the_mating(search_two(plate, box((0, 0, 10), (60, 40, 15))))
    assert mating.area_mm2 == pytest.approx(60 * 40 - 20 * 20, rel=1e-12)
    assert len(mating.faces.normals) == 4


def test_a_finely_divided_face_has_the_same_corners():
    fine = mesh_of(box((0, 0, 0), (10, 40, 30)).refine(60))
    assert len(fine.faces) > 6 * 10_000 / 2
    coarse = mesh_of(box((10, 15, -5), (25, 70, 12)))
    mating = the_mating(find_matings([("a", fine), ("b", coarse)], SEARCH))
    assert_same_points(mating.faces.points_on_first, rectangle(10, 15, 40, 0, 12))


def test_a_tiny_chamfer_makes_no_corner_of_its_own():
    outline = [(0.2, 0), (40, 0), (40, 40), (0, 40), (0, 0.2)]
    mating = the_mating(search_two(prism(outline, 0, 10), prism(outline, 10, 20)))
    assert len(mating.faces.normals) == 4
    assert_same_points(mating.faces.points_on_first, [(x, y, 10) for x in (0, 40) for y in (0, 40)], 0.21)


def test_two_feet_on_one_plane_are_one_mating_with_the_corners_of_their_hull():
    table = box((0, 0, 0), (100, 10, 5)).translate((0, 0, 20))
    feet = box((0, 0, 0), (8, 10, 20)) + box((92, 0, 0), (100, 10, 20))
    report = search_two(box((-10, -10, -5), (110, 20, 0)), table + feet)
    mating = the_mating(report)
    assert mating.area_mm2 == pytest.approx(2 * 8 * 10, rel=1e-9)
    assert_same_points(mating.faces.points_on_first, [(x, y, 0) for x in (0, 100) for y in (0, 10)])
    assert "2 pieces" in mating.words


def test_steps_are_matings_of_their_own_with_the_largest_first():
    stairs = prism([(0, 0), (30, 0), (30, 10), (10, 10), (10, 30), (0, 30)], 0, 20)
    matings = search_two(stairs, box((10, 10, 0), (25, 20, 20))).matings
    assert [mating.area_mm2 for mating in matings] == pytest.approx([15 * 20, 10 * 20])


def test_rounded_edges_leave_the_flat_face_flat():
    angles = np.radians(np.arange(0, 91, 10))
    arc = 3 * np.column_stack([np.cos(angles), np.sin(angles)])
    outline = np.concatenate([arc + 37, [(0, 40), (0, 0), (40, 0)]])
    mating = the_mating(search_two(prism(outline, 0, 10), box((40, 0, 0), (50, 40, 10))))
    assert_same_points(mating.faces.points_on_first, rectangle(40, 0, 37, 0, 10))


@pytest.mark.parametrize("reaches_over", [False, True])
def test_a_cover_plate_on_a_polygonal_drum_is_a_flat_joint(reaches_over):
    """The facets bend by 15 degrees, as a coarse cylinder's would; the plate covers one.

    A plate that reaches over the whole drum makes all its facets be looked at, and told for a cylinder.
    """
    drum = Manifold.cylinder(40, 100, 100, 24)
    apothem, half = 100 * np.cos(np.pi / 24), 100 * np.sin(np.pi / 24)
    plate = box((apothem, -half, 0), (apothem + 4, half, 40)).rotate((0, 0, 7.5))
    if reaches_over:
        plate = Manifold.compose([plate, box((-100, -100, 50), (100, 100, 55))])
    mating = the_mating(search_two(drum, plate))
    assert mating.area_mm2 == pytest.approx(2 * half * 40, rel=1e-9)


def test_a_cylinder_lying_on_a_table_is_no_flat_joint():
    roller = Manifold.cylinder(40, 20, 20, 36).rotate((90, 5, 0)).translate((0, 0, 20 * np.cos(np.pi / 36)))
    report = search_two(roller, box((-50, -60, -10), (50, 20, 0)))
    assert report.matings == ()
    assert ["strip" in item.words for item in report.not_detected] == [True]


# Meshes with faults: the face must not be lost.


def test_repeated_triangles_do_not_lose_the_face():
    mesh = mesh_of(box((0, 0, 0), (10, 40, 30)))
    twice = TriangleMesh(mesh.vertices, np.concatenate([mesh.faces, mesh.faces[::2]]))
    mating = the_mating(find_matings([("a", twice), ("b", mesh_of(box((10, 0, 0), (20, 40, 30))))], SEARCH))
    assert mating.area_mm2 == pytest.approx(1200, rel=1e-9)
    assert_same_points(mating.faces.points_on_first, rectangle(10, 0, 40, 0, 30))


def test_a_face_split_by_t_junctions_is_one_face():
    """Two triangles on one side of the diagonal, whose middle vertex the other side does not have."""
    mesh = mesh_of(box((0, 0, 0), (10, 40, 30)))
    corners = mesh.vertices[mesh.faces]
    on_face = (corners[:, :, 0] == 10).all(axis=1)
    # The point a third of the way along the diagonal, not exactly representable.
    start, end, apex = np.array([10, 0, 0.0]), np.array([10, 40, 30.0]), np.array([10, 0, 30.0])
    middle = start + (end - start) / 3
    split = [[start, middle, apex], [middle, end, apex], [start, np.array([10, 40, 0.0]), end]]
    triangles = np.concatenate([corners[~on_face], split])
    soup = TriangleMesh(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))
    mating = the_mating(find_matings([("a", soup), ("b", mesh_of(box((10, 0, 0), (20, 40, 30))))], SEARCH))
    assert mating.area_mm2 == pytest.approx(1200, rel=1e-9)
    assert_same_points(mating.faces.points_on_first, rectangle(10, 0, 40, 0, 30), 1e-7)


def test_a_seam_of_a_thousandth_does_not_part_a_face():
    halves = Manifold.compose([box((0, 0, 0), (10, 20, 30)), box((0, 20.001, 0), (10, 40, 30))])
    mating = the_mating(search_two(halves, box((10, 0, 0), (20, 40, 30))))
    assert "pieces" not in mating.words
    assert_same_points(mating.faces.points_on_first, rectangle(10, 0, 40, 0, 30), 1e-7)


def test_an_outline_that_cannot_be_told_is_listed_with_the_reason(monkeypatch):
    from dryfit.calc.mating import outline

    def lose_everything(geometries):
        return Polygon()

    mesh = mesh_of(box((0, 0, 0), (10, 40, 30)))
    twice = TriangleMesh(mesh.vertices, np.concatenate([mesh.faces, mesh.faces]))
    monkeypatch.setattr("shapely.union_all", lose_everything)
    with pytest.raises(outline.OutlineError, match="does not keep their area"):
        outline.region_polygon(np.array([[0.0, 0], [1, 0], [0, 1]]), np.array([[0, 1, 2], [0, 1, 2]]))
    report = find_matings([("a", twice), ("b", mesh_of(box((10, 0, 0), (20, 40, 30))))], SEARCH)
    assert report.matings == ()
    assert "does not keep their area" in report.not_detected[0].words


# Invariance and order.


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_a_rigid_motion_of_everything_moves_the_contacts_and_nothing_else(seed):
    random = np.random.default_rng(seed)
    rotation, shift = Rotation.random(rng=random), random.uniform(-500, 500, 3)
    a, b = mesh_of(prism(l_shape(), 0, 10)), mesh_of(prism(l_shape(7, 3), 10.2, 25))
    still = the_mating(find_matings([("a", a), ("b", b)], SEARCH))
    both = [("a", moved(a, rotation, shift)), ("b", moved(b, rotation, shift))]
    turned = the_mating(find_matings(both, SEARCH))
    expected = still.faces.points_on_first @ rotation.as_matrix().T + shift
    assert turned.faces.points_on_first == pytest.approx(expected, abs=1e-8)
    assert turned.faces.normals == pytest.approx(still.faces.normals @ rotation.as_matrix().T, abs=1e-9)
    assert turned.polygon == pytest.approx(still.polygon @ rotation.as_matrix().T + shift, abs=1e-8)
    assert turned.mean_gap_mm == pytest.approx(still.mean_gap_mm, abs=1e-9)


def test_the_order_of_parts_changes_nothing():
    parts = [(f"ring-{k}", mesh_of(prism(ring_outline(k, 12, 2), 0, 40))) for k in range(12)]
    one, two = find_matings(parts, SEARCH), find_matings(parts[::-1], SEARCH)
    assert [m.parts for m in one.matings] == [m.parts for m in two.matings]
    assert ("ring-2", "ring-3") in [m.parts for m in one.matings]
    assert ("ring-9", "ring-10") in [m.parts for m in one.matings]
    for first, second in zip(one.matings, two.matings, strict=True):
        assert (first.faces.points_on_first == second.faces.points_on_first).all()


def test_pairs_restrict_the_search_and_must_be_known():
    parts = [(f"ring-{k}", mesh_of(prism(ring_outline(k, 6, 2), 0, 40))) for k in range(6)]
    report = find_matings(parts, SEARCH, pairs=[("ring-3", "ring-2")])
    assert [m.parts for m in report.matings] == [("ring-2", "ring-3")]
    with pytest.raises(ReferenceUnknown, match="ring-7"):
        find_matings(parts, SEARCH, pairs=[("ring-3", "ring-7")])
    with pytest.raises(ValueError, match="once"):
        find_matings([*parts, parts[0]], SEARCH)


def test_progress_is_told_and_can_stop_the_search():
    parts = [(f"ring-{k}", mesh_of(prism(ring_outline(k, 6, 2), 0, 40))) for k in range(6)]
    seen: list[tuple[int, int]] = []
    find_matings(parts, SEARCH, progress=lambda done, total: seen.append((done, total)))
    total = seen[0][1]
    assert total >= 6
    assert seen == [(done, total) for done in range(total + 1)]

    def stop(done: int, total: int) -> None:
        if done == 2:
            raise Interrupted("stopped", "search", "start again")

    with pytest.raises(Interrupted):
        find_matings(parts, SEARCH, progress=stop)
