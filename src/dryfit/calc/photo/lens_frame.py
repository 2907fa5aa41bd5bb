"""One lens in the pixels of another picture: turned, flipped, or of another pixel size."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.camera import Lens, lens_of


def move_lens(lens: Lens, covariance: Array, matrix: Array, shift_px: Array) -> tuple[Lens, Array, Array]:
    """The lens where pixels go to matrix @ pixel + shift, its covariance (8, 8), and the slope (8, 8) between both.

    matrix : (2, 2) a turn, or a flip, times one factor   shift_px : (2,)
    Raises ValueError for another matrix.
    Source: Brown's distortion, r2 v + 2 (x . v) x with v = (p2, p1) in its tangential part, keeps its form under
    turns and flips; k1, k2 and k3 do not feel them.
    """
    turn, shift = locked(matrix, (2, 2), "matrix"), locked(shift_px, (2,), "shift_px")
    factor = float(np.sqrt(abs(np.linalg.det(turn))))
    if not factor > 0.0 or np.abs(turn @ turn.T - factor**2 * np.eye(2)).max() > 1e-9 * factor**2:
        raise ValueError("a picture is turned, flipped and made smaller or larger as a whole only")
    slope = np.eye(8)
    slope[0, 0] = factor
    slope[1:3, 1:3] = turn
    slope[np.ix_([6, 5], [6, 5])] = turn / factor
    vector = slope @ lens.vector
    vector[1:3] += shift
    return lens_of(vector), slope @ np.asarray(covariance, dtype=np.float64) @ slope.T, slope
