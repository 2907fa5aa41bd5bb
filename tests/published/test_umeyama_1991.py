"""Umeyama, IEEE PAMI 13 (1991) 376: the worked example of a triangle with a mirrored side.

(0,0) (1,0) (0,2) to (0,0) (-1,0) (0,2): a turn, not a mirror image, with scale. From memory; reproduces; source text
not seen.
"""

import math

import numpy as np

from dryfit.calc.scans import fit_rigid, fit_similarity
from published.registry import check

SOURCE = "Umeyama 1991"
A, B = np.array([[0, 0], [1, 0], [0, 2]], dtype=float), np.array([[0, 0], [-1, 0], [0, 2]], dtype=float)


def test_turn_shift_and_scale() -> None:
    fit = fit_similarity(A, B)
    expected = np.array([[3, 2], [-2, 3]]) / math.sqrt(13)
    for row in range(2):
        for column in range(2):
            name = f"rotation {row + 1},{column + 1}"
            check(SOURCE, name, expected[row, column], fit.motion.rotation[row, column], 1e-12, seen=False)
    check(SOURCE, "shift x", -0.800, fit.motion.shift_mm[0], 5e-4, seen=False)
    check(SOURCE, "shift y", 0.400, fit.motion.shift_mm[1], 5e-4, seen=False)
    check(SOURCE, "scale", 0.721, fit.scale, 5e-4, seen=False)
    assert np.linalg.det(fit.motion.rotation) > 0


def test_without_scale_the_turn_is_the_same() -> None:
    fit = fit_rigid(A, B)
    assert fit.scale == 1.0
    np.testing.assert_allclose(
        fit.motion.rotation[:2, :2], np.array([[3, 2], [-2, 3]]) / math.sqrt(13), atol=1e-12
    )
    # 3 rms^2 = |A - mean|^2 + |B - mean|^2 - 2 (sum of signed singular values)
    a, b = A - A.mean(axis=0), B - B.mean(axis=0)
    values = np.linalg.svd(b.T @ a)[1]
    expected = (a**2).sum() + (b**2).sum() - 2 * (values[0] - values[1])
    check(SOURCE, "sum of squares without scale", expected, 3 * fit.rms_mm**2, 1e-12, seen=False)
