"""What one more observation would be worth, before it is made."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array


def covariance_after(covariance: Array, row: Array, std: float) -> Array:
    """(n, n) covariance of n unknowns after one more observation of row @ unknowns.

    covariance : (n, n)   row : (n,)   std : standard uncertainty of the observation, above 0
    Source: sequential least squares, the update of rank one (Sherman and Morrison 1950, memory).
    """
    taken = covariance @ row
    after: Array = covariance - np.outer(taken, taken) / (std**2 + float(row @ taken))
    return after


def chance_outside(std: Array, lower: Array, upper: Array) -> Array:
    """(k,) probability that a normal deviate of mean zero lies below lower or above upper.

    std, lower, upper : (k,) in one unit each; infinite where there is no limit. Of a std of zero it is 0 or 1.
    Source: conformity probability, JCGM 106:2012, 7.4 (memory).
    """
    from scipy.special import ndtr

    with np.errstate(divide="ignore", invalid="ignore"):
        below = np.where(std > 0.0, ndtr(lower / std), (lower > 0.0).astype(np.float64))
        above = np.where(std > 0.0, ndtr(-upper / std), (upper < 0.0).astype(np.float64))
    total: Array = np.minimum(below + above, 1.0)
    return total
