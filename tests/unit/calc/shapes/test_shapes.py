"""Solids against the closed form of their volume; areas of outlines against shapely, a polygon library."""

import math

import numpy as np
import pytest
from shapely import Polygon

from dryfit.calc.mesh import measure_mesh
from dryfit.calc.shapes import arc_segment, arched_bar, band, box, prism, round_ring, sweep_quads


def measured(mesh):
    """Measures of a mesh that must be sound: closed, facing outward, without needles."""
    measures = measure_mesh(mesh)
    assert measures.is_closed
    assert measures.is_consistently_oriented
    assert not measures.is_inside_out
    assert (measures.open_edges, measures.nonmanifold_edges, measures.degenerate_faces) == (0, 0, 0)
    return measures


def sector(radius, angle, facets):
    """Area of a sector whose arc is cut into chords: facets triangles with two sides of the radius."""
    return facets / 2 * math.sin(angle / facets) * radius**2


def test_a_box_has_the_volume_of_its_sides():
    measures = measured(box((-1.0, 2.0, 3.0), (4.0, 5.0, 10.0)))
    assert measures.volume_mm3 == pytest.approx(5 * 3 * 7, rel=1e-14)
    np.testing.assert_array_equal(measures.bounds, [[-1, 2, 3], [4, 5, 10]])
    np.testing.assert_allclose(measures.centroid_mm, [1.5, 3.5, 6.5], rtol=1e-14)


@pytest.mark.parametrize(("start", "sweep", "facets"), [(0.0, 60.0, 12), (-30.0, 90.0, 1), (200.0, 270.0, 7)])
def test_a_segment_of_a_ring(start, sweep, facets):
    mesh = arc_segment(480.0, 560.0, 5.0, 45.0, start, sweep, facets)
    angle = math.radians(sweep)
    expected = 40.0 * (sector(560.0, angle, facets) - sector(480.0, angle, facets))
    assert measured(mesh).volume_mm3 == pytest.approx(expected, rel=1e-12)
    # Every vertex lies on one of the two circles, and the ends at the stated angles.
    radius = np.hypot(mesh.vertices[:, 0], mesh.vertices[:, 1])
    assert set(np.round(radius, 9)) == {480.0, 560.0}


def test_six_segments_make_the_ring():
    segments = [measured(arc_segment(480.0, 560.0, 0.0, 40.0, 60.0 * k, 60.0, 6)) for k in range(6)]
    ring = measured(round_ring(480.0, 560.0, 0.0, 40.0, 36))
    assert sum(part.volume_mm3 for part in segments) == pytest.approx(ring.volume_mm3, rel=1e-12)
    assert ring.volume_mm3 == pytest.approx(40.0 * 18 * math.sin(math.pi / 18) * (560**2 - 480**2), rel=1e-12)


def test_a_ring_of_many_facets_nears_the_round_one():
    ring = measured(round_ring(10.0, 20.0, 0.0, 1.0, 2000))
    assert ring.volume_mm3 == pytest.approx(math.pi * 300.0, rel=2e-6)


@pytest.mark.parametrize("leg", [0.0, 84.5])
@pytest.mark.parametrize("side", ["over", "under"])
def test_an_arched_bar(leg, side):
    inner, outer, seat, width, facets = 400.0, 464.0, 60.0, 28.0, 18
    mesh = arched_bar(80.0, inner, outer, leg, seat, side, width, 40.0, facets)
    measures = measured(mesh)
    seated = outer if side == "over" else inner
    angle = math.acos(seat / seated)
    rise = math.sqrt(seated**2 - seat**2)
    areas = {}
    for radius in (inner, outer):
        # Sector to where the seat begins, then a triangle to the tip: level below the seat, else to the arc.
        last = 0.5 * seat * rise if radius == seated else 0.5 * radius**2 * math.cos(angle)
        areas[radius] = sector(radius, angle, facets) + last
    assert measures.volume_mm3 == pytest.approx(
        width * (areas[outer] - areas[inner] + leg * (outer - inner)), rel=1e-12
    )
    low, high = measures.bounds
    np.testing.assert_allclose(low, [80.0, -14.0, 40.0], atol=1e-12)
    assert high[0] == pytest.approx(80.0 + outer)


