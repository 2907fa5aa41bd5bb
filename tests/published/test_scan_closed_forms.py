"""Deviation maps with an answer known beforehand: a sphere that is larger all round, and a bar that is bent.

A bar of length L bent to a radius R stands off its straight model by x^2 / (2 R); laid on it by best fit it keeps
x^2 / (2 R) - L^2 / (24 R), whose root mean square is L^2 / (2 R sqrt(180)), and whose ends stand L^2 / (12 R) off.
"""

import math

import numpy as np
import pytest

from dryfit.calc.scans import (
    NominalSurface,
    RigidMotion,
    deviate_points,
    map_deviations,
    refine_pose,
    summarise,
    weigh_pose,
)
from dryfit.model.mesh import TriangleMesh
from published.registry import check
from support.scans import box, mesh_of

SOURCE = "Deviation map, closed form"
STILL = RigidMotion(np.eye(3), np.zeros(3))


def sphere(radius: float, rings: int) -> TriangleMesh:
    import trimesh

    made = trimesh.creation.icosphere(subdivisions=rings, radius=radius)
    return TriangleMesh(np.array(made.vertices), np.array(made.faces, dtype=np.int64))


def directions(count: int) -> np.ndarray:
    draw = np.random.default_rng(4).normal(size=(count, 3))
    return draw / np.linalg.norm(draw, axis=1)[:, None]


@pytest.mark.parametrize("offset_mm", [0.3, -0.3])
def test_a_sphere_that_is_larger_or_smaller_all_round(offset_mm: float) -> None:
    mesh = sphere(50.0, 5)
    surface = NominalSurface(mesh)
    points = (50.0 + offset_mm) * directions(60_000)
    found = deviate_points(surface, points, STILL, 3.0)
    information = weigh_pose(surface, points, STILL, 0.2)
    figures = summarise(map_deviations(surface, found, information))
    # Facets lie up to 0.02 mm inside the sphere, a third of that in the mean.
    check(SOURCE, f"mean, sphere {offset_mm:+g} mm", offset_mm, figures.mean_mm, 0.012, seen=False, unit="mm")
    check(SOURCE, f"rms, sphere {offset_mm:+g} mm", 0.3, figures.rms_mm, 0.012, seen=False, unit="mm")
    assert figures.covered > 0.97
    assert abs(information.scale - 1.0 - offset_mm / 50.0) < 3e-4


def test_a_bent_bar_laid_on_its_straight_model() -> None:
    length, radius = 300.0, 20_000.0
    surface = NominalSurface(mesh_of(box((length, 20, 10))))
    points, _, _ = surface.sample(40_000, 3)
    bent = points.copy()
    bent[:, 2] += points[:, 0] ** 2 / (2 * radius)
    best = RigidMotion(np.eye(3), np.array([0.0, 0.0, -(length**2) / (24 * radius)]))
    found = deviate_points(surface, bent, best, 5.0)
    mapped = map_deviations(surface, found, weigh_pose(surface, bent, best, 0.1))
    inner = mapped.is_seen & (np.abs(mapped.points[:, 0]) < 0.48 * length) & (np.abs(mapped.points[:, 1]) < 8)
    top = inner & (mapped.normals[:, 2] > 0.9)
    x, value = mapped.points[top, 0], mapped.deviation_mm[top]
    expected = x**2 / (2 * radius) - length**2 / (24 * radius)
    assert np.abs(value - expected).max() < 0.03
    assert np.sqrt(((value - expected) ** 2).mean()) < 0.006
    whole = mapped.is_seen & (mapped.normals[:, 2] > 0.9)
    rms = length**2 / (2 * radius * math.sqrt(180))
    ours = float(np.sqrt((mapped.deviation_mm[whole] ** 2).mean()))
    check(SOURCE, "rms, bent bar", rms, ours, 0.008, seen=False, unit="mm")
    middle = value[np.abs(x) < 10].mean()
    check(SOURCE, "middle, bent bar", -(length**2) / (24 * radius), middle, 0.006, seen=False, unit="mm")
    # The bottom stands the other way: what rises out of the top sinks into the model below.
    bottom = inner & (mapped.normals[:, 2] < -0.9)
    below = mapped.points[bottom, 0]
    np.testing.assert_allclose(
        mapped.deviation_mm[bottom], length**2 / (24 * radius) - below**2 / (2 * radius), atol=0.03
    )


def test_the_fit_lays_the_bent_bar_where_least_squares_would() -> None:
    length, radius = 300.0, 20_000.0
    surface = NominalSurface(mesh_of(box((length, 20, 10))))
    bent, _, _ = surface.sample(8_000, 3)
    bent[:, 2] += bent[:, 0] ** 2 / (2 * radius)
    pose = refine_pose(surface, bent, RigidMotion(np.eye(3), np.array([0.3, 0.0, -0.2])), 5.0)
    # The ends weigh a little less than in plain least squares: their deviation is the largest.
    check(
        SOURCE,
        "height, bent bar",
        -(length**2) / (24 * radius),
        pose.motion.shift_mm[2],
        0.03,
        seen=False,
        unit="mm",
    )
    # Across, the bar is only 20 mm wide: 5e-4 is 5 um at its edge.
    assert np.abs(pose.motion.rotation - np.eye(3)).max() < 5e-4
