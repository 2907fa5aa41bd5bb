"""What an adjustment of observations is given besides its rows, and what it says."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray

# A row whose share of redundancy lies below this is not controlled by the others: it cannot be tested.
UNCONTROLLED = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Prior:
    """What is known of some unknowns beforehand, as normal pseudo-observations; the others stay flat.

    index       (p,)   which unknowns
    mean        (p,)   what is expected of them, each in its unit
    covariance  (p,) variances, or (p, p)
    """

    index: IntArray
    mean: Array
    covariance: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "index", _kept(np.array(self.index, dtype=np.int64)))
        for name in ("mean", "covariance"):
            object.__setattr__(self, name, _kept(np.array(getattr(self, name), dtype=np.float64)))
        count = len(self.index)
        if self.mean.shape != (count,) or self.covariance.shape not in ((count,), (count, count)):
            raise ValueError(f"a prior of {count} unknowns needs as many means and variances")
        if len(set(self.index.tolist())) != count:
            raise ValueError("a prior names an unknown twice")

    def rows(self, unknowns: int) -> Array:
        """(p, unknowns) design of the pseudo-observations."""
        rows = np.zeros((len(self.index), unknowns))
        rows[np.arange(len(self.index)), self.index] = 1.0
        return rows


@dataclass(frozen=True, slots=True)
class Levels:
    """At which levels the tests are made.

    blunder  probability of a false alarm of one two-sided test of one row, for the smallest blunder
    power    probability with which that blunder would be noticed
    overall  probability of a false alarm of the global test
    The defaults of the first two are Baarda's, A testing procedure for use in geodetic networks, 1968 (memory).
    """

    blunder: float = 0.001
    power: float = 0.80
    overall: float = 0.05

    def __post_init__(self) -> None:
        for value in (self.blunder, self.power, self.overall):
            if not 0.0 < value < 1.0:
                raise ValueError(f"a level lies between 0 and 1: {value}")

    @property
    def noncentrality(self) -> float:
        """How many standard deviations the test value moves by a blunder just noticed: 4.13 at the defaults."""
        from scipy.special import ndtri

        return float(ndtri(1.0 - self.blunder / 2.0) + ndtri(self.power))


@dataclass(frozen=True, slots=True, eq=False)
class Expectation:
    """What m observations of n unknowns would tell, before they are made.

    names             (n,)   of the unknowns
    covariance        (n, n) of the estimates
    redundancy        (m,)   share of each observation that the others control; adds up to dof with prior_redundancy
    prior_redundancy  (p,)   the same of what is known beforehand
    smallest_blunder  (m,)   that would be noticed at the stated levels; infinite where nothing controls the row
    dof               degrees of freedom
    """

    names: tuple[str, ...]
    covariance: Array
    redundancy: Array
    prior_redundancy: Array
    smallest_blunder: Array
    dof: int
    levels: Levels

    @property
    def std(self) -> Array:
        """(n,) standard uncertainty of each estimate."""
        std: Array = np.sqrt(np.diag(self.covariance))
        return std


@dataclass(frozen=True, slots=True, eq=False)
class Adjustment:
    """n unknowns estimated from m observations.

    names             (n,)   of the unknowns
    estimate          (n,)
    covariance        (n, n) from the stated covariance of the observations
    residual          (m,)   observed less estimated
    residual_std      (m,)   standard deviation expected of it
    normalised        (m,)   test value of each row, standard normal without blunders; NaN where it is not controlled
    redundancy        (m,)   share of each row that the others control
    smallest_blunder  (m,)   that would be noticed at the stated levels; infinite where the row is not controlled
    prior_residual, prior_normalised, prior_redundancy  (p,) the same of what was known beforehand
    vpv               weighted sum of squared residuals, prior included
    dof               degrees of freedom: m + p - n
    p_value           probability of a larger vpv by chance; None without degrees of freedom
    iterations        of a nonlinear adjustment; 1 otherwise
    """

    names: tuple[str, ...]
    estimate: Array
    covariance: Array
    residual: Array
    residual_std: Array
    normalised: Array
    redundancy: Array
    smallest_blunder: Array
    prior_residual: Array
    prior_normalised: Array
    prior_redundancy: Array
    vpv: float
    dof: int
    p_value: float | None
    levels: Levels
    iterations: int = 1

    @property
    def std(self) -> Array:
        """(n,) standard uncertainty of each estimate."""
        std: Array = np.sqrt(np.diag(self.covariance))
        return std

    @property
    def is_controlled(self) -> BoolArray:
        """(m,) whether each row can be tested at all."""
        return np.asarray(np.isfinite(self.smallest_blunder), dtype=np.bool_)

    @property
    def is_consistent(self) -> bool | None:
        """Whether the global test passes at its level; None where it cannot be made."""
        return None if self.p_value is None else self.p_value >= self.levels.overall

    @property
    def unit_std(self) -> float:
        """Standard deviation of unit weight, the Birge ratio: how far the stated covariance falls short [-].

        NaN without degrees of freedom.
        """
        return math.sqrt(self.vpv / self.dof) if self.dof > 0 else math.nan


def _kept(values: np.ndarray) -> np.ndarray:
    values.setflags(write=False)
    return values


def keep(values: Array) -> Array:
    """The same array, locked; NaN and infinities are allowed here, where they say that there is no figure."""
    kept = np.asarray(values, dtype=np.float64)
    kept.setflags(write=False)
    return kept
