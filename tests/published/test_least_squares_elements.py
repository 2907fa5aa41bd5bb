"""Least-squares elements against closed forms, the circle of Gander, Golub and Strebel, and scipy.

Closed forms: vertices on elements of known size at several tessellations, turned and shifted at random; what is
recovered must be what was built. The library: scipy.optimize.least_squares on the same noisy points, with the
distance written out anew in other unknowns (axis by its two angles, a cone by its apex), its covariance from its own
numerical derivatives. Circle: BIT 34 (1994) 558 (memory; reproduces, text not seen).
"""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from dryfit.calc.elements import (
    chord_error_mm,
    fit_circle,
    fit_circle_algebraic,
    fit_cone,
    fit_cylinder,
    fit_plane,
    fit_sphere,
    fit_torus,
)
from published.registry import check
from support.elements import Turned, apart, cone, cylinder, sphere, torus

CLOSED = "Elements of known size, closed form"
GANDER = "Gander, Golub, Strebel 1994"
LIBRARY = "scipy.optimize.least_squares on noisy elements"
POINTS = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], dtype=float)
ROUNDS = [(360, 6), (360, 16), (360, 64), (180, 9), (90, 7), (30, 6), (10, 5)]
STARTS = (1, 2, 3)


def built(body, seed):
    turned = Turned(seed)
    return turned, turned.points(body[0]), turned.normals(body[1])


def held(quantity: str, theirs: float, ours: float, unit: str = "mm") -> None:
    check(CLOSED, quantity, theirs, ours, 1e-9 * abs(theirs), seen=False, unit=unit)


def test_geometric_circle() -> None:
    fit = fit_circle(POINTS)
    check(GANDER, "centre x, of many points", 4.7398, fit.centre[0], 5e-5, seen=False)
    check(GANDER, "centre y, of many points", 2.9835, fit.centre[1], 5e-5, seen=False)
    check(GANDER, "radius, of many points", 4.7142, fit.radius, 5e-5, seen=False)
    squares = float(fit.residuals @ fit.residuals)
    check(GANDER, "sum of squares, of many points", 1.22760, squares, 5e-6, seen=False)


@pytest.mark.parametrize(("arc", "sides"), ROUNDS)
def test_circles(arc, sides) -> None:
    points = cylinder(37.5, 1, arc, sides, 1)[0][:, :2] + [120.0, -80.0]
    fit = fit_circle(points)
    held(f"circle, radius, {arc} degrees in {sides}", 37.5, fit.radius)
    assert fit.centre == pytest.approx([120.0, -80.0], rel=1e-9)
    assert fit.arc_deg == pytest.approx(arc)
    centre, radius = fit_circle_algebraic(points)
    assert radius == pytest.approx(37.5, rel=1e-9)
    assert centre == pytest.approx([120.0, -80.0], rel=1e-9)


@pytest.mark.parametrize("seed", STARTS)
@pytest.mark.parametrize(("arc", "sides"), ROUNDS)
def test_cylinders(arc, sides, seed) -> None:
    turned, points, normals = built(cylinder(12.5, 30, arc, sides, 3), seed)
    fit = fit_cylinder(points, normals)
    held(f"cylinder, radius, {arc} degrees in {sides}", 12.5, fit.radius_mm)
    held(f"cylinder, length, {arc} degrees in {sides}", 30.0, fit.length_mm)
    assert apart(fit.axis, turned.axis) < 1e-9
    assert fit.point_mm == pytest.approx(turned.shift, rel=1e-9, abs=1e-8)
    assert fit.arc_deg == pytest.approx(arc)
    assert fit.rms_mm < 1e-11


@pytest.mark.parametrize("seed", STARTS)
@pytest.mark.parametrize(("cap", "rings"), [(360, 4), (360, 20), (180, 8), (60, 6), (10, 5)])
def test_spheres(cap, rings, seed) -> None:
    turned, points, normals = built(sphere(20.0, cap, rings), seed)
    fit = fit_sphere(points, normals)
    held(f"sphere, radius, cap of {cap} degrees in {rings}", 20.0, fit.radius_mm)
    assert fit.centre_mm == pytest.approx(turned.shift, rel=1e-9, abs=1e-8)
    if cap < 360:
        assert fit.cap_deg == pytest.approx(cap)


@pytest.mark.parametrize("seed", STARTS)
@pytest.mark.parametrize(("arc", "sides"), ROUNDS)
@pytest.mark.parametrize("half", [1.0, 30.0, 80.0])
def test_cones(half, arc, sides, seed) -> None:
    turned, points, normals = built(cone(half, 10, 40, arc, sides, 3), seed)
    fit = fit_cone(points, normals)
    held(f"cone, half angle {half:g}, {arc} degrees in {sides}", half, fit.half_angle_deg, "deg")
    assert fit.apex_mm == pytest.approx(turned.shift, rel=1e-9, abs=1e-7)
    assert fit.axis == pytest.approx(turned.axis, abs=1e-9)
    assert fit.length_mm == pytest.approx(30.0, rel=1e-9)
    assert fit.arc_deg == pytest.approx(arc)


