"""First-order propagation through y = y0 + L theta."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.chain.sources import Sources


@dataclass(frozen=True, slots=True, eq=False)
class LinearMap:
    """k results of n sources: y = nominal + matrix @ departures.

    nominal  (k,)    results where every source is as the model assumes
    matrix   (k, n)  derivatives of the results by the sources
    sources  n independent sources
    """

    nominal: Array
    matrix: Array
    sources: Sources

    def __post_init__(self) -> None:
        expected = (len(self.nominal), len(self.sources))
        if self.matrix.shape != expected:
            raise ValueError(f"the matrix has shape {self.matrix.shape}, expected {expected}")

    @property
    def mean(self) -> Array:
        """(k,) expected results to first order."""
        mean: Array = self.nominal + self.matrix @ self.sources.shift
        return mean

    @property
    def covariance(self) -> Array:
        """(k, k) covariance of the results. Source: JCGM 100:2008, 5.1 and 5.2 (independent inputs)."""
        scaled = self.matrix * self.sources.std
        covariance: Array = scaled @ scaled.T
        return covariance

    @property
    def std(self) -> Array:
        """(k,) combined standard uncertainty. Source: JCGM 100:2008, eq. 10."""
        std: Array = np.sqrt(((self.matrix * self.sources.std) ** 2).sum(axis=1))
        return std


def variance_shares(variances: Array) -> Array:
    """Share of each source in the variance of each result; rows add up to one, or are 0 without variance.

    variances : (k, n) contributions to the variance
    """
    total = variances.sum(axis=1, keepdims=True)
    shares: Array = np.divide(variances, total, out=np.zeros_like(variances), where=total > 0)
    return shares


def worst_case(center: Array, reach: Array) -> tuple[Array, Array]:
    """Lowest and highest results with every source at its worst limit at once.

    center : (k,)   reach : (k, n) |derivative| times half width of each source
    Source: arithmetic stacking, Chase and others, Brigham Young University (memory).
    """
    total = reach.sum(axis=1)
    return center - total, center + total


def probability_outside(center: float, std: float, lower: float | None, upper: float | None) -> float:
    """Probability that a normal result lies outside its limits; a limit of None does not bind.

    With std 0 the result is 0 or 1. Source: JCGM 106:2012, 7.3 (one- and two-sided limits).
    """
    outside = 0.0
    for limit, sign in ((lower, 1.0), (upper, -1.0)):
        if limit is None:
            continue
        room = sign * (center - limit)
        if std == 0.0:
            outside += 0.0 if room >= 0 else 1.0
        else:
            outside += 0.5 * math.erfc(room / (std * math.sqrt(2.0)))
    return min(1.0, outside)


def expanded_uncertainty(std: float, dof: float, coverage: float = 0.95) -> float:
    """Expanded uncertainty: the half width that covers the stated share of Student's distribution.

    Source: JCGM 100:2008, G.3.2.
    """
    from scipy.special import ndtri, stdtrit

    upper = 0.5 * (1.0 + coverage)
    factor = float(ndtri(upper)) if math.isinf(dof) else float(stdtrit(dof, upper))
    return factor * std
