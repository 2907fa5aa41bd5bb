"""The affine part: the commanded point whose print is the wanted one."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array


def correct_points(points: Array, gain: Array) -> Array:
    """Commanded points (n, 3) that print where the given points lie: the inverse of printed = gain @ commanded.

    points : (n, 3) [mm] wanted, machine axes
    gain : (3, 3) of the machine, times what a shrinkage leaves of a length
    Raises ValueError where the gain turns the surface inside out or flattens it.
    """
    if not np.linalg.det(gain) > 0:
        raise ValueError("a gain without positive determinant has no inverse that could be printed")
    corrected: Array = np.asarray(np.linalg.solve(gain, points.T).T, dtype=np.float64)
    return corrected


def greatest_departure(points: Array, wanted: Array) -> float:
    """The greatest distance [mm] between two sets of points (n, 3), once moved to their common middle.

    Moved only, not turned: a copy that is to lie in one pose has no turn to give away.
    """
    apart = points - wanted
    apart = apart - 0.5 * (apart.max(axis=0) + apart.min(axis=0))
    return float(np.linalg.norm(apart, axis=1).max())
