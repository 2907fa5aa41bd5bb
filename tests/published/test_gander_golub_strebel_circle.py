"""Geometric circle, Gander, Golub and Strebel, BIT 34 (1994) 558 (memory; reproduces, text not seen).

Their algebraic circle is a different one from the start value used here and is not compared.
"""

import numpy as np

from dryfit.calc.characteristics import circle_through
from published.registry import check

SOURCE = "Gander, Golub, Strebel 1994"
POINTS = np.array([[1, 7], [2, 6], [5, 8], [7, 7], [9, 5], [3, 7]], dtype=float)


def test_geometric_circle() -> None:
    ours = circle_through(POINTS)
    check(SOURCE, "centre x", 4.7398, ours.centre[0], 5e-5, seen=False)
    check(SOURCE, "centre y", 2.9835, ours.centre[1], 5e-5, seen=False)
    check(SOURCE, "radius", 4.7142, ours.radius, 5e-5, seen=False)
    residual = np.linalg.norm(POINTS - ours.centre, axis=1) - ours.radius
    check(SOURCE, "sum of squares", 1.22760, float(residual @ residual), 5e-6, seen=False)
