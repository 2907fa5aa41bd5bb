"""Mending, against what the whole body was, closed forms, trimesh and manifold3d."""

from __future__ import annotations

import math

import igl
import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from dryfit.calc.mend import MendOptions, mend_mesh
from dryfit.calc.mend.holes import triangulate_rim
from dryfit.calc.mend.moved import measure_moved
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import box


def cube(size=1.0, at=(0.0, 0.0, 0.0)):
    return TriangleMesh(*box((size,) * 3, at))


def ball(radius=10.0, at=(0, 0, 0), fineness=3):
    sphere = trimesh.creation.icosphere(subdivisions=fineness, radius=radius)
    return TriangleMesh(np.asarray(sphere.vertices) + at, np.asarray(sphere.faces))


def union(*meshes):
    vertices = [mesh.vertices for mesh in meshes]
    shifts = np.cumsum([0, *map(len, vertices)])
    faces = [mesh.faces + shift for mesh, shift in zip(meshes, shifts, strict=False)]
    return TriangleMesh(np.concatenate(vertices), np.concatenate(faces))


def flipped(mesh):
    return TriangleMesh(mesh.vertices, mesh.faces[:, ::-1])


def volume(mesh):
    """By trimesh, a general-purpose library."""
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).volume


def is_sound(mesh):
    made = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    return made.is_watertight and made.is_winding_consistent


def did(mended):
    return {step.what: step.count for step in mended.steps}


def test_nothing_to_mend_changes_nothing():
    mesh = ball()
    mended = mend_mesh(mesh)
    assert mended.steps == ()
    assert (mended.mesh.vertices == mesh.vertices).all()
    assert (mended.mesh.faces == mesh.faces).all()
    assert mended.moved_mm == pytest.approx((0, 0), abs=1e-12)
    assert mended.volume_change_mm3 == 0


def test_a_soup_of_corners_becomes_a_body():
    mesh = ball()
    soup = TriangleMesh(
        mesh.vertices[mesh.faces].reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3)
    )
    mended = mend_mesh(soup)
    assert is_sound(mended.mesh)
    assert len(mended.mesh.vertices) == len(mesh.vertices)
    assert volume(mended.mesh) == pytest.approx(volume(mesh), rel=1e-14)
    assert mended.volume_change_mm3 is None  # it was open before


def test_a_crack_is_welded_as_asked_and_no_vertex_moves_farther():
    mesh = cube(10)
    a = int(mesh.faces[0, 0])
    outwards = np.sign(mesh.vertices[[a]] - 5) / math.sqrt(3)
    vertices = np.concatenate([mesh.vertices, mesh.vertices[[a]] + 0.005 * outwards])
    faces = mesh.faces.copy()
    faces[0, 0] = len(mesh.vertices)
    torn = TriangleMesh(vertices, faces)
    assert not is_sound(mend_mesh(torn).mesh)
    assert not is_sound(mend_mesh(torn, MendOptions(weld_mm=0.004)).mesh)
    mended = mend_mesh(torn, MendOptions(weld_mm=0.006))
    assert is_sound(mended.mesh)
    assert volume(mended.mesh) == pytest.approx(1000, rel=1e-3)
    assert mended.moved_mm[0] == pytest.approx(0.005, rel=1e-9)


def test_a_face_without_area_leaves_no_gap():
    """A triangle of a cube cut at the middle of its long edge on one side only; the other has a flat face there."""
    mesh = cube(2)
    a, b, c = (int(v) for v in mesh.faces[0])
    corners = mesh.vertices[[a, b, c]]
    k = int(np.argmax(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)))
    tail, head, apex = (int(mesh.faces[0, (k + i) % 3]) for i in range(3))
    middle = len(mesh.vertices)
    vertices = np.concatenate([mesh.vertices, mesh.vertices[[tail, head]].mean(axis=0)[None]])
    faces = np.concatenate(
        [mesh.faces[1:], [[tail, middle, apex], [middle, head, apex], [tail, head, middle]]]
    )
    assert is_sound(TriangleMesh(vertices, faces))
    mended = mend_mesh(TriangleMesh(vertices, faces))
    assert did(mended) == {"faces without area taken into their neighbours": 1}
    assert is_sound(mended.mesh)
    assert len(mended.mesh.faces) == 14
    assert volume(mended.mesh) == pytest.approx(8, rel=1e-14)
    assert trimesh.Trimesh(mended.mesh.vertices, mended.mesh.faces, process=False).area_faces.min() > 0.1


def test_duplicates_go():
    mesh = cube()
    twice = TriangleMesh(mesh.vertices, np.concatenate([mesh.faces, mesh.faces[:3]]))
    mended = mend_mesh(twice)
    assert is_sound(mended.mesh)
    assert did(mended) == {"faces that were there more than once left out": 3}


