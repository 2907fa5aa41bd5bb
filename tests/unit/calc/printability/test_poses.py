"""Poses that fit, against closed forms of turned rectangles."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from building.meshes import box_mesh
from dryfit.base.rotation import rotation_from_euler
from dryfit.calc.printability import fit_in_pose, poses_that_fit, right_angle_turns, room_of

ROD = box_mesh((0, 0, 0), (260, 10, 10)).vertices


def test_twenty_four_right_angle_turns_are_the_turns_of_a_cube():
    turns = np.array([rotation_from_euler(euler) for euler in right_angle_turns()])
    group = Rotation.create_group("O").as_matrix()
    assert len(turns) == 24
    assert {tuple(np.rint(turn).astype(int).ravel()) for turn in turns} == {
        tuple(np.rint(turn).astype(int).ravel()) for turn in group
    }


def test_clearance_is_kept_from_both_sides_and_not_from_the_top():
    assert room_of((200, 220, 250), 5.0).tolist() == [190, 210, 250]


def test_spare_is_that_of_the_tightest_axis():
    fit = fit_in_pose(ROD, (0, 0, 90), room_of((200, 262, 100), 0.0))
    assert fit.extent_mm == pytest.approx([10, 260, 10])
    assert fit.spare_mm == pytest.approx(2.0)
    assert fit.fits


def test_a_rod_longer_than_the_bed_fits_across():
    """A rod of L x w turned by t is L sin t + w cos t wide: at 45 degrees (260 + 10) / sqrt 2 = 190.92."""
    fits = poses_that_fit(ROD, (200, 200, 100), 0.0)
    assert abs(fits[0].euler_xyz_deg[2]) == pytest.approx(45.0, abs=0.02) or abs(
        fits[0].euler_xyz_deg[2]
    ) == pytest.approx(135.0, abs=0.02)
    assert fits[0].extent_mm[:2] == pytest.approx([270 / 2**0.5] * 2, abs=0.05)
    assert fits[0].spare_mm == pytest.approx(200 - 270 / 2**0.5, abs=0.05)
    assert not any(fit.is_square for fit in fits)


def test_the_turn_is_the_one_with_most_room():
    """In 210 x 180 the rod leaves equal room where 210 - 260 c - 10 s = 180 - 260 s - 10 c."""
    best = poses_that_fit(ROD, (215, 190, 100), 0.0)[0]
    t = np.radians(np.linspace(0, 180, 180001))
    wide = 260 * np.abs(np.cos(t)) + 10 * np.abs(np.sin(t))
    deep = 260 * np.abs(np.sin(t)) + 10 * np.abs(np.cos(t))
    assert best.spare_mm == pytest.approx(np.minimum(215 - wide, 190 - deep).max(), abs=0.05)


def test_standing_up_is_found_among_right_angle_turns():
    fits = poses_that_fit(ROD, (100, 100, 300), 0.0)
    assert all(fit.fits for fit in fits)
    assert fits[0].is_square
    assert fits[0].extent_mm == pytest.approx([10, 10, 260])


def test_the_stated_pose_turned_about_the_vertical_comes_first():
    best = poses_that_fit(ROD, (270, 100, 300), 0.0, stated=(0.0, 0.0, 90.0))[0]
    assert best.euler_xyz_deg[:2] == (0.0, 0.0)
    assert best.euler_xyz_deg[2] in (0.0, 180.0)


def test_clearance_decides():
    assert poses_that_fit(ROD, (200, 200, 100), 4.0)[0].fits
    assert not poses_that_fit(ROD, (200, 200, 100), 5.0)[0].fits


def test_where_none_fits_the_nearest_is_told():
    fits = poses_that_fit(ROD, (150, 150, 200), 0.0)
    assert len(fits) == 1
    assert fits[0].spare_mm == pytest.approx(150 - 270 / 2**0.5, abs=0.05)


def test_what_is_told_is_what_the_pose_gives():
    generator = np.random.default_rng(2)
    points = generator.normal(size=(400, 3)) * [60, 30, 20]
    for fit in poses_that_fit(points, (400, 400, 400), 0.0):
        turned = points @ rotation_from_euler(fit.euler_xyz_deg).T
        assert np.ptp(turned, axis=0) == pytest.approx(fit.extent_mm)
