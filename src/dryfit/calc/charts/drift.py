"""Drift: a weighted line through values over time, with its uncertainty, and when it leaves a band."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.errors import ComputationRefused

_ROUNDING = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Drift:
    """A line value = level + rate (time - middle).

    middle      weighted mean of the times, where level and rate are independent of each other
    level, rate
    level_std, rate_std   standard uncertainties
    scatter_std  standard deviation of a further value about the line, of the usual weight
    dof         degrees of freedom of those; infinite where the standard uncertainties of the values were taken as known
    vpv, count  weighted sum of squared residuals, and how many values there are
    """

    middle: float
    level: float
    rate: float
    level_std: float
    rate_std: float
    scatter_std: float
    dof: float
    vpv: float
    count: int

    def value(self, time: float) -> float:
        """Expected value at a time."""
        return self.level + self.rate * (time - self.middle)

    def std(self, time: float) -> float:
        """Standard uncertainty of the expected value at a time. Source: JCGM 100:2008, H.3.5."""
        return math.hypot(self.level_std, self.rate_std * (time - self.middle))

    def prediction_std(self, time: float) -> float:
        """Standard deviation of a further value at a time: the line's uncertainty and its own scatter."""
        return math.hypot(self.std(time), self.scatter_std)

    def factor(self, coverage: float) -> float:
        """Half width that covers a share of Student's distribution, in standard deviations."""
        from scipy.special import ndtri, stdtrit

        upper = 0.5 * (1.0 + coverage)
        return float(ndtri(upper)) if math.isinf(self.dof) else float(stdtrit(self.dof, upper))

    @property
    def p_value(self) -> float:
        """Probability of a rate at least as far from zero by chance, were there no drift."""
        from scipy.special import ndtr, stdtr

        if self.rate_std == 0.0:
            return 1.0 if self.rate == 0.0 else 0.0
        ratio = -abs(self.rate) / self.rate_std
        return 2.0 * float(ndtr(ratio) if math.isinf(self.dof) else stdtr(self.dof, ratio))


@dataclass(frozen=True, slots=True)
class Leaving:
    """When a line leaves a band, no earlier than now.

    earliest  when a further value may lie outside, at the stated coverage; None where it never does
    expected  when the line itself is outside; None where it never is
    """

    earliest: float | None
    expected: float | None


def fit_drift(times: Array, values: Array, std: Array | None = None) -> Drift:
    """Line through n values.

    times, values : (n,)   std : (n,) standard uncertainties of the values, taken as known; None: equal ones, estimated
    from the residuals, which needs three values
    Where the values scatter more than their std says, the uncertainties are enlarged by the Birge ratio and its
    degrees of freedom are kept: a line must not look better known than its points.
    Raises ComputationRefused for too few values, or values at one time only.
    Source: JCGM 100:2008, H.3 (equal weights); ISO/TS 28037:2010, 6 (known ones); Birge, Phys. Rev. 40 (1932) 207.
    """
    at, read = locked(times, (None,), "times"), locked(values, (len(times),), "values")
    count, least = len(at), 3 if std is None else 2
    if count < least or np.ptp(at) == 0.0:
        raise ComputationRefused(
            "a drift cannot be told from these values",
            f"{count} values over {np.ptp(at) if count else 0.0:g} hours",
            f"take at least {least} values at different times",
        )
    weight = np.ones(count) if std is None else 1.0 / locked(std, (count,), "std") ** 2
    middle = float((weight * at).sum() / weight.sum())
    apart = at - middle
    square = float((weight * apart**2).sum())
    level = float((weight * read).sum() / weight.sum())
    rate = float((weight * apart * read).sum() / square)
    vpv = float((weight * (read - level - rate * apart) ** 2).sum())
    factor, dof = _enlarged(vpv, count - 2, std is None)
    usual = math.sqrt(1.0 / float(np.median(weight)))
    return Drift(
        middle,
        level,
        rate,
        factor / math.sqrt(float(weight.sum())),
        factor / math.sqrt(square),
        factor * usual,
        dof,
        vpv,
        count,
    )


def _enlarged(vpv: float, free: int, unknown: bool) -> tuple[float, float]:
    """Factor on the standard uncertainties, and their degrees of freedom."""
    from scipy.special import chdtrc

    if unknown:
        return math.sqrt(vpv / free), float(free)
    # Below one chance in twenty the stated uncertainties do not explain the scatter about the line.
    if free > 0 and float(chdtrc(free, vpv)) < 0.05:
        return math.sqrt(vpv / free), float(free)
    return 1.0, math.inf


def find_leaving(drift: Drift, lower: float, upper: float, now: float, coverage: float = 0.95) -> Leaving:
    """When a line leaves the band from lower to upper; either may be infinite.

    coverage : of the prediction interval that counts for the earliest time, two-sided
    """
    width = drift.factor(coverage)
    return Leaving(
        _first_outside(drift, lower, upper, now, width), _first_outside(drift, lower, upper, now, 0.0)
    )


def _first_outside(drift: Drift, lower: float, upper: float, now: float, width: float) -> float | None:
    reach = width * drift.prediction_std(now)
    if drift.value(now) + reach > upper or drift.value(now) - reach < lower:
        return now
    crossings = [
        time
        for limit, side in ((upper, 1.0), (lower, -1.0))
        if math.isfinite(limit)
        for time in _crossings(drift, limit, width)
        if time > now and side * (limit - drift.value(time)) >= -_ROUNDING * max(abs(limit), abs(drift.level))
    ]
    return min(crossings, default=None)


def _crossings(drift: Drift, limit: float, width: float) -> list[float]:
    """Times at which the line lies width prediction standard deviations from a limit, on either side of it.

    (level + rate t - limit)^2 = width^2 (level_std^2 + scatter^2 + rate_std^2 t^2), t counted from the middle.
    """
    room = drift.level - limit
    a = drift.rate**2 - (width * drift.rate_std) ** 2
    b = 2.0 * drift.rate * room
    c = room**2 - width**2 * (drift.level_std**2 + (drift.scatter_std if width else 0.0) ** 2)
    if width == 0.0:
        return [] if drift.rate == 0.0 else [drift.middle - room / drift.rate]
    if abs(a) < 1e-300:
        return [] if b == 0.0 else [drift.middle - c / b]
    inside = b * b - 4.0 * a * c
    if inside < -1e-12 * b * b:
        return []
    inside = max(inside, 0.0)
    # The stable pair of roots: Press and others, Numerical Recipes, 5.6 (memory).
    q = -0.5 * (b + math.copysign(math.sqrt(inside), b))
    roots = [q / a, *([c / q] if q != 0.0 else [])]
    return [drift.middle + root for root in roots]