@pytest.mark.parametrize("seed", STARTS)
@pytest.mark.parametrize(
    ("arc", "sides", "tube", "rows"),
    [(360, 12, 360, 8), (90, 7, 360, 12), (360, 48, 90, 6), (60, 8, 60, 8), (15, 6, 30, 6)],
)
def test_tori(arc, sides, tube, rows, seed) -> None:
    turned, points, normals = built(torus(30.0, 8.0, arc, sides, tube, rows), seed)
    fit = fit_torus(points, normals)
    held(f"torus, ring radius, {arc} by {tube} degrees", 30.0, fit.ring_radius_mm)
    held(f"torus, tube radius, {arc} by {tube} degrees", 8.0, fit.tube_radius_mm)
    assert fit.centre_mm == pytest.approx(turned.shift, rel=1e-9, abs=1e-8)
    assert apart(fit.axis, turned.axis) < 1e-9
    assert fit.ring_arc_deg == pytest.approx(arc)
    assert fit.tube_arc_deg == pytest.approx(tube)


@pytest.mark.parametrize("seed", STARTS)
def test_distance_of_two_planes(seed) -> None:
    corners = np.array([[x, y, z] for z in (0.0, 42.0) for x in (0, 60.0) for y in (0, 25.0)])
    points = Turned(seed).points(corners)
    first, second = fit_plane(points[:4]), fit_plane(points[4:])
    held("distance of two planes", 42.0, abs((second.point_mm - first.point_mm) @ first.normal))


@pytest.mark.parametrize("sides", [6, 16, 64])
def test_chord_error(sides) -> None:
    apothem = 25.0 * math.cos(math.pi / sides)
    ours = 25.0 - chord_error_mm(25.0, 2.0 * math.pi / sides)
    check(
        "Faceted circle, apothem r cos(pi/n)",
        f"by chord error, {sides} sides",
        apothem,
        ours,
        1e-12,
        seen=False,
        unit="mm",
    )


def rough(body, seed):
    points, normals = body
    return points + np.random.default_rng(seed).normal(0, 0.02, (len(points), 1)) * normals, normals


def by_library(distance, start):
    """Least squares of a distance by scipy: the unknowns, and their std from its derivatives."""
    done = least_squares(distance, start, xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale="jac", jac="3-point")
    variance = 2.0 * done.cost / (len(done.fun) - len(start))
    return done.x, np.sqrt(np.diag(variance * np.linalg.inv(done.jac.T @ done.jac)))


def agrees(quantity: str, theirs: float, ours: float, unit: str = "mm") -> None:
    check(LIBRARY, quantity, theirs, ours, 1e-6 * max(1.0, abs(theirs)), seen=True, unit=unit)


def test_a_rough_cylinder_against_a_library() -> None:
    points, normals = rough(cylinder(12.5, 30, 70, 9, 5), 1)

    def distance(v):
        axis = np.array([math.sin(v[2]), math.sin(v[3]), 1.0])
        axis /= np.linalg.norm(axis)
        return np.linalg.norm(np.cross(points - [v[0], v[1], 0.0], axis), axis=1) - v[4]

    theirs, std = by_library(distance, [0.1, 0.1, 0.0, 0.0, 12.0])
    fit = fit_cylinder(points, normals)
    agrees("cylinder, radius", theirs[4], fit.radius_mm)
    agrees("cylinder, std of the radius", std[4], fit.std.radius_mm)
    agrees("cylinder, lean", math.sin(theirs[2]), fit.axis[0] / fit.axis[2], "-")


def test_a_rough_sphere_against_a_library() -> None:
    points, normals = rough(sphere(20, 60, 6), 2)
    theirs, std = by_library(lambda v: np.linalg.norm(points - v[:3], axis=1) - v[3], [0, 0, 1.0, 19.0])
    fit = fit_sphere(points, normals)
    agrees("sphere, radius", theirs[3], fit.radius_mm)
    agrees("sphere, std of the radius", std[3], fit.std.radius_mm)
    agrees("sphere, centre z", theirs[2], fit.centre_mm[2])


def test_a_rough_cone_against_a_library() -> None:
    points, normals = rough(cone(25, 10, 40, 140, 12, 5), 3)

    def distance(v):
        axis = np.array([v[3], v[4], 1.0]) / math.sqrt(v[3] ** 2 + v[4] ** 2 + 1.0)
        along = (points - v[:3]) @ axis
        away = np.linalg.norm(np.cross(points - v[:3], axis), axis=1)
        return away * math.cos(v[5]) - along * math.sin(v[5])

    theirs, std = by_library(distance, [0, 0, 0, 0, 0, 0.4])
    fit = fit_cone(points, normals)
    agrees("cone, half angle", math.degrees(theirs[5]), fit.half_angle_deg, "deg")
    agrees("cone, std of the half angle", math.degrees(std[5]), fit.std.half_angle_deg, "deg")
    agrees("cone, apex z", theirs[2], fit.apex_mm[2])


def test_a_rough_torus_against_a_library() -> None:
    points, normals = rough(torus(30, 8, 100, 12, 150, 9), 4)

    def distance(v):
        axis = np.array([v[3], v[4], 1.0]) / math.sqrt(v[3] ** 2 + v[4] ** 2 + 1.0)
        along = (points - v[:3]) @ axis
        away = np.linalg.norm(np.cross(points - v[:3], axis), axis=1)
        return np.hypot(away - v[5], along) - v[6]

    theirs, std = by_library(distance, [0, 0, 0, 0, 0, 29.0, 7.0])
    fit = fit_torus(points, normals)
    agrees("torus, ring radius", theirs[5], fit.ring_radius_mm)
    agrees("torus, tube radius", theirs[6], fit.tube_radius_mm)
    agrees("torus, std of the ring radius", std[5], fit.std.ring_radius_mm)
