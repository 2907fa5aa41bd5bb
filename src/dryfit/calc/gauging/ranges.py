"""A gauge study by ranges: quick to follow with pencil and paper, and a check on the analysis of variance.

Source: measurement systems analysis manual, average and range method (memory; reproduces the published study).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked

# Mean and standard deviation of the range of n normal values of unit standard deviation, n = 2 to 10:
# H. L. Harter 1960, as in every table of control chart constants (memory; the tests integrate them anew).
_D2 = (1.12838, 1.69257, 2.05875, 2.32593, 2.53441, 2.70436, 2.84720, 2.97003, 3.07751)
_D3 = (0.85250, 0.88837, 0.87981, 0.86408, 0.84804, 0.83321, 0.81983, 0.80783, 0.79705)
LARGEST_GROUP = 10
_MANY_GROUPS = 15  # beyond it the manual takes the limit for infinitely many


@dataclass(frozen=True, slots=True)
class RangeStudy:
    """Standard deviations by the range method, all in the unit of the readings.

    repeatability    equipment variation
    reproducibility  appraiser variation; 0 where the repeatability explains what people differ by, and None
                     with one person
    both             of repeatability and reproducibility
    parts            of the parts
    total            of everything
    dof              degrees of freedom of the repeatability
    """

    repeatability: float
    reproducibility: float | None
    both: float
    parts: float
    total: float
    dof: float

    @property
    def share(self) -> float:
        """Share of the spread of readings that is not the parts': both / total, of standard deviations."""
        return self.both / self.total


def range_factor(size: int, groups: int) -> float:
    """By which a mean range is divided to give a standard deviation: d2*, or d2 for more than 15 groups.

    size : values in a group, 2 to 10   groups : ranges that were averaged
    Raises ValueError outside of the table.
    Source: A. J. Duncan, d2* = sqrt(d2^2 + d3^2 / groups) (memory).
    """
    d2, d3 = _constants(size)
    return d2 if groups > _MANY_GROUPS else math.sqrt(d2**2 + d3**2 / groups)


def range_dof(size: int, groups: int) -> float:
    """Degrees of freedom of a standard deviation from a mean range of several groups.

    The chi distribution whose standard deviation over root mean square is that of the mean range.
    Source: P. B. Patnaik 1950 (memory; one group of two is exactly one degree of freedom).
    """
    d2, d3 = _constants(size)
    wanted = d2**2 / (d2**2 + d3**2 / groups)  # of a chi variable: (mean / root mean square)^2
    low, high = 0.5, 1e6
    for _ in range(100):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if _chi_ratio(middle) < wanted else (low, middle)
    return math.sqrt(low * high)


def analyse_ranges(readings: Array) -> RangeStudy:
    """The study of readings (people, parts, trials), each part read equally often by each person.

    Raises ValueError where there are fewer than two parts or two trials, or more than LARGEST_GROUP of people,
    parts or trials.
    """
    values = locked(readings, (None, None, None), "readings")
    people, parts, trials = values.shape
    mean_range = float(np.ptp(values, axis=2).mean())
    spread_of_people = float(np.ptp(values.mean(axis=(1, 2))))
    spread_of_parts = float(np.ptp(values.mean(axis=(0, 2))))
    return split_ranges(mean_range, spread_of_people, spread_of_parts, people, parts, trials)


def split_ranges(
    mean_range: float, spread_of_people: float, spread_of_parts: float, people: int, parts: int, trials: int
) -> RangeStudy:
    """The study from its three ranges: mean range over trials, range of people's means, range of parts' means."""
    repeatability = mean_range / range_factor(trials, people * parts)
    reproducibility = None
    if people > 1:
        of_means = spread_of_people / range_factor(people, 1)
        reproducibility = math.sqrt(max(of_means**2 - repeatability**2 / (parts * trials), 0.0))
    both = math.hypot(repeatability, reproducibility or 0.0)
    between = spread_of_parts / range_factor(parts, 1)
    return RangeStudy(
        repeatability=repeatability,
        reproducibility=reproducibility,
        both=both,
        parts=between,
        total=math.hypot(both, between),
        dof=range_dof(trials, people * parts),
    )


def _constants(size: int) -> tuple[float, float]:
    if not 2 <= size <= LARGEST_GROUP:
        raise ValueError(f"ranges are tabulated for groups of 2 to {LARGEST_GROUP}, not {size}")
    return _D2[size - 2], _D3[size - 2]


def _chi_ratio(dof: float) -> float:
    """(mean / root mean square)^2 of a chi variable, which is below 1 and grows with dof."""
    log_mean = math.lgamma((dof + 1.0) / 2.0) - math.lgamma(dof / 2.0)
    return 2.0 * math.exp(2.0 * log_mean) / dof
