"""Which observation is grossly wrong: data snooping, one suspect at a time, at a stated level for the family.

Nothing is rejected here. A suspect is set aside only to look for the next one; whether it is left out is for the
user to decide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.adjust.indistinct import Indistinct
from dryfit.calc.adjust.records import UNCONTROLLED, Adjustment, Levels, Prior
from dryfit.calc.adjust.solve import adjust_factored, factor
from dryfit.calc.adjust.weights import Covariance, dense

# Two suspicions whose test values are correlated more than this cannot be told apart by the observations
# (common practice, no source).
ALIKE = 0.95


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that may be wrong together by one amount: all repeats of one measure, or a single reading."""

    name: str
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Suspect:
    """A group of rows that is probably wrong.

    normalised    its test value: departure over standard deviation, standard normal without blunders
    redundancy    share of such a blunder that shows in the residuals, 0 to 1
    size, size_std  how far the rows are off together, and its standard uncertainty, in the unit of the observations
    exchanged     where exchanging two values explains more than leaving this group out: the two rows
    alike         names of other suspicions that the observations cannot tell from this one
    without       the adjustment without those rows, or with the values exchanged, and without the suspects before;
                  None where the unknowns are not determined without them
    """

    group: Group
    normalised: float
    redundancy: float
    size: float
    size_std: float
    exchanged: tuple[int, int] | None
    alike: tuple[str, ...]
    without: Adjustment | None


@dataclass(frozen=True, slots=True, eq=False)
class BlunderSearch:
    """What a search found.

    suspects     in the order in which they were found; empty where none was
    critical     a test value beyond which a group is suspect
    level        probability of any false alarm at all among the tests of the first round
    tested       number of groups that could be tested
    untested     names of groups that nothing controls
    adjustment   of all observations
    """

    suspects: tuple[Suspect, ...]
    critical: float
    level: float
    tested: int
    untested: tuple[str, ...]
    adjustment: Adjustment


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """What is adjusted in every round."""

    design: Array
    covariance: Array
    prior: Prior | None
    names: tuple[str, ...]
    groups: tuple[Group, ...]
    levels: Levels | None


@dataclass(frozen=True, slots=True, eq=False)
class _Round:
    """Test values of every group with some rows set aside.

    matrix      (m, m) P Q_v P, zero in rows set aside
    pull        (m,)   P v
    sums        (g, m) which rows each group adds up; zero where one of them is set aside
    precision   (g,)   of the test of each group; redundancy (g,) its share of what it would be without unknowns
    normalised  (g,)   test values; NaN where a group is not controlled or set aside
    """

    adjustment: Adjustment
    matrix: Array
    pull: Array
    sums: Array
    precision: Array
    redundancy: Array
    normalised: Array


def search_blunders(
    design: Array,
    observed: Array,
    covariance: Covariance,
    prior: Prior | None = None,
    names: Sequence[str] = (),
    groups: Sequence[Group] = (),
    level: float = 0.05,
    levels: Levels | None = None,
    exchange: bool = True,
    most: int = 5,
) -> BlunderSearch:
    """Name the groups of rows that are probably wrong, in order.

    design : (m, n)   observed : (m,)   covariance : (m,), (m, m) or blocks
    groups : what may be wrong together; each row alone where none are given
    level : of the family: the probability that any group is suspected where none is wrong (Bonferroni)
    exchange : whether to ask, once something is suspect, if exchanging two values explains more
    most : suspects at most
    Raises what adjust raises.
    Source: data snooping, Baarda 1968; for correlated rows and several at once, Kok 1984 (memory). The family level:
    Bonferroni's inequality.
    """
    values = np.array(observed, dtype=np.float64)
    tested = tuple(groups) or tuple(Group(f"row {row + 1}", (row,)) for row in range(len(values)))
    rows = np.asarray(design, dtype=np.float64)
    problem = _Problem(rows, dense(covariance), prior, tuple(names), tested, levels)
    kept = np.ones(len(values), dtype=np.bool_)
    turn = _round(problem, values, kept)
    able = np.isfinite(turn.normalised)
    critical = critical_value(level, int(able.sum()))
    untested = tuple(group.name for group, is_able in zip(tested, able, strict=True) if not is_able)
    suspects = _suspects(problem, turn, values, kept, critical, exchange, most)
    return BlunderSearch(tuple(suspects), critical, level, int(able.sum()), untested, turn.adjustment)


def _suspects(
    problem: _Problem,
    turn: _Round,
    values: Array,
    kept: BoolArray,
    critical: float,
    exchange: bool,
    most: int,
) -> Iterator[Suspect]:
    """One after the other; values and kept are working copies, in which each is set right before the next."""
    for _ in range(most):
        worst = _worst(turn, critical)
        if worst is None:
            return
        pair = _exchange(turn, values, kept, problem.groups[worst]) if exchange else None
        if pair is None:
            kept[list(problem.groups[worst].rows)] = False
        else:
            values[list(pair)] = values[list(pair[::-1])]
        try:
            following = _round(problem, values, kept)
        except Indistinct:
            # The unknowns hang on this one: the search ends here, and the suspect says so.
            yield _suspect(problem, turn, worst, critical, pair, None)
            return
        yield _suspect(problem, turn, worst, critical, pair, following)
        turn = following


