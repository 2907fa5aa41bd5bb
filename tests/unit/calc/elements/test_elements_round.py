"""Curved elements: what is refused, what std is worth (Monte Carlo), and what the normals tell."""

import math

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.elements import fit_circle, fit_cone, fit_cylinder, fit_sphere, fit_torus
from support.elements import Turned, apart, cone, cylinder, sphere, torus

NOISE = 0.01


def noisy(body, draws):
    """Points with noise along their normals, and the normals."""
    points, normals = body
    return points + NOISE * draws.normal(size=(len(points), 1)) * normals, normals


def scatter_against_std(fit, body, read, times=150):
    """Bias over its own standard error, and scatter over predicted std, of each figure that is read."""
    draws = np.random.default_rng(7)
    rows = [read(fit(*noisy(body, draws))) for _ in range(times)]
    values, stds = np.array([row[0] for row in rows]), np.array([row[1] for row in rows])
    scatter = values.std(axis=0)
    bias = values.mean(axis=0) / (scatter / math.sqrt(times))
    return bias, scatter / np.sqrt((stds**2).mean(axis=0))


def tilt(axis, along):
    """Lean [deg] of a nearly vertical axis along x (0) or y (1)."""
    return math.degrees(axis[along] / axis[2])


def read_cylinder(fit):
    foot = fit.point_mm - fit.axis * fit.point_mm[2] / fit.axis[2]
    return (
        [fit.radius_mm - 10, foot[0], tilt(fit.axis, 1)],
        [fit.std.radius_mm, fit.std.position_mm, fit.std.axis_deg],
    )


@pytest.mark.parametrize("arc", [360, 60, 12])
def test_the_std_of_a_cylinder_is_its_scatter(arc) -> None:
    # an arc is symmetric about x: its position is open along x, its lean along y where it is short
    bias, ratio = scatter_against_std(fit_cylinder, cylinder(10, 30, arc, 12, 6), read_cylinder)
    assert np.abs(bias).max() < 4.0
    assert ratio[:2] == pytest.approx(1.0, abs=0.15)
    if arc == 360:
        assert ratio[2] == pytest.approx(1.0, abs=0.15)
    else:
        assert ratio[2] < 1.15


def test_the_std_of_a_sphere_is_its_scatter() -> None:
    def read(fit):
        return (
            [fit.radius_mm - 10, fit.centre_mm[2]],
            [fit.std.radius_mm, fit.std.position_mm],
        )

    bias, ratio = scatter_against_std(fit_sphere, sphere(10, 40, 8), read)
    assert np.abs(bias).max() < 4.0
    assert ratio == pytest.approx(1.0, abs=0.15)


def test_the_std_of_a_cone_is_its_scatter() -> None:
    def read(fit):
        return (
            [fit.half_angle_deg - 25, fit.apex_mm[2], tilt(fit.axis, 0)],
            [fit.std.half_angle_deg, fit.std.apex_mm, fit.std.axis_deg],
        )

    bias, ratio = scatter_against_std(fit_cone, cone(25, 10, 30, 90, 12, 5), read)
    assert np.abs(bias).max() < 4.0
    assert ratio == pytest.approx(1.0, abs=0.15)


def test_the_std_of_a_torus_is_its_scatter() -> None:
    def read(fit):
        return (
            [fit.ring_radius_mm - 30, fit.tube_radius_mm - 8, fit.centre_mm[0]],
            [fit.std.ring_radius_mm, fit.std.tube_radius_mm, fit.std.position_mm],
        )

    bias, ratio = scatter_against_std(fit_torus, torus(30, 8, 90, 12, 160, 8), read)
    assert np.abs(bias).max() < 4.0
    assert ratio == pytest.approx(1.0, abs=0.15)


def test_the_std_of_a_circle_is_its_scatter() -> None:
    def read(fit):
        return [fit.radius - 10, fit.centre[0]], [fit.std.radius, fit.std.position]

    points, normals = cylinder(10, 1, 15, 100, 1)
    bias, ratio = scatter_against_std(
        lambda points, normals: fit_circle(points), (points[:, :2], normals[:, :2]), read
    )
    assert np.abs(bias).max() < 4.0
    assert ratio == pytest.approx(1.0, abs=0.15)


def test_a_short_arc_knows_its_radius_less() -> None:
    draws = np.random.default_rng(2)
    stds = [fit_cylinder(*noisy(cylinder(10, 30, arc, 40, 10), draws)).std.radius_mm for arc in (360, 90, 20)]
    assert stds[0] < 0.2 * stds[1] < 0.02 * stds[2] * 20


def test_three_points_of_a_circle_do_not_tell_their_noise() -> None:
    fit = fit_circle(np.array([[5.0, 0.0], [0.0, 5.0], [-5.0, 0.0]]))
    assert fit.radius == pytest.approx(5.0, rel=1e-12)
    assert math.isinf(fit.std.radius)
    assert math.isinf(fit.std.position)
    assert fit.arc_deg == pytest.approx(180.0)


