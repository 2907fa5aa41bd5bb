"""The strain of a scanned part: found, taken out, and drawn toward none where the scan does not show it."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.scans import FinePose, Form, NominalSurface, RigidMotion, pose_by_all, refine_form
from support.scans import bracket

STRAIN = np.array([[-0.006, 0.001, 0.0], [0.001, -0.003, 0.002], [0.0, 0.002, 0.004]])
POSE = RigidMotion(rotation_from_vector(np.array([0.4, -0.8, 1.2])), np.array([30.0, -10.0, 5.0]))


def strained(count: int = 6000) -> tuple[NominalSurface, np.ndarray, np.ndarray]:
    """A bracket, points on it as modelled, and the same strained about its middle, in another position."""
    surface = NominalSurface(bracket())
    points, _, _ = surface.sample(count, 7)
    printed = points + (points - surface.centre_mm) @ STRAIN
    return surface, points, POSE.inverse().apply(printed)


def test_pose_and_strain_are_found() -> None:
    surface, points, scan = strained()
    form = refine_form(surface, scan, FinePose(POSE, 0.2, 1.0, True, 1))
    # To second order: what is taken out is the strain of the strained point.
    assert form.strain == pytest.approx(STRAIN, abs=5e-5)
    assert np.abs(form.motion.apply(form.relax(scan)) - points).max() < 0.02
    assert form.is_strained(surface, 0.05)
    assert not form.is_strained(surface, 1.0)
    corner = (surface.bounds[1] - surface.centre_mm) @ STRAIN
    assert form.largest_mm(surface) >= float(np.linalg.norm(corner)) - 0.01


def test_relaxing_a_point_by_hand() -> None:
    form = Form(
        RigidMotion(np.eye(3), np.array([1.0, 0.0, 0.0])), np.diag([0.01, 0.0, 0.0]), 0.1, 1.0, np.zeros(3)
    )
    assert form.relax(np.array([[99.0, 5.0, 0.0]]))[0] == pytest.approx([98.0, 5.0, 0.0])


def test_a_strain_that_the_scan_hardly_shows_stays_small() -> None:
    """One face alone: nothing tells how long the part is across it, and no wild strain is made up."""
    surface, _, scan = strained()
    top = scan[POSE.apply(scan)[:, 2] > 9.9]
    draw = np.random.default_rng(1)
    noisy = top + 0.05 * draw.normal(size=top.shape)
    form = refine_form(surface, noisy, FinePose(POSE, 0.2, 1.0, True, 1))
    assert np.abs(form.strain).max() < 0.01


def test_the_pose_by_all_is_that_of_the_points_as_they_are() -> None:
    surface, _, scan = strained()
    form = refine_form(surface, scan, FinePose(POSE, 0.2, 1.0, True, 1))
    motion = pose_by_all(surface, scan, form, form.motion)
    moved = motion.apply(scan)
    away = surface.nearest(moved).distance_mm
    # Least squares: no small motion makes it less.
    for axis in range(3):
        for step in (-0.02, 0.02):
            other = surface.nearest(moved + step * np.eye(3)[axis]).distance_mm
            assert float(other @ other) > float(away @ away)