def critical_value(level: float, tests: int) -> float:
    """Two-sided limit of a standard normal test value, for a false alarm at a level among several tests.

    Source: Bonferroni's inequality.
    """
    from scipy.special import ndtri

    return float(-ndtri(level / (2.0 * max(tests, 1))))


def _round(problem: _Problem, values: Array, kept: BoolArray) -> _Round:
    rows = np.flatnonzero(kept)
    block = np.ix_(rows, rows)
    factored = factor(problem.design[rows], problem.covariance[block], problem.prior, problem.names)
    adjustment = adjust_factored(factored, values[rows], problem.prior, problem.levels)
    weights, count, size = factored.weights, len(rows), len(values)
    precision = weights.weigh(weights.weigh(np.eye(len(weights))).T)[:count, :count]
    matrix, whole, pull = np.zeros((size, size)), np.zeros((size, size)), np.zeros(size)
    whole[block] = precision
    seen = factored.seen[:count]
    matrix[block] = precision - seen @ seen.T
    pull[rows] = precision @ adjustment.residual
    sums = np.zeros((len(problem.groups), size))
    for index, group in enumerate(problem.groups):
        if kept[list(group.rows)].all():
            sums[index, list(group.rows)] = 1.0
    return _tests(adjustment, matrix, whole, pull, sums)


def _tests(adjustment: Adjustment, matrix: Array, whole: Array, pull: Array, sums: Array) -> _Round:
    precision = ((sums @ matrix) * sums).sum(axis=1)
    total = ((sums @ whole) * sums).sum(axis=1)
    redundancy = np.divide(precision, total, out=np.zeros_like(precision), where=total > 0.0)
    able = redundancy > UNCONTROLLED
    normalised = np.full(len(sums), np.nan)
    normalised[able] = (sums @ pull)[able] / np.sqrt(precision[able])
    return _Round(adjustment, matrix, pull, sums, precision, redundancy, normalised)


def _worst(turn: _Round, critical: float) -> int | None:
    sizes = np.where(np.isfinite(turn.normalised), np.abs(turn.normalised), -1.0)
    worst = int(sizes.argmax()) if len(sizes) else 0
    return worst if len(sizes) and sizes[worst] > critical else None


def _exchange(turn: _Round, values: Array, kept: BoolArray, group: Group) -> tuple[int, int] | None:
    """The pair with a row of the group whose exchange lowers the weighted sum of squares by more than setting it aside.

    Moving the values by e lowers vPv by 2 e.P v - e.P Q_v P e; an exchange has no free amount, so that it may compete
    with the best free amount only by being nearly right in both rows.
    """
    best, pair = 0.0, None
    bound = float(np.nanmax(turn.normalised**2))
    for row in group.rows:
        apart = values[row] - values
        pulled = turn.pull[row] - turn.pull
        stiff = turn.matrix[row, row] + np.diag(turn.matrix) - 2.0 * turn.matrix[row]
        gain = np.where(kept, 2.0 * apart * pulled - apart**2 * stiff, -np.inf)
        other = int(gain.argmax())
        if gain[other] > max(best, bound):
            best, pair = float(gain[other]), (row, other)
    return pair


def _suspect(
    problem: _Problem,
    turn: _Round,
    worst: int,
    critical: float,
    pair: tuple[int, int] | None,
    following: _Round | None,
) -> Suspect:
    precision = float(turn.precision[worst])
    normalised = float(turn.normalised[worst])
    return Suspect(
        group=problem.groups[worst],
        normalised=normalised,
        redundancy=float(turn.redundancy[worst]),
        size=normalised / float(np.sqrt(precision)),
        size_std=1.0 / float(np.sqrt(precision)),
        exchanged=pair,
        alike=_alike(turn, worst, problem.groups, critical),
        without=None if following is None else following.adjustment,
    )


def _alike(turn: _Round, worst: int, groups: Sequence[Group], critical: float) -> tuple[str, ...]:
    """Other suspicions whose test values go with this one's."""
    shared = turn.sums @ turn.matrix @ turn.sums[worst]
    scale = np.sqrt(turn.precision * turn.precision[worst])
    able = np.isfinite(turn.normalised)
    alike = np.zeros(len(groups))
    alike[able] = np.abs(shared[able] / scale[able])
    return tuple(
        groups[int(index)].name
        for index in np.flatnonzero((alike > ALIKE) & (np.abs(turn.normalised) > critical))
        if index != worst
    )