def test_normals_tell_a_bore_from_a_boss() -> None:
    for fit, (points, normals) in (
        (fit_cylinder, cylinder(10, 30, 120, 12, 3)),
        (fit_sphere, sphere(10, 90, 5)),
        (fit_cone, cone(25, 10, 30, 120, 12, 3)),
        (fit_torus, torus(30, 8, 90, 12, 160, 8)),
    ):
        assert not fit(points, normals).is_hollow
        assert fit(points, -normals).is_hollow


def test_rough_normals_do_not_change_the_result() -> None:
    points, normals = cylinder(10, 30, 90, 24, 5)
    rough = normals + np.random.default_rng(3).normal(0, 0.5, normals.shape)
    assert fit_cylinder(points, rough).radius_mm == pytest.approx(10.0, rel=1e-9)


def test_the_corners_of_a_box_are_taken_as_the_normals_say() -> None:
    # three cylinders go through them; the wrong ones are as exact
    corners = np.array([[x, y, z] for x in (-3.0, 3) for y in (-4.0, 4) for z in (-12.0, 12)])
    normals = corners * [1, 1, 0]
    fit = fit_cylinder(corners, normals)
    assert fit.radius_mm == pytest.approx(5.0)
    assert abs(fit.axis[2]) == pytest.approx(1.0)
    assert fit.length_mm == pytest.approx(24.0)


def test_residuals_are_distances_from_the_element() -> None:
    points, normals = cylinder(10, 30, 360, 24, 6)
    raised = points.copy()
    raised[30] += 0.5 * normals[30]
    fit = fit_cylinder(raised, normals)
    away = raised - fit.point_mm
    away -= np.outer(away @ fit.axis, fit.axis)
    assert fit.residuals_mm == pytest.approx(np.linalg.norm(away, axis=1) - fit.radius_mm, abs=1e-12)
    assert fit.rms_mm == pytest.approx(math.sqrt(np.mean(fit.residuals_mm**2)))
    assert fit.residuals_mm.argmax() == 30


def test_a_hundred_thousand_points_are_all_counted() -> None:
    # every fourth point stands out by 0.04: the radius rises by the mean, 0.01
    points, normals = cylinder(10, 30, 360, 1000, 100)
    out = np.where(np.arange(len(points)) % 4 == 0, 0.04, 0.0)
    fit = fit_cylinder(points + out[:, None] * normals, normals)
    assert fit.radius_mm == pytest.approx(10.01, abs=1e-6)


@pytest.mark.parametrize(
    ("fit", "body", "reason"),
    [
        (fit_cylinder, cylinder(1000, 30, 2, 12, 4), "degrees round"),
        (fit_sphere, sphere(1000, 2, 6), "degrees round"),
        (fit_cone, cone(30, 500, 530, 2, 12, 4), "degrees round"),
        (fit_torus, torus(300, 8, 2, 12, 160, 8), "degrees round"),
        (fit_torus, torus(30, 8, 90, 12, 2, 8), "degrees round"),
        (fit_cylinder, cylinder(10, 30, 360, 24, 1), "one plane"),
        (fit_sphere, cylinder(10, 30, 360, 24, 1), "one plane"),
        (fit_cone, cylinder(10, 30, 360, 24, 1), "one plane"),
        (fit_torus, cylinder(10, 30, 360, 24, 1), "one plane"),
        (fit_cylinder, cylinder(10, 30, 360, 2, 2), "at least 6 points"),
        (fit_cylinder, cylinder(10, 30, 40, 2, 5), "one plane"),
        (fit_cone, cylinder(10, 30, 360, 24, 4), "cannot be told from none"),
    ],
)
def test_what_the_points_do_not_determine_is_refused(fit, body, reason) -> None:
    turned = Turned(4)
    with pytest.raises(ComputationRefused, match=reason):
        fit(turned.points(body[0]), turned.normals(body[1]))


def test_noise_over_a_short_arc_is_refused() -> None:
    # the bulge of eight degrees is 0.024 mm
    points, normals = cylinder(10, 30, 8, 8, 3)
    rough = points + 0.02 * np.random.default_rng(1).normal(size=(len(points), 1)) * normals
    with pytest.raises(ComputationRefused, match="known only"):
        fit_cylinder(rough, normals)


def test_a_torus_on_the_points_of_a_sphere_is_refused() -> None:
    with pytest.raises(ComputationRefused):
        fit_torus(*sphere(10, 300, 9))


def test_circles_refuse_lines_and_short_arcs() -> None:
    line = np.column_stack([np.arange(5.0), 2 * np.arange(5.0)])
    with pytest.raises(ComputationRefused, match="one line"):
        fit_circle(line)
    with pytest.raises(ComputationRefused, match="degrees round"):
        fit_circle(cylinder(100, 1, 2.5, 9, 1)[0][:, :2])
    with pytest.raises(ComputationRefused, match="at least 3"):
        fit_circle(line[:2])


def test_a_clean_mesh_in_single_precision_is_fitted_to_its_rounding() -> None:
    turned = Turned(5)
    points, normals = cylinder(10, 30, 360, 32, 2)
    stored = turned.points(points).astype(np.float32).astype(float)
    fit = fit_cylinder(stored, turned.normals(normals))
    assert fit.radius_mm == pytest.approx(10.0, abs=2e-5)
    assert apart(fit.axis, turned.axis) < 1e-5
