"""Accept, reject, or cannot tell: limits narrowed by the uncertainty of measuring."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Verdict = Literal["accept", "reject", "cannot tell"]

# Probability of conformity that an accepted value must have at least. Source: ISO 14253-1:2017, default (memory).
CONFORMITY = 0.95


@dataclass(frozen=True, slots=True)
class Acceptance:
    """A decision rule for a measured value.

    lower, upper    limits of what is measured; None: no limit on that side
    std             standard uncertainty of a measured value
    guard           by how much the limits are narrowed for acceptance, and widened for rejection
    """

    lower: float | None
    upper: float | None
    std: float
    guard: float

    @property
    def accept_lower(self) -> float | None:
        """From which on a value is accepted."""
        return None if self.lower is None else self.lower + self.guard

    @property
    def accept_upper(self) -> float | None:
        """Up to which a value is accepted."""
        return None if self.upper is None else self.upper - self.guard

    @property
    def can_accept(self) -> bool:
        """Whether any value would be accepted: not where the uncertainty fills the limits."""
        low, high = self.accept_lower, self.accept_upper
        return low is None or high is None or low <= high

    @property
    def capability(self) -> float | None:
        """Width of the limits over four standard uncertainties; None for one limit, infinite without uncertainty.

        Source: measurement capability index, JCGM 106:2012, 7.6.3 (memory).
        """
        if self.lower is None or self.upper is None:
            return None
        return math.inf if self.std == 0.0 else (self.upper - self.lower) / (4.0 * self.std)

    def judge(self, value: float) -> Verdict:
        """Accept within the narrowed limits, reject beyond the widened ones, between them nobody can tell."""
        low, high = self.accept_lower, self.accept_upper
        if (low is None or value >= low) and (high is None or value <= high):
            return "accept"
        below = self.lower is not None and value < self.lower - self.guard
        above = self.upper is not None and value > self.upper + self.guard
        return "reject" if below or above else "cannot tell"


def guard_limits(
    lower: float | None, upper: float | None, std: float, conformity: float = CONFORMITY
) -> Acceptance:
    """The rule by which a value at the edge of acceptance conforms with at least the stated probability.

    std : standard uncertainty of a measured value, in the unit of the limits
    Both edges count as one limit each: exact for a single limit, and where the other is far by the uncertainty.
    Raises ValueError for a negative std, limits the wrong way round, or a probability outside 0.5 to 1.
    Source: guarded acceptance, JCGM 106:2012, 8.3.2, with a guard band that gives the stated probability of
    conformity (7.3.1, table 1); decision rules of ISO 14253-1 (memory).
    """
    from scipy.special import ndtri

    if std < 0.0:
        raise ValueError("a standard uncertainty cannot be negative")
    if lower is not None and upper is not None and upper < lower:
        raise ValueError("the upper limit lies below the lower one")
    if not 0.5 <= conformity < 1.0:
        raise ValueError("a probability of conformity is from 0.5 to below 1")
    return Acceptance(lower, upper, std, float(ndtri(conformity)) * std)
