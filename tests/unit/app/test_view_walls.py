"""Walls for the eye, against plates whose thickness is their own size."""

import numpy as np
import pytest

from dryfit.app.view_meshes import make_copy, pack, unpack_surface
from dryfit.app.view_walls import (
    NONE_MM,
    bar_walls,
    divide,
    is_wall,
    mark_widths,
    pack_walls,
    scale_walls,
    share_wall_budget,
)
from dryfit.calc.thickness import thickness_map
from dryfit.model.mesh import TriangleMesh
from support.mesh_files import box


def plate(size=(60.0, 40.0, 2.0)):
    vertices, faces = box(size)
    return TriangleMesh(vertices, faces)


def stepped():
    """60 x 20, 2 mm thick up to x = 30 and 6 mm beyond; its underside is two triangles."""
    outline = np.array([[0, 0], [60, 0], [60, 6], [30, 6], [30, 2], [0, 2]], dtype=np.float64)
    front = np.column_stack([outline[:, 0], np.zeros(6), outline[:, 1]])
    vertices = np.concatenate([front, front + np.array([0.0, 20.0, 0.0])])
    ends = [[0, 1, 2], [0, 2, 3], [0, 3, 4], [0, 4, 5]]
    faces = [*ends, *([6 + c, 6 + b, 6 + a] for a, b, c in ends)]
    for i in range(6):
        j = (i + 1) % 6
        faces += [[i, i + 6, j + 6], [i, j + 6, j]]
    return TriangleMesh(vertices, np.array(faces))


def packed(mesh, most=4000, samples=3000):
    measured = thickness_map(mesh, samples)
    content = pack_walls(mesh.vertices.astype("<f4"), mesh.faces.astype("<u4"), measured, most)
    return np.frombuffer(content, "<f4").reshape(-1, 3, 4).astype(np.float64), measured


def area(corners):
    return (
        np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
        / 2.0
    )


def test_both_sides_of_a_plate_are_as_thick_as_it_is():
    rows, _ = packed(plate())
    height = rows[:, :, 2]
    flat = np.ptp(height, axis=1) == 0.0
    assert flat.sum() > 500
    assert np.allclose(rows[flat][:, :, 3], 2.0, atol=1e-4)


def test_a_step_on_the_far_side_shows_on_two_large_triangles():
    rows, _ = packed(stepped())
    under = rows[(rows[:, :, 2] == 0.0).all(axis=1)].reshape(-1, 4)
    thin, thick = under[under[:, 0] < 27.0], under[under[:, 0] > 33.0]
    assert min(len(thin), len(thick)) > 200
    assert np.allclose(thin[:, 3], 2.0, atol=1e-3)
    assert np.allclose(thick[:, 3], 6.0, atol=1e-3)


def test_division_keeps_the_area_and_stays_within_its_number():
    mesh = plate()
    corners = mesh.vertices[mesh.faces]
    for most in (12, 50, 3000):
        divided = divide(corners, 1.0, most)
        assert len(divided) <= most
        assert np.isclose(area(divided), area(corners))
    fine = divide(corners, 5.0, 100_000)
    assert np.linalg.norm(fine - np.roll(fine, 1, axis=1), axis=2).max() <= 5.0


def test_where_nothing_faces_the_surface_it_says_so():
    """Of a tetrahedron no two faces face one another within 30 degrees."""
    vertices = 20.0 * np.array([[1.0, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]])
    mesh = TriangleMesh(vertices, np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]]))
    rows, measured = packed(mesh, samples=400)
    assert not is_wall(measured).any()
    assert (rows[:, :, 3] == NONE_MM).all()
    assert scale_walls([measured], [0.4]) is None
    # A regular tetrahedron with edges of 20 sqrt(8) mm: its area, sqrt(3) times the square of an edge, is all open.
    flat = thickness_map(plate(), 500)
    bars = bar_walls([measured, flat], scale_walls([flat], [0.4]))
    assert np.isclose(bars.open_mm2, np.sqrt(3.0) * 3200.0)


def test_the_surface_of_a_packed_copy_is_read_back():
    mesh = plate()
    copy = make_copy(mesh.vertices, mesh.faces, 100)
    positions, indices = unpack_surface(pack(copy))
    assert np.array_equal(positions, copy.positions)
    assert np.array_equal(indices, copy.indices)


def test_the_scale_runs_over_round_values_and_holds_the_widths():
    scale = scale_walls([thickness_map(plate(), 500)], [0.45])
    assert scale.ticks_mm == (0.2, 0.5, 1.0, 2.0)
    assert scale.low_mm < 0.45 < 4 * 0.45 <= scale.high_mm
    # Equal ratios equally far apart: 1 lies half-way between 0.5 and 2.
    assert np.isclose(scale.share(1.0), 0.5 * (scale.share(0.5) + scale.share(2.0)))
    assert (scale.share(0.01), scale.share(99.0)) == (0.0, 1.0)


def test_the_bars_hold_the_whole_surface_and_the_thickness_of_the_plate():
    measured = thickness_map(plate(), 2000)
    scale = scale_walls([measured], [0.45])
    bars = bar_walls([measured], scale)
    # 2 x (60 x 40 + 60 x 2 + 40 x 2) = 5200 mm2; 4800 of it are the two sides, in the bar of 2 mm and more.
    assert np.isclose(bars.area_mm2.sum() + bars.open_mm2, 5200.0)
    assert np.allclose(bars.edges_mm[1:] / bars.edges_mm[:-1], (scale.high_mm / scale.low_mm) ** (1.0 / 28.0))
    assert bars.area_mm2[-1] >= 4800.0 * 0.98
    assert bars.area_mm2[:-1].sum() <= 400.0


def test_widths_are_marked_where_they_are_stated():
    assert [mark.wall_mm for mark in mark_widths(0.5)] == [0.5, 1.0, 2.0]
    assert mark_widths(None) == ()


@pytest.mark.parametrize(("parts", "each"), [(1, 20_000), (30, 5_000), (400, 1_000)])
def test_the_budget_is_shared(parts, each):
    assert share_wall_budget(parts) == each
