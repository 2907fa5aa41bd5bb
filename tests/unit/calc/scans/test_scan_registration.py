"""Scans laid on parts without a first guess; and what a scan cannot tell."""

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.scans import (
    NominalSurface,
    Registration,
    RigidMotion,
    choose_pose,
    refine_pose,
    register_scan,
    weigh_pose,
)
from dryfit.model.mesh import TriangleMesh
from support.scans import bracket, miss_of, plain_box, rod, simulate_scan, stepped_box


def laid(mesh: TriangleMesh, **scan: float) -> tuple[Registration, RigidMotion, NominalSurface]:
    points, truth = simulate_scan(mesh, **scan)  # type: ignore[arg-type]
    surface = NominalSurface(mesh)
    return register_scan(surface, points), truth, surface


@pytest.mark.slow
def test_a_third_outliers_and_two_fifths_missing() -> None:
    found, truth, surface = laid(bracket(), outliers=0.3, missing=0.4, seed=2)
    assert miss_of(found.motion, truth, surface) < 0.03
    assert not found.is_ambiguous
    assert found.free == ()
    assert found.scatter_mm == pytest.approx(0.05, rel=0.1)
    assert found.share == pytest.approx(0.7, abs=0.03)
    assert found.runner_up is not None
    assert found.runner_up.comparison.significance > 4


@pytest.mark.slow
def test_a_symmetric_part_is_said_to_fit_in_four_ways() -> None:
    found, truth, surface = laid(plain_box(), count=6000, outliers=0.1, seed=2)
    assert found.is_ambiguous
    assert len(found.alternatives) == 3
    assert all(item.angle_deg == pytest.approx(180.0, abs=0.1) for item in found.alternatives)
    axes = np.array([item.axis for item in found.alternatives])
    np.testing.assert_allclose(np.abs(axes).sum(axis=0), 1.0, atol=1e-3)
    # One of the four is the true one, and a mark on the scan picks it.
    poses = [found.motion, *(item.motion for item in found.alternatives)]
    assert min(miss_of(pose, truth, surface) for pose in poses) < 0.03
    spot = np.array([[45.0, 25.0, 15.0]])
    chosen, missed = choose_pose(found, truth.inverse().apply(spot), spot, 0.5)
    assert miss_of(chosen, truth, surface) < 0.03
    assert missed < 0.05
    middle = np.array([[0.0, 0.0, 0.0]])
    with pytest.raises(ComputationRefused, match="do not tell"):
        choose_pose(found, truth.inverse().apply(middle), middle, 0.5)


@pytest.mark.slow
def test_a_part_that_is_nearly_symmetric_is_told() -> None:
    found, truth, surface = laid(stepped_box(0.3), missing=0.2, seed=3)
    assert not found.is_ambiguous
    assert miss_of(found.motion, truth, surface) < 0.03
    assert found.runner_up is not None
    assert found.runner_up.angle_deg == pytest.approx(180.0, abs=0.5)


@pytest.mark.slow
def test_a_rod_can_turn_and_be_laid_end_for_end() -> None:
    found, _, _ = laid(rod(), count=6000, seed=2)
    assert [item.kind for item in found.free] == ["turn"]
    np.testing.assert_allclose(np.abs(found.free[0].axis), [0, 0, 1], atol=0.01)
    assert len(found.alternatives) == 1
    assert abs(found.alternatives[0].axis[2]) < 0.05
    # In the free direction nothing is known, and the covariance does not pretend to.
    step = found.free[0].step
    assert step @ found.information.covariance @ step < 1e-6


def test_too_few_points_and_another_part_are_refused() -> None:
    surface = NominalSurface(bracket())
    with pytest.raises(ComputationRefused, match="least that tell"):
        register_scan(surface, np.zeros((50, 3)))
    cloud = np.random.default_rng(1).normal(size=(4000, 3)) * 60.0
    with pytest.raises(ComputationRefused, match="no position lays the scan"):
        register_scan(surface, cloud)


def test_the_covariance_of_a_pose_is_the_scatter_of_poses() -> None:
    surface = NominalSurface(bracket())
    still = RigidMotion(np.eye(3), np.zeros(3))
    shifts, expected = [], []
    clean, _, _ = surface.sample(1500, 4)
    for seed in range(25):
        draw = np.random.default_rng(seed)
        points = clean + 0.1 * draw.normal(size=clean.shape)
        pose = refine_pose(surface, points, still, 1.0)
        shifts.append(pose.motion.apply(surface.centre_mm[None])[0] - surface.centre_mm)
        information = weigh_pose(surface, points, pose.motion, pose.scatter_mm)
        expected.append(np.sqrt(np.diag(information.covariance)[3:]))
    ratio = np.std(shifts, axis=0) / np.mean(expected, axis=0)
    # 25 draws tell a standard deviation to about 14 %; the blocks of the sandwich err to the safe side.
    assert (ratio < 1.35).all()
    assert (ratio > 0.45).all()


def test_a_scan_of_another_size_says_so_and_is_not_rescaled() -> None:
    surface = NominalSurface(bracket())
    clean, _, _ = surface.sample(4000, 4)
    points = surface.centre_mm + 1.004 * (clean - surface.centre_mm)
    pose = refine_pose(surface, points, RigidMotion(np.eye(3), np.zeros(3)), 2.0)
    information = weigh_pose(surface, points, pose.motion, pose.scatter_mm)
    assert information.scale == pytest.approx(1.004, abs=5e-4)
    assert np.linalg.det(pose.motion.rotation) == pytest.approx(1.0)