@pytest.mark.parametrize(("side", "outer"), [("over", 464.0), ("under", 464.0)])
def test_the_seat_of_an_arched_bar_is_level_and_faces_the_right_way(side, outer):
    mesh = arched_bar(80.0, 400.0, outer, 10.0, 60.0, side, 28.0, 40.0, 18)
    corners = mesh.vertices[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1) / 2
    up = normal[:, 2] / (2 * area)
    above_foot = corners[:, :, 2].min(axis=1) > 41.0
    sign = 1.0 if side == "over" else -1.0
    level = above_foot & (sign * up > 1 - 1e-12)
    assert area[level].sum() == pytest.approx(60.0 * 28.0, rel=1e-12)
    radius = outer if side == "over" else 400.0
    np.testing.assert_allclose(corners[level][:, :, 2], 50.0 + math.sqrt(radius**2 - 3600.0), rtol=1e-14)


OUTLINES = {
    "triangle": [[0, 0], [3, 0], [0, 4]],
    "clockwise": [[0, 4], [3, 0], [0, 0]],
    "trough": [[0, 0], [4, 0], [4, 4], [3, 4], [3, 1], [1, 1], [1, 4], [0, 4]],
    "straight corner": [[0, 0], [1, 0], [2, 0], [2, 2], [0, 2]],
    "star": [
        [math.cos(a) * r, math.sin(a) * r]
        for a, r in zip(np.arange(10) * math.pi / 5, [5, 2] * 5, strict=True)
    ],
}


@pytest.mark.parametrize("name", OUTLINES)
def test_a_prism_has_the_area_of_its_outline_times_its_height(name):
    outline = np.array(OUTLINES[name], dtype=float)
    measures = measured(prism(outline, 2.5, z0=-1.0))
    assert measures.volume_mm3 == pytest.approx(2.5 * Polygon(outline).area, rel=1e-12)
    assert (measures.bounds[0, 2], measures.bounds[1, 2]) == (-1.0, 1.5)


def test_a_band_is_the_prism_between_its_lines():
    inner, outer = np.array([[0.0, 0], [0, 5], [-2, 9]]), np.array([[3.0, 0], [4, 5], [1, 11]])
    area = Polygon([*outer, *inner[::-1]]).area
    assert measured(band(inner, outer, 1.0, 3.0)).volume_mm3 == pytest.approx(2.0 * area, rel=1e-13)


@pytest.mark.parametrize(
    "make",
    [
        lambda: box((0, 0, 0), (1, -1, 1)),
        lambda: box((0, 0, 0), (1, 1, 0)),
        lambda: arc_segment(5.0, 4.0, 0.0, 1.0, 0.0, 60.0, 3),
        lambda: arc_segment(4.0, 5.0, 0.0, 1.0, 0.0, 360.0, 3),
        lambda: round_ring(4.0, 5.0, 0.0, 1.0, 2),
        lambda: arched_bar(0.0, 5.0, 4.0, 0.0, 1.0, "over", 1.0, 0.0, 3),
        lambda: arched_bar(0.0, 4.0, 5.0, 0.0, 3.5, "over", 1.0, 0.0, 3),
        lambda: prism(np.array([[0.0, 0], [1, 0]]), 1.0),
        lambda: prism(np.array([[0.0, 0], [1, 0], [2, 0]]), 1.0),
        lambda: prism(np.array([[0.0, 0], [4, 4], [4, 1], [0, 3]]), 1.0),
        lambda: prism(np.array([[0.0, 0], [1, 0], [0, 1]]), 0.0),
        lambda: band(np.zeros((3, 2)), np.zeros((2, 2)), 0.0, 1.0),
        lambda: sweep_quads(np.zeros((1, 4, 3))),
        lambda: sweep_quads(np.zeros((2, 4, 3)), is_loop=True),
    ],
)
def test_what_is_no_solid_is_refused(make):
    with pytest.raises(ValueError):
        make()
