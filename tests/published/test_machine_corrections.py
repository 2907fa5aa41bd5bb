"""Corrections of machines: sine bar, mitred polygons of a second library, determinants, uncertainties library."""

import math

import numpy as np
import pytest
from shapely.geometry import Polygon
from uncertainties import correlated_values, umath

from dryfit.calc.compensate import axis_settings, correct_points, outline_motion
from dryfit.calc.errormodel import machine_gain
from dryfit.calc.mesh import measure_mesh
from dryfit.calc.trueing import foot_shim
from dryfit.model.mesh import TriangleMesh
from published.registry import check

SINE_BAR = "Sine bar, constants of a 5 inch bar"
POLYGONS = "Second polygon library, mitred offset"
DETERMINANT = "Volume under an affine map, determinant"
LIBRARY = "uncertainties library"


@pytest.mark.parametrize(
    ("angle_deg", "height"),
    # five times the sine, to five decimals as the tables of the trade print it (memory)
    [(0.5, 0.04363), (12.5, 1.08220), (20.25, 1.73058), (30.0, 2.50000)],
)
def test_height_of_a_sine_bar(angle_deg: float, height: float) -> None:
    ours = foot_shim(angle_deg, 0.0, 5.0).value
    check(SINE_BAR, f"height at {angle_deg:g} degrees", height, ours, 6e-6, seen=False, unit="inch")


def test_area_of_a_grown_star() -> None:
    turns = np.pi * np.arange(10) / 5
    ring = np.column_stack([np.cos(turns), np.sin(turns)]) * np.where(np.arange(10) % 2, 18.0, 40.0)[:, None]
    theirs = Polygon(ring).buffer(0.25, join_style="mitre", mitre_limit=1000.0).area
    sides = [[i, (i + 1) % 10, 10 + (i + 1) % 10] for i in range(10)]
    sides += [[i, 10 + (i + 1) % 10, 10 + i] for i in range(10)]
    caps = [[20, (i + 1) % 10, i] for i in range(10)] + [[21, 10 + i, 10 + (i + 1) % 10] for i in range(10)]
    floor, top = np.zeros((10, 1)), np.full((10, 1), 12.0)
    vertices = np.vstack([np.hstack([ring, floor]), np.hstack([ring, top]), [[0, 0, 0]], [[0, 0, 12.0]]])
    faces = np.array(sides + caps)
    grown = vertices + 0.25 * outline_motion(vertices, faces).motion
    ours = measure_mesh(TriangleMesh(grown, faces)).volume_mm3 / 12.0
    check(POLYGONS, "area of a star grown by 0.25 mm", theirs, ours, 1e-9, seen=True, unit="mm2")


def test_volume_of_a_copy() -> None:
    figures = np.array([0.004, -0.003, 0.002, 0.4, 0.9, -0.7])
    box = np.array([[x, y, z] for z in (0.0, 50.0) for y in (0.0, 30.0) for x in (0.0, 20.0)])
    faces = [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4]]
    faces += [[2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]]
    copy = correct_points(box, machine_gain(figures))
    ours = measure_mesh(TriangleMesh(copy, np.array(faces))).volume_mm3
    theirs = 20.0 * 30.0 * 50.0 / (1.004 * 0.997 * 1.002)
    check(DETERMINANT, "volume of a corrected box", theirs, ours, 1e-8, seen=False, unit="mm3")


def test_uncertainty_of_tangents() -> None:
    figures = np.array([0.004, -0.003, 0.002, 0.4, 0.9, -0.7])
    spread = np.random.default_rng(5).normal(size=(6, 6)) * [1e-3, 1e-3, 1e-3, 0.05, 0.05, 0.05]
    covariance = spread.T @ spread
    found = axis_settings(figures, covariance)
    ex, ey, ez, sxy, sxz, syz = correlated_values(figures, covariance)
    for index, (name, skew, scale) in enumerate((("XY", sxy, ey), ("XZ", sxz, ez), ("YZ", syz, ez))):
        theirs = umath.tan(skew * math.pi / 180) / (1 + scale)
        ours = float(found.tangents_std[index])
        check(LIBRARY, f"standard uncertainty of tangent {name}", theirs.s, ours, 1e-12, seen=True)
    for index, (name, scale) in enumerate(zip("XYZ", (ex, ey, ez), strict=True)):
        theirs = 1 / (1 + scale)
        ours = float(found.factors_std[index])
        check(LIBRARY, f"standard uncertainty of factor {name}", theirs.s, ours, 1e-12, seen=True)
