"""Control charts: individuals, exponentially weighted moving average, cumulative sum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, locked

# Mean range of two normal values over their standard deviation: 2 / sqrt(pi) = 1.128.
# Source: NIST/SEMATECH e-Handbook, 6.3.2.2 (d2 for n = 2; printed to four digits, and used so there).
MEAN_RANGE_OF_TWO = 1.128
# Usual widths, in standard deviations; Montgomery, Introduction to Statistical Quality Control (memory).
WIDTH = 3.0
EWMA_WEIGHT = 0.3


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """n points with their limits.

    points        (n,) what is drawn: the values themselves, or their weighted average
    center        the level that is held
    lower, upper  (n,) limits at each point
    std           standard deviation of one value, from which the limits come
    """

    points: Array
    center: float
    lower: Array
    upper: Array
    std: float

    def __post_init__(self) -> None:
        for name in ("points", "lower", "upper"):
            object.__setattr__(self, name, locked(getattr(self, name), (len(self.points),), name))

    @property
    def is_outside(self) -> BoolArray:
        """(n,) whether a point lies beyond its limits."""
        return np.asarray((self.points < self.lower) | (self.points > self.upper), dtype=np.bool_)


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeSums:
    """Tabular cumulative sums of n values.

    high, low  (n,) sums of what lies above the target by more than the slack, and below it
    limit      beyond which either is an alarm
    alarm      index of the first alarm; None without one
    """

    high: Array
    low: Array
    limit: float
    alarm: int | None

    def __post_init__(self) -> None:
        for name in ("high", "low"):
            object.__setattr__(self, name, locked(getattr(self, name), (len(self.high),), name))


def mean_moving_range(values: Array) -> float:
    """Mean of the differences of neighbours, without sign.

    values : (n,), n at least 2
    Raises ValueError for fewer.
    Source: NIST/SEMATECH e-Handbook, 6.3.2.2.
    """
    if len(values) < 2:
        raise ValueError("a moving range needs two values")
    return float(np.abs(np.diff(values)).mean())


def chart_individuals(values: Array, width: float = WIDTH, least_std: float = 0.0) -> Chart:
    """Individuals chart: mean of the values, limits from their mean moving range.

    values : (n,), n at least 2   width : of the limits in standard deviations
    least_std : standard deviation that one value has at least, such as by the step of its instrument: values that
    fall on one step by luck must not draw the limits together
    Source: NIST/SEMATECH e-Handbook, 6.3.2.2: mean +- 3 mean moving range / 1.128.
    """
    points = np.asarray(values, dtype=np.float64)
    std = max(mean_moving_range(points) / MEAN_RANGE_OF_TWO, least_std)
    center = float(points.mean())
    reach = np.full(len(points), width * std)
    return Chart(points, center, center - reach, center + reach, std)


def chart_ewma(
    values: Array,
    target: float,
    std: float,
    weight: float = EWMA_WEIGHT,
    width: float = WIDTH,
    settled: bool = False,
) -> Chart:
    """Chart of the exponentially weighted moving average, which sees small lasting shifts sooner.

    values : (n,)   target : the level that is held, where the average begins   std : of one value
    weight : of the newest value, above 0 and up to 1
    settled : True for the limits that the exact ones approach; False for the exact ones, narrower at first
    Source: NIST/SEMATECH e-Handbook, 6.3.2.4 (settled limits); exact ones: Montgomery, 9.2 (memory).
    """
    if not 0.0 < weight <= 1.0:
        raise ValueError(f"the weight lies between 0 and 1: {weight}")
    average, points = target, np.empty(len(values))
    for index, value in enumerate(values):
        average = weight * float(value) + (1.0 - weight) * average
        points[index] = average
    number = np.arange(1, len(points) + 1)
    share = np.ones(len(points)) if settled else 1.0 - (1.0 - weight) ** (2.0 * number)
    reach = width * std * np.sqrt(weight / (2.0 - weight) * share)
    return Chart(points, target, target - reach, target + reach, std)


def sum_up(values: Array, target: float, slack: float, limit: float) -> CumulativeSums:
    """Tabular cumulative sums of the values about a target.

    values : (n,)   slack : half the shift that is to be seen (k)   limit : of either sum (h), all in one unit
    Source: NIST/SEMATECH e-Handbook, 6.3.2.3.
    """
    high, low = np.zeros(len(values)), np.zeros(len(values))
    above = below = 0.0
    for index, value in enumerate(values):
        above = max(0.0, above + float(value) - target - slack)
        below = max(0.0, below + target - slack - float(value))
        high[index], low[index] = above, below
    alarms = np.flatnonzero((high > limit) | (low > limit))
    return CumulativeSums(high, low, limit, int(alarms[0]) if len(alarms) else None)