def test_a_wall_between_two_glued_boxes_goes():
    """Two unit boxes that share a square, both of its sides there: a box of 1 x 1 x 2."""
    a, b = cube(1), cube(1, (0, 0, 1))
    mended = mend_mesh(union(a, b))
    assert volume(mended.mesh) == pytest.approx(2, rel=1e-14)
    if did(mended).get("faces that were there more than once left out"):
        assert is_sound(mended.mesh)


def test_a_sheet_of_two_sides_keeps_one():
    square = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float)
    faces = np.array([[0, 1, 2], [0, 2, 3], [2, 1, 0], [3, 2, 0]])
    mended = mend_mesh(TriangleMesh(square, faces))
    assert len(mended.mesh.faces) == 2


def test_faces_turn_to_agree_and_outwards():
    mesh = ball()
    faces = mesh.faces.copy()
    faces[[3, 4, 700]] = faces[[3, 4, 700], ::-1]
    mended = mend_mesh(TriangleMesh(mesh.vertices, faces))
    assert did(mended) == {"faces turned to agree with their neighbours": 3}
    assert volume(mended.mesh) == pytest.approx(volume(mesh), rel=1e-14)
    mended = mend_mesh(flipped(mesh))
    assert did(mended) == {"bodies that were inside out turned": 1}
    assert volume(mended.mesh) == pytest.approx(volume(mesh), rel=1e-14)
    assert mended.volume_change_mm3 == pytest.approx(2 * volume(mesh), rel=1e-12)


def test_a_void_stays_a_void():
    hollow = union(cube(10), flipped(cube(6, (2, 2, 2))))
    assert mend_mesh(hollow).steps == ()
    turned = mend_mesh(flipped(hollow))
    assert did(turned) == {"bodies that were inside out turned": 1}


def test_holes_are_filled_up_to_the_length_asked_for():
    """A cube without its two top faces: a square of rim 4, filled flat, so that the volume is 1 again."""
    mesh = cube()
    top = (mesh.vertices[mesh.faces][:, :, 2] == 1).all(axis=1)
    cut = TriangleMesh(mesh.vertices, mesh.faces[~top])
    assert not is_sound(mend_mesh(cut, MendOptions(fill_holes_up_to_mm=3.9)).mesh)
    mended = mend_mesh(cut, MendOptions(fill_holes_up_to_mm=4.1))
    assert is_sound(mended.mesh)
    assert volume(mended.mesh) == pytest.approx(1, rel=1e-14)
    assert mended.filled_mm2 == pytest.approx(1, rel=1e-14)
    assert did(mended) == {"holes filled": 1}


def test_a_patch_over_a_polygon_has_its_area():
    """Least area over a plane rim, not convex, is the area within: shoelace formula."""
    angle = 2 * np.pi * np.arange(40) / 40
    radius = np.where(np.arange(40) % 2, 4.0, 10.0)
    rim = np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)
    patch = triangulate_rim(rim, np.zeros((40, 40), dtype=bool))
    x, y = rim[:, 0], rim[:, 1]
    shoelace = 0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum()
    corners = rim[patch]
    area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] / 2
    assert area.min() > 0
    assert area.sum() == pytest.approx(shoelace, rel=1e-12)


def test_a_rim_with_corners_in_a_line_gets_no_face_without_area():
    rim = np.array(
        [[0, 0, 0], [1, 0, 0], [2, 0, 0], [2, 1, 0], [2, 2, 0], [1, 2, 0], [0, 2, 0], [0, 1, 0]], float
    )
    corners = rim[triangulate_rim(rim, np.zeros((8, 8), dtype=bool))]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    assert area.min() >= 0.5
    assert area.sum() == pytest.approx(4)


def test_shells_go_only_if_asked():
    mesh = union(ball(100, fineness=4), ball(0.5, (150, 0, 0), fineness=1))
    assert mend_mesh(mesh).steps == ()
    mended = mend_mesh(mesh, MendOptions(drop_shells_below=1e-3))
    assert mended.mesh.vertices[:, 0].max() < 101
    assert mended.moved_mm[0] < 1e-9


def test_two_balls_united_have_the_volume_of_their_union():
    """manifold3d on the two, and closed form: the lens of two balls of radius r at distance d."""
    a, b = ball(10, fineness=5), ball(10, (12, 0, 0), fineness=5)
    mended = mend_mesh(union(a, b), MendOptions(unite=True))
    assert is_sound(mended.mesh)
    lens = math.pi * (4 * 10 + 12) * (2 * 10 - 12) ** 2 / 12
    assert volume(mended.mesh) == pytest.approx(2 * 4 / 3 * math.pi * 1000 - lens, rel=3e-3)
    solids = [
        manifold3d.Manifold(manifold3d.Mesh64(np.array(m.vertices), np.array(m.faces, dtype=np.uint64)))
        for m in (a, b)
    ]
    assert volume(mended.mesh) == pytest.approx((solids[0] + solids[1]).volume(), rel=1e-12)
    assert mended.moved_mm[0] < 1e-6


