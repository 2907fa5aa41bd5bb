"""Where findings and features are shown: places, directions of sight and dimension lines of boxes and a wedge."""

import numpy as np
import pytest

from dryfit.app.geometry import shape_in_assembly
from dryfit.app.view_marks import FacePicker, mark_feature, mark_finding, pack_triangles
from dryfit.base.errors import ComputationRefused
from dryfit.model.feature import Feature
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from support.mesh_files import box

UP = np.array([0.0, 0.0, 1.0])


def shape(name, vertices, faces):
    return shape_in_assembly(Part(name, f"{name}.stl", "m", "p"), TriangleMesh(np.asarray(vertices), faces))


def block(name="block", size=(40.0, 30.0, 20.0), origin=(0.0, 0.0, 0.0)):
    return shape(name, *box(size, origin))


def top_of(part):
    corners = part.mesh.vertices[part.mesh.faces]
    return np.flatnonzero((corners[:, :, 2] == corners[:, :, 2].max()).all(axis=1))


def test_the_buffer_holds_the_corners_of_the_exact_triangles():
    part = block(origin=(1500.0, -70.0, 3.0))
    sent = np.frombuffer(pack_triangles(part.mesh, np.array([4, 1])), "<f4").reshape(2, 3, 3)
    assert np.array_equal(sent, part.mesh.vertices[part.mesh.faces[[4, 1]]].astype(np.float32))


def test_a_place_on_the_top_is_seen_from_above_and_whole():
    part = block()
    finding = Finding(
        "wall",
        ("block",),
        "stop",
        "thin",
        places_mm=np.array([[38.0, 27.0, 20.0]]),
        triangles=top_of(part),
    )
    mark = mark_finding(finding, {"block": part})
    assert np.allclose(mark.look_from, [UP])
    # The farthest corner of the face lies 46.6 away; the half diagonal of the whole box bounds what is shown.
    assert mark.reach_mm[0] == part.size_mm
    assert [(name, rows.tolist()) for name, rows in mark.triangles] == [("block", top_of(part).tolist())]


def test_triangles_without_a_place_are_found_at_their_middle():
    part = block()
    mark = mark_finding(
        Finding("health", ("block",), "stop", "open", triangles=top_of(part)), {"block": part}
    )
    assert mark.places_mm.shape == (1, 3)
    assert np.allclose(mark.places_mm, [[20.0, 15.0, 20.0]])


def test_what_concerns_the_whole_part_has_no_place():
    mark = mark_finding(Finding("warp", ("block",), "caution", "slender"), {"block": block()})
    assert mark.places_mm.shape == (0, 3)
    assert mark.triangles == ()


def test_a_clearance_is_one_place_with_the_way_between_the_parts():
    ends = np.array([[40.0, 5.0, 5.0], [40.15, 5.0, 5.0]])
    parts = {"block": block(), "other": block("other", origin=(40.15, 0.0, 0.0))}
    mark = mark_finding(Finding("clearance", ("block", "other"), "caution", "near", places_mm=ends), parts)
    assert np.allclose(mark.places_mm, [ends.mean(axis=0)])
    assert np.array_equal(mark.line_mm, ends)


def test_a_large_overlap_is_seen_whole_and_a_box_belongs_to_each_place():
    part = block(size=(400.0, 30.0, 20.0))
    boxes = np.array([[[0.0, 0.0, 0.0], [200.0, 30.0, 20.0]], [[390.0, 0.0, 0.0], [400.0, 30.0, 20.0]]])
    finding = Finding("overlap", ("block",), "stop", "shared", places_mm=boxes.mean(axis=1), boxes_mm=boxes)
    mark = mark_finding(finding, {"block": part})
    assert np.array_equal(mark.boxes_mm, boxes)
    assert mark.reach_mm[0] > 0.5 * np.linalg.norm(boxes[0, 1] - boxes[0, 0])
    with pytest.raises(ValueError, match="a box for each place"):
        Finding("overlap", ("block",), "stop", "shared", places_mm=np.zeros((1, 3)), boxes_mm=boxes)


