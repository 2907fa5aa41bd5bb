"""Which rows of an adjustment are doubtful, in order, and what the unknowns would be without each: no refit.

Taking a row out is the same as an unknown more, the gross error of that row. All that changes follows from the
adjustment at hand by updates of rank one, so that thousands of rows are looked at in the time of one adjustment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.adjust.blunders import ALIKE, critical_value
from dryfit.calc.adjust.exact_record import ExactAdjustment
from dryfit.calc.adjust.records import keep
from dryfit.calc.adjust.solve import chance_of

# Where the global test refuses already, a single row is named at this level of its own (common practice, no source).
PROTECTED = 0.01
# Test values nearer to one another than this are equal but for rounding.
_EQUAL = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class Without:
    """The adjustment without one row, and without those that were named before it.

    estimate, std  (n,)
    covariance     (n, n)
    vpv, dof, p_value  of its global test
    """

    estimate: Array
    covariance: Array
    vpv: float
    dof: int
    p_value: float | None

    @property
    def std(self) -> Array:
        """(n,) standard uncertainty of each estimate."""
        std: Array = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        return std


@dataclass(frozen=True, slots=True, eq=False)
class Doubt:
    """A row that is probably wrong.

    row         observations first, then exact rows
    normalised  its test value: departure over standard deviation
    limit       the test value beyond which it was named
    size, size_std  by how much it is off, and the standard uncertainty of that, in its own unit
    alike       rows that the others cannot tell from it
    """

    row: int
    normalised: float
    limit: float
    size: float
    size_std: float
    alike: tuple[int, ...]
    without: Without


@dataclass(frozen=True, slots=True, eq=False)
class Doubts:
    """critical: the test value beyond which a row is doubtful; level: of the family; tested: rows that can be.

    Where the global test refuses all rows together, a lower limit holds: that of each doubt.
    """

    found: tuple[Doubt, ...]
    critical: float
    level: float
    tested: int


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    """What the updates carry along; as of ExactAdjustment."""

    matrix: Array
    pull: Array
    moves: Array
    estimate: Array
    covariance: Array
    vpv: float
    dof: int
    able: BoolArray


def find_doubts(adjustment: ExactAdjustment, level: float = 0.05, most: int = 5) -> Doubts:
    """Name doubtful rows one after the other, each with the adjustment that is left without it.

    level : probability that any row of a sound adjustment is named by itself (Bonferroni)
    most : rows at most
    While the global test refuses, a row is named beyond 2.58: that something is wrong is known then, and only what
    is asked.
    Of rows that cannot be told apart the one is named that the others control most, an observation before an exact
    row; the others are listed as alike. Whether any is left out is for the user to decide.
    Source: data snooping, Baarda 1968; for correlated rows, Kok 1984 (memory).
    """
    state = _state_of(adjustment)
    tested = int(state.able.sum())
    critical = critical_value(level, tested)
    found: list[Doubt] = []
    while len(found) < most:
        test = _tests(state)
        row = _worst(state, test, adjustment)
        limit = _limit(state, critical, adjustment.levels.overall)
        if row is None or not abs(test[row]) > limit:
            break
        after = _taken_out(state, row)
        found.append(_doubt(state, after, row, test, limit))
        state = after
    return Doubts(tuple(found), critical, level, tested)


def leave_out(adjustment: ExactAdjustment, row: int) -> Without | None:
    """The adjustment without one row; None where the others do not control it, so that an unknown hangs on it."""
    state = _state_of(adjustment)
    return _without(_taken_out(state, row)) if state.able[row] else None


def _state_of(adjustment: ExactAdjustment) -> _State:
    """All rows in."""
    return _State(
        adjustment.matrix,
        adjustment.pull,
        adjustment.moves,
        adjustment.estimate,
        adjustment.covariance,
        adjustment.vpv,
        adjustment.dof,
        adjustment.is_controlled,
    )


def _limit(state: _State, critical: float, overall: float) -> float:
    """The limit of the family; once the global test refuses, that something is wrong need not be shown again."""
    chance = chance_of(state.vpv, state.dof)
    is_refused = chance is not None and chance < overall
    return min(critical, critical_value(PROTECTED, 1)) if is_refused else critical


def _tests(state: _State) -> Array:
    test = np.zeros(len(state.pull))
    test[state.able] = state.pull[state.able] / np.sqrt(np.diag(state.matrix)[state.able])
    return test


def _worst(state: _State, test: Array, adjustment: ExactAdjustment) -> int | None:
    size = np.abs(test)
    if not len(size) or not state.able.any():
        return None
    near = np.flatnonzero(size >= (1.0 - _EQUAL) * size.max())
    control = np.where(
        adjustment.precision > 0.0,
        np.diag(state.matrix) / np.where(adjustment.precision > 0.0, adjustment.precision, 1.0),
        -1.0,
    )
    best = near[control[near] >= control[near].max() - _EQUAL]
    return int(best[0])


def _taken_out(state: _State, row: int) -> _State:
    stiff = float(state.matrix[row, row])
    column, size = state.matrix[:, row], float(state.pull[row]) / stiff
    matrix = state.matrix - np.outer(column, column) / stiff
    own = np.diag(state.matrix)
    able = np.array(state.able & (np.diag(matrix) > 1e-9 * own), dtype=np.bool_)
    able[row] = False
    moved = state.moves[:, row]
    dof = state.dof - 1
    return _State(
        matrix,
        state.pull - column * size,
        state.moves - np.outer(moved, column) / stiff,
        state.estimate + moved * size,
        state.covariance + np.outer(moved, moved) / stiff,
        max(state.vpv - float(state.pull[row]) * size, 0.0),
        dof,
        able,
    )


def _without(state: _State) -> Without:
    return Without(
        keep(state.estimate), keep(state.covariance), state.vpv, state.dof, chance_of(state.vpv, state.dof)
    )


def _doubt(state: _State, after: _State, row: int, test: Array, limit: float) -> Doubt:
    stiff = float(state.matrix[row, row])
    scale = np.sqrt(np.where(state.able, np.diag(state.matrix), 1.0) * stiff)
    shared = np.abs(state.matrix[row]) / scale
    alike = np.flatnonzero((shared > ALIKE) & state.able & (np.abs(test) > limit))
    return Doubt(
        row=row,
        normalised=float(test[row]),
        limit=limit,
        size=float(state.pull[row]) / stiff,
        size_std=1.0 / float(np.sqrt(stiff)),
        alike=tuple(int(index) for index in alike if index != row),
        without=_without(after),
    )