def test_uniting_keeps_voids_and_what_rattles_in_them():
    """A hollow box, a post through its wall, a die in its void: 1000 - 216 + 8 and the post outside."""
    hollow = union(cube(10), flipped(cube(6, (2, 2, 2))), cube(2, (4, 4, 4)))
    post = TriangleMesh(*box((1, 1, 5), (0.5, 0.5, 8)))
    mended = mend_mesh(union(hollow, post), MendOptions(unite=True))
    assert volume(mended.mesh) == pytest.approx(1000 - 216 + 8 + 3, rel=1e-12)
    assert is_sound(mended.mesh)


def test_what_cannot_be_united_is_said():
    mesh = ball(fineness=1)
    mended = mend_mesh(
        union(mesh, TriangleMesh(mesh.vertices + 3.0, mesh.faces[1:])), MendOptions(unite=True)
    )
    assert mended.not_done == ("not united: the surface is open or branches",)


def test_a_mesh_of_nothing_is_refused():
    with pytest.raises(ValueError, match="without faces"):
        mend_mesh(TriangleMesh(np.zeros((3, 3)), np.zeros((0, 3), dtype=int)))
    with pytest.raises(ValueError, match="nothing would be left"):
        mend_mesh(TriangleMesh(np.zeros((3, 3)), np.array([[0, 1, 2]])))


@pytest.mark.parametrize(
    "bad", [{"weld_mm": -1}, {"fill_holes_up_to_mm": math.nan}, {"drop_shells_below": 1}]
)
def test_options_out_of_range_are_refused(bad):
    with pytest.raises(ValueError, match=r"must be|below 1"):
        MendOptions(**bad)


coordinates = st.one_of(st.integers(0, 3).map(float), st.floats(-1e6, 1e6, allow_nan=False))
soups = st.integers(3, 12).flatmap(
    lambda n: st.tuples(
        hnp.arrays(np.float64, (n, 3), elements=coordinates),
        hnp.arrays(np.int64, st.tuples(st.integers(1, 30), st.just(3)), elements=st.integers(0, n - 1)),
    )
)


@given(soups, st.floats(0, 2), st.floats(0, 50), st.sampled_from([0.0, 0.1]), st.booleans())
@settings(max_examples=300, deadline=None)
def test_no_soup_is_too_thick(soup, weld_mm, fill, drop, unite):
    """Any soup is mended or refused, and mending a second time finds nothing new to weld, drop or turn."""
    options = MendOptions(weld_mm, fill, drop, unite)
    try:
        mended = mend_mesh(TriangleMesh(*soup), options)
    except ValueError:
        return
    assert np.isfinite(mended.mesh.vertices).all()
    assert len(np.unique(mended.mesh.faces)) == len(mended.mesh.vertices)
    assert math.isfinite(mended.moved_mm[0])
    # Nothing but welding moves a vertex; 1e6 mm coordinates leave roundings.
    if not unite and weld_mm == 0:
        assert mended.moved_mm[0] < 1e-2 * 1e6


class TestMoved:
    """By how much a surface moved, against igl's distances of every point to the other surface."""

    def test_as_igl_measures_it(self):
        before = ball()
        vertices = before.vertices.copy()
        moved = np.random.default_rng(1).choice(len(vertices), 20, replace=False)
        vertices[moved] *= 1.01
        distances = [
            np.sqrt(np.maximum(igl.point_mesh_squared_distance(points, surface, before.faces)[0], 0.0))
            for points, surface in ((vertices, before.vertices), (before.vertices, vertices))
        ]
        every = np.concatenate(distances)
        found = measure_moved((before.vertices, before.faces), (vertices, before.faces), False)
        assert found == pytest.approx((every.max(), math.sqrt((every**2).mean())), rel=1e-9)

    def test_points_that_stayed_are_not_searched(self, monkeypatch):
        """Among needles that meet in one corner, the search takes a minute for points that have not moved."""
        searched = []
        search = igl.point_mesh_squared_distance
        monkeypatch.setattr(
            igl,
            "point_mesh_squared_distance",
            lambda *given: (searched.append(len(given[0])), search(*given))[1],
        )
        angle = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
        rim = np.stack([np.cos(angle), np.sin(angle), 0.0 * angle], axis=1)
        fan = np.array([(0, k, k + 1) for k in range(1, 199)])
        assert measure_moved((rim, fan), (rim.copy(), fan), False) == (0.0, 0.0)
        assert searched == []
