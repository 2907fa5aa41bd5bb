"""How corners move under a boundary offset, against polygons grown with mitred corners (shapely) and planes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from dryfit.calc.compensate import outline_motion
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import box
from support.shapes import revolved

# Offsets of a nanometre and less are below what polygons are compared with.
OFFSETS = st.floats(-0.4, 0.4).filter(lambda offset: offset == 0.0 or abs(offset) > 1e-6)


def prism(outer, holes, height):
    """A plate with upright faces: outline and holes as lists of points."""
    import trimesh

    mesh = trimesh.creation.extrude_polygon(Polygon(outer, holes), height)
    mesh.merge_vertices()
    return TriangleMesh(np.asarray(mesh.vertices), np.asarray(mesh.faces))


def circle(radius, sides, middle=(0.0, 0.0)):
    turns = 2 * np.pi * np.arange(sides) / sides
    return np.column_stack([middle[0] + radius * np.cos(turns), middle[1] + radius * np.sin(turns)])


def section(mesh, vertices, height):
    """The outline of a mesh in a level slice, as a polygon of the general-purpose library."""
    import trimesh

    body = trimesh.Trimesh(vertices, mesh.faces, process=False)
    path = body.section(plane_origin=[0, 0, height], plane_normal=[0, 0, 1])
    rings = [Polygon(points[:, :2]) for points in path.discrete]
    rings.sort(key=lambda ring: -ring.area)
    return Polygon(rings[0].exterior, [ring.exterior for ring in rings[1:]])


@settings(max_examples=25, deadline=None)
@given(OFFSETS, st.integers(3, 40), st.floats(0.3, 0.95))
def test_an_upright_body_grows_as_its_outline_with_mitred_corners(offset, sides, dent):
    ring = circle(40.0, 2 * sides)
    ring[::2] *= dent  # a star: corners that point in as well as out
    mesh = prism(ring, [circle(8.0, 24)], 30.0)
    outline = outline_motion(mesh.vertices, mesh.faces)
    grown = mesh.vertices + offset * outline.motion
    expected = Polygon(ring, [circle(8.0, 24)]).buffer(offset, join_style="mitre", mitre_limit=1000.0)
    if outline.longest > 20.0 or expected.geom_type != "Polygon":
        return  # a needle whose tip has run away, which both would cut
    assert outline.is_exact.all()
    found = section(mesh, grown, 15.0)
    assert found.symmetric_difference(expected).area < 1e-6
    assert grown[:, 2] == pytest.approx(mesh.vertices[:, 2], abs=1e-9)


@pytest.mark.parametrize("offset", [0.05, 0.2])
def test_a_hole_of_ten_millimetres_made_up_for_prints_at_ten(offset):
    sides = 64
    mesh = prism([(-20, -20), (20, -20), (20, 20), (-20, 20)], [circle(5.0, sides)], 6.0)
    copy = mesh.vertices - offset * outline_motion(mesh.vertices, mesh.faces).motion
    hole = section(mesh, copy, 3.0).interiors[0]
    radii = np.linalg.norm(np.array(hole.coords), axis=1)
    # every facet lies further out by the offset, and its corners by offset / cos(pi / n)
    assert radii.max() == pytest.approx(5.0 + offset / np.cos(np.pi / sides), abs=1e-9)
    assert radii.min() == pytest.approx(5.0 * np.cos(np.pi / sides) + offset, abs=1e-9)
    printed = copy + offset * outline_motion(copy, mesh.faces).motion
    across = 2.0 * np.linalg.norm(np.array(section(mesh, printed, 3.0).interiors[0].coords), axis=1)
    assert across.max() == pytest.approx(10.0, abs=1e-9)
    assert across.min() == pytest.approx(10.0 * np.cos(np.pi / sides), abs=1e-9)
    # what the facets leave: apothem r cos(pi / n), faceted circle of published-checks.md
    assert 10.0 - 10.0 * np.cos(np.pi / sides) < 0.013


@settings(max_examples=30, deadline=None)
@given(OFFSETS, st.floats(5.0, 60.0), st.integers(6, 48))
def test_a_cone_grows_in_every_slice_by_the_offset(offset, top, sides):
    mesh = revolved([50.0, top], [0.0, 40.0], sides)
    outline = outline_motion(mesh.vertices, mesh.faces)
    grown = mesh.vertices + offset * outline.motion
    assert outline.is_exact.all()
    for height in (5.0, 20.0, 35.0):
        before, after = section(mesh, mesh.vertices, height), section(mesh, grown, height)
        expected = before.buffer(offset, join_style="mitre", mitre_limit=100.0)
        assert after.symmetric_difference(expected).area < 1e-5


def test_level_faces_stay_where_they_are():
    vertices, faces = (np.asarray(a) for a in box((30.0, 20.0, 10.0)))
    motion = outline_motion(vertices.astype(float), faces).motion
    outward = np.sign(vertices - vertices.mean(axis=0))
    assert motion == pytest.approx(outward * [1.0, 1.0, 0.0])


def test_how_a_face_is_cut_into_triangles_has_no_say():
    mesh = prism([(0, 0), (40, 0), (40, 25), (0, 25)], [circle(5.0, 12, (12.0, 12.0))], 9.0)
    other = TriangleMesh(mesh.vertices, triangulated_anew(mesh))
    one, two = (outline_motion(m.vertices, m.faces).motion for m in (mesh, other))
    assert one == pytest.approx(two, abs=1e-9)


def triangulated_anew(mesh):
    """Each pair of coplanar triangles that share an edge with its other diagonal, where that is sound."""
    faces = mesh.faces.copy()
    normals = np.cross(*(mesh.vertices[faces[:, i]] - mesh.vertices[faces[:, 0]] for i in (1, 2)))
    upright = np.flatnonzero(np.abs(normals[:, 2]) < 1e-9)
    done: set[int] = set()
    for a in upright:
        for b in upright:
            shared = set(faces[a]) & set(faces[b])
            if a < b and len(shared) == 2 and not {a, b} & done:
                if np.linalg.norm(np.cross(normals[a], normals[b])) > 1e-6 * np.linalg.norm(normals[a]):
                    continue
                start = next(i for i in range(3) if faces[a][i] not in shared)
                p, q, r = np.roll(faces[a], -start)
                s = next(v for v in faces[b] if v not in shared)
                faces[a], faces[b] = [p, q, s], [p, s, r]
                done |= {int(a), int(b)}
    assert done
    return faces


def test_a_corner_that_four_slopes_share_has_no_exact_place_and_is_reported():
    base = np.array([[-20.0, -10, 0], [20, -10, 0], [20, 10, 0], [-20, 10, 0], [5.0, 2.0, 15.0]])
    faces = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4], [0, 2, 1], [0, 3, 2]])
    outline = outline_motion(base, faces)
    assert outline.is_exact.tolist() == [True] * 4 + [False]
    assert outline.residual[4] > 0.01


def test_four_equal_slopes_that_share_a_corner_do_have_one():
    base = np.array([[-10.0, -10, 0], [10, -10, 0], [10, 10, 0], [-10, 10, 0], [0.0, 0.0, 10.0]])
    faces = np.array([[0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4], [0, 2, 1], [0, 3, 2]])
    outline = outline_motion(base, faces)
    assert outline.is_exact.all()
    assert outline.motion[4] == pytest.approx([0.0, 0.0, 1.0])  # slopes of 45 degrees: as far up as out


def test_faces_without_area_are_passed_over():
    mesh = prism([(0, 0), (40, 0), (40, 25), (0, 25)], [], 9.0)
    faces = np.vstack([mesh.faces, [[0, 1, 1]]])
    assert outline_motion(mesh.vertices, faces).motion == pytest.approx(
        outline_motion(mesh.vertices, mesh.faces).motion
    )
