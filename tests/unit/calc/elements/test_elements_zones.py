"""Minimum zones against brute force over dense directions and centres, and against a linear programme."""

import math

import numpy as np
import pytest
from scipy.optimize import linprog, minimize

from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import fit_circle, fit_plane, minimum_zone_circularity, minimum_zone_flatness
from support.elements import Turned, cylinder, sphere


def ball(count):
    directions = np.random.default_rng(0).normal(size=(count, 3))
    return directions / np.linalg.norm(directions, axis=1)[:, None]


def slab_by_linear_programme(points):
    """Least vertical extent over all planes z = a x + b y + c, as a width along the normal (scipy's HiGHS).

    On a nearly flat face in its own frame it is the narrowest slab but for the square of its slope.
    """
    x, y, z = points.T
    one = np.ones(len(points))
    rows = np.vstack([np.column_stack([x, y, one, -one]), np.column_stack([-x, -y, -one, -one])])
    done = linprog(
        [0, 0, 0, 1], A_ub=rows, b_ub=np.concatenate([z, -z]), bounds=[(None, None)] * 3 + [(0, None)]
    )
    a, b, _, half = done.x
    return 2.0 * half / math.sqrt(1.0 + a * a + b * b)


@pytest.mark.parametrize("seed", range(4))
def test_the_flatness_of_a_rough_face(seed) -> None:
    draws = np.random.default_rng(seed)
    face = np.column_stack([draws.uniform(0, 80, 300), draws.uniform(0, 15, 300), draws.normal(0, 0.02, 300)])
    turned = Turned(seed)
    zone = minimum_zone_flatness(turned.points(face))
    assert zone.width_mm == pytest.approx(slab_by_linear_programme(face), abs=1e-7)
    assert zone.width_mm <= fit_plane(face).width_mm
    heights = (turned.points(face) - zone.point_mm) @ zone.normal
    assert [heights.min(), heights.max()] == pytest.approx([-zone.width_mm / 2, zone.width_mm / 2], abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_the_least_thickness_of_a_lump(seed) -> None:
    """Against a search from many directions with scipy: not above any of them, and equal to the least."""
    draws = np.random.default_rng(seed)
    lump = draws.normal(size=(12, 3)) * [3.0, 2.0, 1.5]

    def width(direction):
        return float(np.ptp(lump @ direction)) / float(np.linalg.norm(direction))

    directions = draws.normal(size=(20000, 3))
    widths = np.ptp(lump @ directions.T, axis=0) / np.linalg.norm(directions, axis=1)
    found = [
        minimize(width, directions[k], method="Nelder-Mead", options={"xatol": 1e-10, "fatol": 1e-12}).fun
        for k in np.argsort(widths)[:15]
    ]
    assert minimum_zone_flatness(lump).width_mm == pytest.approx(min(found), rel=1e-6)


def test_a_box_is_as_thin_as_its_least_side() -> None:
    box = np.array([[x, y, z] for x in (0, 7.0) for y in (0, 5.0) for z in (0, 3.0)])
    turned = Turned(2)
    zone = minimum_zone_flatness(turned.points(box))
    assert zone.width_mm == pytest.approx(3.0, rel=1e-12)
    assert abs(zone.normal @ turned.axis) == pytest.approx(1.0)


def test_a_dome_of_many_corners() -> None:
    # every vertex is a corner of the hull; the slab lies on the rim
    points = sphere(100, 20, 60)[0]
    expected = float(np.ptp(points[:, 2]))
    assert minimum_zone_flatness(points).width_mm == pytest.approx(expected, rel=1e-9)


def test_a_flat_face_has_no_flatness_to_speak_of() -> None:
    flat = np.array([[0.0, 0, 0], [50, 0, 0], [50, 20, 0], [0, 20, 0], [10, 5, 0]])
    assert minimum_zone_flatness(Turned(1).points(flat)).width_mm < 1e-11
    assert minimum_zone_flatness(flat[:3]).width_mm == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_the_circularity_of_a_rough_round(seed) -> None:
    """Against a search from many centres with scipy: equal to the least that it finds."""
    draws = np.random.default_rng(seed)
    angle = draws.uniform(0, 2 * math.pi, 60)
    away = 20 + draws.normal(0, 0.05, 60) + 0.1 * np.cos(3 * angle)
    points = np.column_stack([away * np.cos(angle) + 70, away * np.sin(angle) - 40])

    def width(centre):
        return float(np.ptp(np.linalg.norm(points - centre, axis=1)))

    start = fit_circle(points).centre
    found = [
        minimize(width, start + draws.normal(0, 0.1, 2), method="Nelder-Mead", options={"xatol": 1e-10}).fun
        for _ in range(12)
    ]
    centre, ours = minimum_zone_circularity(points)
    assert ours == pytest.approx(width(centre), abs=1e-12)
    assert ours == pytest.approx(min(found), abs=1e-7)
    assert ours <= width(start)


def test_an_ellipse_is_out_of_round_by_the_difference_of_its_half_axes() -> None:
    angle = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    centre, width = minimum_zone_circularity(np.column_stack([30.2 * np.cos(angle), 29.9 * np.sin(angle)]))
    assert width == pytest.approx(0.3, abs=1e-9)
    assert centre == pytest.approx([0, 0], abs=1e-9)


def test_an_exact_round_and_a_triangle_have_none() -> None:
    assert minimum_zone_circularity(cylinder(25, 1, 360, 17, 1)[0][:, :2])[1] < 1e-11
    assert minimum_zone_circularity(np.array([[0.0, 0], [4, 0], [0, 4]]))[1] < 1e-11


def test_refusals() -> None:
    line = np.outer(np.arange(6.0), [1.0, 2, 3])
    with pytest.raises(ComputationRefused, match="one line"):
        minimum_zone_flatness(line)
    with pytest.raises(ComputationRefused, match="line"):
        minimum_zone_circularity(line[:, :2])
    with pytest.raises(ComputationRefused, match="at least 3"):
        minimum_zone_flatness(line[:2])
    with pytest.raises(ComputationRefused, match="round on all sides"):
        minimum_zone_flatness(ball(3000))
