"""Flatness of a saddle and the apothem of a faceted circle (provable closed forms).

The saddle's heights are square to both slopes and to their mean, so that its least-squares plane is level
and its peak-to-valley departure equals its minimum zone. It is stretched to 10 by 10 here: on the unit square
with heights of +-0.5 the points scatter equally in all directions and the plane of least squared distances is
not defined at all. The other known minimum-zone case, (0,0,0) (4,0,0)
(0,4,0) (1,1,1), does not apply: its zone of 1 lies along the three low points, while the least-squares
reference plane is drawn toward the high one and tilts. Four points have one residual pattern only, up to
size, for any plane: the weights of their affine dependence, here (-1/2, -1/4, -1/4, 1); the least-squares
plane spreads the departure of 1 over it.
"""

import math

import numpy as np
import pytest

from dryfit.calc.characteristics import circle_through, flatness_of, plane_through
from published.registry import check

ZONE = "Minimum zone of a saddle, provable"
FACETS = "Faceted circle, apothem r cos(pi/n)"
SADDLE = np.array([[0, 0, 0.5], [10, 10, 0.5], [10, 0, -0.5], [0, 10, -0.5]])


def test_flatness_of_a_saddle() -> None:
    check(ZONE, "flatness", 1.0, flatness_of(SADDLE), 1e-12, seen=False)
    assert np.abs(plane_through(SADDLE).normal) == pytest.approx([0.0, 0.0, 1.0], abs=1e-12)


def test_flatness_is_not_below_the_minimum_zone() -> None:
    tilted = np.array([[0, 0, 0], [4, 0, 0], [0, 4, 0], [1, 1, 1]], dtype=float)
    assert flatness_of(tilted) > 1.0 - 1e-12


@pytest.mark.parametrize("sides", [6, 16, 64])
def test_facets(sides: int) -> None:
    angle = 2.0 * np.pi * np.arange(sides) / sides
    corners = 25.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    middles = 0.5 * (corners + np.roll(corners, -1, axis=0))
    ours = circle_through(middles).radius
    check(
        FACETS,
        f"apothem, {sides} sides",
        25.0 * math.cos(math.pi / sides),
        ours,
        1e-12,
        seen=False,
        unit="mm",
    )
    check(
        FACETS, f"corners, {sides} sides", 25.0, circle_through(corners).radius, 1e-12, seen=False, unit="mm"
    )
