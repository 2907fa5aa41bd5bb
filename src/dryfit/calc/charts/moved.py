"""Has it moved? Two estimates of the same figures, compared with their joint covariance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.errors import ComputationRefused

_Parts = tuple[tuple[Array, float], tuple[Array, float]]


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """The difference of two estimates of k figures.

    change, std  (k,) later less earlier, and its standard uncertainty
    statistic    change in its own covariance, squared: chi-square of k without movement
    count        k
    dof          effective degrees of freedom of that covariance; infinite: chi-square, else statistic / k is of F
    p_value      probability of at least as large a statistic by chance
    p_each       (k,) the same of each figure alone
    level        below which the difference counts as a movement
    """

    change: Array
    std: Array
    statistic: float
    count: int
    dof: float
    p_value: float
    p_each: Array
    level: float

    @property
    def has_moved(self) -> bool:
        return self.p_value < self.level


def has_moved(
    earlier: Array,
    earlier_covariance: Array,
    later: Array,
    later_covariance: Array,
    shared: Array | None = None,
    earlier_dof: float = math.inf,
    later_dof: float = math.inf,
    level: float = 0.05,
) -> Moved:
    """Whether k figures have moved between two estimates.

    earlier, later : (k,)   their covariances : (k, k), full rank of the difference is needed
    shared : (k, k) covariance of the earlier (rows) with the later estimate (columns), such as by one instrument
    earlier_dof, later_dof : degrees of freedom of the covariances, each known but for one factor
    level : probability of calling it a movement where there was none
    Raises ComputationRefused where the difference has no uncertainty in some direction.
    Source: chi-square of a difference of estimates; F where a factor of the covariance was estimated, e.g. JCGM
    100:2008, G.3; degrees of freedom of the sum as Welch and Satterthwaite, G.4.1, generalised by the trace (own).
    """
    change = np.asarray(later, dtype=np.float64) - np.asarray(earlier, dtype=np.float64)
    count = len(change)
    first = locked(earlier_covariance, (count, count), "earlier_covariance")
    second = locked(later_covariance, (count, count), "later_covariance")
    covariance = first + second
    if shared is not None:
        both = locked(shared, (count, count), "shared")
        covariance = covariance - both - both.T
    std = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    if (std == 0.0).any():
        raise _refuse("a figure has no uncertainty in either")
    scaled = covariance / np.outer(std, std)
    if np.linalg.eigvalsh(scaled)[0] < 1e-10:
        raise _refuse("their difference has no uncertainty in some direction")
    weights = np.linalg.inv(scaled) / np.outer(std, std)
    statistic = float(change @ weights @ change)
    parts = ((first, earlier_dof), (second, later_dof))
    dof = _dof(weights, parts)
    each = [_chance_of_one(k, float(change[k]), covariance, parts) for k in range(count)]
    return Moved(
        locked(change, (count,), "change"),
        locked(std, (count,), "std"),
        statistic,
        count,
        dof,
        chance_beyond(statistic, count, dof),
        locked(each, (count,), "p_each"),
        level,
    )


def chance_beyond(statistic: float, count: int, dof: float) -> float:
    """Probability that the statistic of count figures is larger by chance.

    Source: chi-square for known covariance; F(count, dof) of statistic / count where its factor has dof degrees of
    freedom (linear hypothesis of least squares, memory).
    """
    from scipy.special import chdtrc, fdtrc

    if math.isinf(dof):
        return float(chdtrc(count, statistic))
    return float(fdtrc(count, dof, statistic / count))


def _dof(weights: Array, parts: _Parts) -> float:
    """k^2 / sum of trace(W S)^2 / dof over the two covariances; with k = 1 that is Welch and Satterthwaite's."""
    uncertain = sum(float(np.trace(weights @ part)) ** 2 / dof for part, dof in parts if math.isfinite(dof))
    return len(weights) ** 2 / uncertain if uncertain > 0.0 else math.inf


def _chance_of_one(k: int, change: float, covariance: Array, parts: _Parts) -> float:
    """The same test of one figure alone."""
    one = np.ix_([k], [k])
    dof = _dof(1.0 / covariance[one], ((parts[0][0][one], parts[0][1]), (parts[1][0][one], parts[1][1])))
    return chance_beyond(change**2 / float(covariance[k, k]), 1, dof)


def _refuse(what: str) -> ComputationRefused:
    return ComputationRefused(
        f"two estimates cannot be compared: {what}",
        "their covariance",
        "compare figures only whose uncertainty was estimated",
    )
