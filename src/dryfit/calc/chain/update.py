"""Readings as news about independent sources, worked in the space of the readings.

All sources are independent and of unit variance: machine figures, scatter of points, and what the readings bring
along themselves (the zero of an instrument, the hand). With m readings

    reading = expected + D x,    x ~ N(0, I)

the sources are expected at D^T V^-1 (reading - expected) afterwards, V = D D^T, and of a line l . x there remains
the error (P l) . x with P = I - D^T V^-1 D. P is a projection: what remains is a sum over the same independent
sources, so that shares of the variance that is left are squares: never negative, adding up to one, in no order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """k rows over the same s + p independent sources of unit variance: of readings, or of lines.

    shared  (k, s) dense: sources that many rows have in common
    own     (k, p) scipy sparse array: sources that few rows have
    """

    shared: Array
    own: Any

    def __len__(self) -> int:
        return len(self.shared)

    def crossed(self, other: Rows) -> Array:
        """(k, l) covariance of these rows with others."""
        crossed: Array = (self.own @ other.own.T).toarray() + self.shared @ other.shared.T
        return crossed

    def pick(self, places: IntArray) -> Rows:
        """The rows at these places."""
        return Rows(self.shared[places], self.own[places])


@dataclass(frozen=True, slots=True, eq=False)
class Update:
    """What m readings say of s + p sources.

    design      of the readings
    factor      (m, m) lower Cholesky factor of the covariance of the readings
    innovation  (m,) reading less what was expected of it
    innovation_std (m,) standard uncertainty of that difference beforehand
    weighted    (m,) V^-1 innovation
    shared, own (s,) and (p,) expected departures of the sources afterwards, in their standard deviations
    """

    design: Rows
    factor: Array
    innovation: Array
    innovation_std: Array
    weighted: Array
    shared: Array
    own: Array


def update_sources(design: Rows, innovation: Array) -> Update:
    """Condition independent sources of unit variance on m readings.

    design : reading = expected + design x; what the readings bring along themselves are sources too
    innovation : (m,) reading less what was expected of it
    Raises ValueError where two readings without any uncertainty of their own say the same thing.
    Source: Gaussian conditioning; Rasmussen and Williams 2006, appendix A.2 (memory).
    """
    from scipy.linalg import LinAlgError, cho_solve, cholesky

    total = design.crossed(design)
    std = np.sqrt(total.diagonal())
    try:
        # Column by column in memory, as the library wants it: the covariance is symmetric.
        factor = cholesky(total.T, lower=True, overwrite_a=True, check_finite=False)
    except LinAlgError as error:
        raise ValueError("two readings without noise say the same thing: state their uncertainty") from error
    weighted = cho_solve((factor, True), innovation, check_finite=False)
    return Update(
        design, factor, innovation, std, weighted, design.shared.T @ weighted, design.own.T @ weighted
    )


def gain_of(update: Update, lines: Rows) -> Array:
    """(k, m) by how much each line moves per unit of each innovation."""
    from scipy.linalg import cho_solve

    gain: Array = cho_solve((update.factor, True), update.design.crossed(lines), check_finite=False).T
    return gain


def remaining_lines(update: Update, lines: Rows) -> tuple[Array, Array]:
    """What remains of k lines after the readings: the error of each as a sum over the sources, (k, s) and (k, p)."""
    gain = gain_of(update, lines)
    return (
        lines.shared - gain @ update.design.shared,
        lines.own.toarray() - np.asarray(gain @ update.design.own),
    )


def group_tests(update: Update, groups: Sequence[IntArray]) -> tuple[Array, tuple[Array, ...]]:
    """How badly each group of readings as a whole lies off what all the others let expect: (g,) and each departure.

    The first is chi-square with as many degrees of freedom as the group has readings, where all is right; the
    second is by how much each reading of the group is off.
    Source: mean-shift outlier test of several observations; Cook and Weisberg 1982, 3.6 (memory).
    """
    inverse = _inverse_covariance(update)
    departures: list[Array] = [
        np.asarray(np.linalg.solve(inverse[np.ix_(group, group)], update.weighted[group])) for group in groups
    ]
    tests = [float(off @ update.weighted[group]) for off, group in zip(departures, groups, strict=True)]
    return np.array(tests), tuple(departures)


def _inverse_covariance(update: Update) -> Array:
    from scipy.linalg import lapack

    inverse, fault = lapack.dpotri(update.factor, lower=True)
    if fault:
        raise ValueError("the covariance of the readings is singular")
    whole: Array = np.tril(inverse) + np.tril(inverse, -1).T
    return whole


def common_shifts(update: Update, groups: Sequence[IntArray]) -> tuple[Array, Array]:
    """By how much the readings of each group lie off together, against what all the others let expect: (g,) and std.

    The shift over its std is standard normal where all is right. A group that nothing could contradict has shift 0
    with an infinite std.
    Source: mean-shift outlier test; Cook and Weisberg 1982, 2.2 (memory); Baarda 1968 for one reading (memory).
    """
    inverse = _inverse_covariance(update)
    shift, std = np.zeros(len(groups)), np.full(len(groups), np.inf)
    for index, group in enumerate(groups):
        weight = float(inverse[np.ix_(group, group)].sum())
        if weight > 0.0:
            shift[index] = float(update.weighted[group].sum()) / weight
            std[index] = weight**-0.5
    return shift, std