def test_places_each_have_their_own_triangles_in_sight():
    """Of two opposite faces the one is seen from above, the other from below."""
    part = block()
    corners = part.mesh.vertices[part.mesh.faces]
    flat = np.flatnonzero(np.ptp(corners[:, :, 2], axis=1) == 0.0)
    places = np.array([[20.0, 15.0, 0.0], [20.0, 15.0, 20.0]])
    mark = mark_finding(
        Finding("wall", ("block",), "stop", "thin", places_mm=places, triangles=flat), {"block": part}
    )
    assert np.allclose(mark.look_from, [-UP, UP])
    assert [mark.beside(at, step) for at, step in ((0, 1), (1, 1), (0, -1))] == [1, 0, 1]


def wedge():
    """30 mm high over its front edge only; its lowest corners lie 50 mm aside of the highest."""
    vertices = np.array(
        [[0, 0, 30], [10, 0, 30], [0, 50, 0], [10, 50, 0], [0, 0, 10], [10, 0, 10]], dtype=np.float64
    )
    faces = np.array([[0, 2, 4], [1, 5, 3], [0, 1, 3], [0, 3, 2], [4, 2, 3], [4, 3, 5], [0, 4, 5], [0, 5, 1]])
    return shape("wedge", vertices, faces)


def test_an_extent_is_drawn_along_its_direction_and_leads_to_what_it_reaches():
    part = wedge()
    measured = MeasuredFeature(
        "rise",
        "extent",
        ("wedge",),
        "mm",
        "pass",
        "",
        measured=30.0,
        anchors_mm=np.array([[0.0, 50.0, 0.0], [10.0, 0.0, 30.0]]),
    )
    mark = mark_feature(measured, Feature("rise", "extent", ("wedge",), direction=UP), {"wedge": part})
    low, high = mark.line_mm
    assert np.allclose(high - low, [0.0, 0.0, 30.0])
    # From the end of the dimension level across to the highest corner beside it: 50 mm, not the diagonal.
    assert np.allclose(mark.lead_mm[0], high)
    assert np.isclose(np.linalg.norm(mark.lead_mm[1] - mark.lead_mm[0]), 50.0)
    assert abs(mark.look_from @ UP) < 0.8


def test_a_dimension_line_is_looked_at_from_across():
    part = block()
    anchors = np.array([[0.0, 15.0, 20.0], [40.0, 15.0, 20.0]])
    measured = MeasuredFeature(
        "w", "distance", ("block",), "mm", "pass", "", measured=40.0, anchors_mm=anchors
    )
    mark = mark_feature(measured, Feature("w", "distance", ("block",)), {"block": part})
    assert np.array_equal(mark.line_mm, anchors)
    assert mark.lead_mm is None
    assert abs(mark.look_from[0]) < 0.5
    assert mark.look_from[2] > 0.0
    assert mark.reach_mm > 20.0


def test_a_feature_that_was_not_measured_has_no_mark():
    measured = MeasuredFeature("w", "distance", ("block",), "mm", "not checked", "lost")
    assert mark_feature(measured, Feature("w", "distance", ("block",)), {"block": block()}) is None


def test_a_point_of_a_light_copy_picks_the_face_of_the_exact_mesh():
    picked = FacePicker({"block": block()}).describe("block", np.array([12.0, 10.0, 20.3]))
    assert np.allclose(picked.pick.point_mm, [12.0, 10.0, 20.0])
    assert np.allclose(picked.pick.normal, UP)
    assert picked.pick.form == "plane"
    assert picked.words == "plane, 1200 mm2"


def test_a_point_beyond_an_edge_picks_the_edge():
    picked = FacePicker({"block": block()}).describe("block", np.array([40.2, 10.0, 12.0]))
    assert np.allclose(picked.pick.point_mm, [40.0, 10.0, 12.0])


def test_a_point_away_from_the_exact_mesh_is_refused():
    with pytest.raises(ComputationRefused, match="exact mesh is 9"):
        FacePicker({"block": block()}).describe("block", np.array([12.0, 10.0, 29.0]))
