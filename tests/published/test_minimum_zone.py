"""Minimum zones whose width can be proved by hand.

Four points on two crossed diameters of 20 and 18: any ring that holds them is at least 1 wide, and the one about
the crossing is. The regular tetrahedron in the unit cube: its narrowest slab lies along two opposite edges, 1 apart
(three such slabs). The corner of a cube of 4 with (1, 1, 1) above its face: the slab along that face. An ellipse:
half its axes' difference, by symmetry.
"""

import math

import numpy as np
from scipy.spatial.transform import Rotation

from dryfit.calc.elements import minimum_zone_circularity, minimum_zone_flatness
from published.registry import check

SOURCE = "Minimum zone, provable"
TURN = Rotation.from_rotvec([0.4, -0.3, 1.2]).as_matrix()


def test_circularity_of_two_crossed_diameters() -> None:
    centre, width = minimum_zone_circularity(np.array([[10, 0], [-10, 0], [0, 9], [0, -9]], dtype=float))
    check(SOURCE, "circularity, crossed diameters", 1.0, width, 1e-12, seen=False)
    check(SOURCE, "its centre x", 0.0, centre[0], 1e-12, seen=False)
    check(SOURCE, "its centre y", 0.0, centre[1], 1e-12, seen=False)


def test_flatness_of_a_regular_tetrahedron() -> None:
    points = np.array([[0, 0, 0.5], [1, 1, 0.5], [1, 0, -0.5], [0, 1, -0.5]])
    zone = minimum_zone_flatness(points @ TURN.T + [30.0, -20.0, 5.0])
    check(SOURCE, "flatness, regular tetrahedron", 1.0, zone.width_mm, 1e-12, seen=False)


def test_flatness_of_a_cut_corner() -> None:
    points = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0], [1, 1, 1]], dtype=float)
    zone = minimum_zone_flatness(points @ TURN.T)
    check(SOURCE, "flatness, cut corner", 1.0, zone.width_mm, 1e-12, seen=False)
    assert abs(zone.normal @ TURN[:, 2]) > 1.0 - 1e-12


def test_circularity_of_an_ellipse() -> None:
    angle = np.linspace(0.0, 2.0 * math.pi, 360, endpoint=False)
    _, width = minimum_zone_circularity(np.column_stack([12.05 * np.cos(angle), 11.9 * np.sin(angle)]))
    check(SOURCE, "circularity, ellipse 12.05 by 11.9", 0.15, width, 1e-12, seen=False)
