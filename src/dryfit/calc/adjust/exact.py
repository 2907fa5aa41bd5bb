"""Adjustment with rows that hold exactly beside rows that were measured, and with unknowns that nothing determines.

Exact rows are no observations of very small variance: their directions are eliminated, so that they hold to rounding
whatever their units. Unknowns that stay free are named and keep their start; all others are as if the free ones were
not there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.adjust.exact_record import ExactAdjustment
from dryfit.calc.adjust.indistinct import RANK, Combination, column_scale, explain_indistinct, names_of
from dryfit.calc.adjust.nonlinear import MOST_STEPS, SETTLED, NotConverged
from dryfit.calc.adjust.quotients import Quotients
from dryfit.calc.adjust.records import Levels, keep
from dryfit.calc.adjust.solve import chance_of
from dryfit.calc.adjust.weights import Covariance, Weights, weights_of

# What rounding leaves of an exact row, against the size of its terms.
_HOLDS = 1e-9
# Below this share of the largest an exact row, or an unknown in a free direction, has no part.
_PART = 1e-7
# No step brings a divisor below this share of itself.
_KEPT = 0.2


class Contradiction(ComputationRefused):
    """Exact rows that cannot hold together; rows: their indices among the exact ones."""

    def __init__(self, what: str, where: str, do: str, rows: Sequence[int] = ()) -> None:
        super().__init__(what, where, do)
        self.rows = tuple(rows)

    def __reduce__(self) -> tuple[type, tuple[str, str, str, tuple[int, ...]]]:
        return (type(self), (self.what, self.where, self.do, self.rows))


def adjust_exactly(
    rows: Quotients,
    observed: Array,
    covariance: Covariance,
    exact: Quotients,
    exact_values: Array,
    start: Array,
    names: Sequence[str] = (),
    levels: Levels | None = None,
) -> ExactAdjustment:
    """Estimate n unknowns from m observations, with k rows that hold exactly.

    rows, observed (m,), covariance (m,), (m, m) or blocks : the observations
    exact, exact_values (k,) : what holds exactly
    start : (n,) where nonlinear rows begin, and where unknowns stay that nothing determines
    Raises Contradiction where exact rows cannot hold together, NotConverged, ComputationRefused for a covariance
    that is none.
    Source: least squares with constraints by elimination, Golub and Van Loan, Matrix Computations, 6.2 (memory);
    Gauss-Newton for rows that are not linear; test values as in adjust.
    """
    problem = _Problem(
        rows,
        np.asarray(observed, dtype=np.float64),
        weights_of(covariance, len(rows)),
        exact,
        np.asarray(exact_values, dtype=np.float64),
    )
    labels = names_of(names, len(start))
    theta = np.array(start, dtype=np.float64)
    is_linear = bool(rows.is_linear.all() and exact.is_linear.all())
    if not is_linear:
        theta = _begin(problem, theta)
    for count in range(1, MOST_STEPS + 1):
        step = _step(problem, theta)
        theta = theta + _damped(problem, theta, step.move)
        room = SETTLED * np.sqrt(np.maximum(np.diag(step.covariance), 0.0)) + 1e-11 * np.abs(theta)
        if is_linear or (np.abs(step.move) <= room).all():
            # The same factors once more take up what rounding left.
            theta = theta + _move(problem, theta, step)
            return _judge(problem, theta, step, labels, levels or Levels(), count)
    raise NotConverged(
        f"{MOST_STEPS} steps were made and the last still moved an unknown",
        "ratios between the unknowns",
        "look for a gross error among the observations, or measure one of the unknowns itself",
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    rows: Quotients
    observed: Array
    weights: Weights
    exact: Quotients
    exact_values: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """One linearised step.

    move      (n,) of the unknowns
    free      (n, f) directions that nothing determines
    inverse   (n, k) smallest change of the unknowns that a unit of each exact row takes
    solver    (n, d) from basis to unknowns   basis (m, d) orthonormal, of the whitened rows
    design    (m, n) derivatives of the observations
    """

    move: Array
    free: Array
    inverse: Array
    solver: Array
    basis: Array
    design: Array
    exact_design: Array

    @property
    def covariance(self) -> Array:
        covariance: Array = self.solver @ self.solver.T
        return covariance


def _begin(problem: _Problem, theta: Array) -> Array:
    """A start from the rows that are linear; unknowns that only others determine keep theirs."""
    soft, hard = problem.rows.is_linear, problem.exact.is_linear
    matrix = np.vstack([problem.rows.top[soft], problem.exact.top[hard]])
    left = np.concatenate([problem.observed[soft], problem.exact_values[hard]]) - matrix @ theta
    if not len(matrix):
        return theta
    moved = theta + np.linalg.lstsq(matrix, left, rcond=RANK)[0]
    # Ratios are of lengths: what a first step makes negative begins at its start.
    return np.where(moved > 0.0, moved, theta)


def _step(problem: _Problem, theta: Array) -> _Step:
    from scipy.linalg import qr, svd

    _, design = problem.rows.at(theta)
    _, exact_design = problem.exact.at(theta)
    inverse, null = _eliminate(exact_design)
    whitened = problem.weights.whiten(design @ null)
    scale = column_scale(whitened)
    basis, triangle = qr(whitened / scale, mode="economic")
    turn, values, mixed = svd(triangle, full_matrices=True)
    full = np.zeros(null.shape[1])
    full[: len(values)] = values
    known = full > RANK * max(float(full.max(initial=0.0)), np.finfo(float).tiny)
    vectors = mixed.T / scale[:, None]
    basis = basis @ turn[:, : int(known.sum())]
    solver = null @ (vectors[:, known] / full[known])
    free = null @ vectors[:, ~known]
    step = _Step(np.zeros(len(theta)), free, inverse, solver, basis, design, exact_design)
    return replace(step, move=_move(problem, theta, step))


def _move(problem: _Problem, theta: Array, step: _Step) -> Array:
    """(n,) step of the unknowns: first onto the exact rows, then along what they leave."""
    predicted, _ = problem.rows.at(theta)
    held, _ = problem.exact.at(theta)
    first = step.inverse @ (problem.exact_values - held)
    left = problem.weights.whiten(problem.observed - predicted - step.design @ first)
    move: Array = first + step.solver @ (step.basis.T @ left)
    return move


def _eliminate(exact: Array) -> tuple[Array, Array]:
    """(n, k) pseudo-inverse and (n, n - rank) null space of the exact rows, each scaled to its own length."""
    count, unknowns = exact.shape
    if not count:
        return np.zeros((unknowns, 0)), np.eye(unknowns)
    length = np.linalg.norm(exact, axis=1)
    length[length == 0.0] = 1.0
    left, values, right = np.linalg.svd(exact / length[:, None], full_matrices=True)
    rank = int((values > RANK * values.max(initial=0.0)).sum())
    inverse = (right[:rank].T / values[:rank]) @ left[:, :rank].T / length
    return inverse, np.asarray(right[rank:].T)


def _damped(problem: _Problem, theta: Array, move: Array) -> Array:
    """The step, shortened until no divisor vanishes or changes its sign."""
    before = np.concatenate([problem.rows.divisors(theta), problem.exact.divisors(theta)])
    share = 1.0
    while share > 1e-6:
        there = theta + share * move
        after = np.concatenate([problem.rows.divisors(there), problem.exact.divisors(there)])
        if (after * np.sign(before) >= _KEPT * np.abs(before)).all():
            break
        share *= 0.5
    return share * move


def _judge(
    problem: _Problem, theta: Array, step: _Step, names: tuple[str, ...], levels: Levels, iterations: int
) -> ExactAdjustment:
    _check_exact(problem, theta)
    predicted, _ = problem.rows.at(theta)
    residual = problem.observed - predicted
    weights = problem.weights
    whitened = weights.whiten(residual)
    seen = weights.weigh(step.basis)
    gain = step.solver @ seen.T
    soft = _precision(weights)
    own = np.diag(soft).copy()
    soft -= seen @ seen.T
    # A unit of error in an exact row shifts the observations by this, before the unknowns are estimated anew.
    shift = -step.design @ step.inverse
    crossed = soft @ shift
    pull = weights.weigh(whitened)
    vpv, dof = float(whitened @ whitened), len(residual) - step.basis.shape[1]
    size = np.abs(step.free).max(axis=0, initial=0.0)
    share = np.abs(step.free) / np.where(size > 0.0, size, 1.0)
    return ExactAdjustment(
        names=names,
        estimate=keep(theta),
        covariance=keep(step.covariance),
        is_determined=np.asarray(~(share > _PART).any(axis=1), dtype=np.bool_),
        free=_free(problem, step, names),
        residual=keep(residual),
        gain=keep(gain),
        matrix=keep(np.block([[soft, crossed], [crossed.T, shift.T @ crossed]])),
        pull=keep(np.concatenate([pull, shift.T @ pull])),
        moves=keep(np.hstack([-gain, -step.inverse - gain @ shift])),
        precision=keep(np.concatenate([own, np.zeros(shift.shape[1])])),
        vpv=vpv,
        dof=dof,
        p_value=chance_of(vpv, dof),
        levels=levels,
        iterations=iterations,
        design=keep(step.design),
        weights=weights,
        solver=keep(step.solver),
        open=keep(step.free),
    )


def _precision(weights: Weights) -> Array:
    """(m, m) inverse of the covariance, block by block."""
    from scipy.linalg import solve_triangular

    full, start = np.zeros((len(weights), len(weights))), 0
    for factor in weights.factors:
        place = slice(start, start + len(factor))
        if factor.ndim == 1:
            full[place, place] = np.diag(1.0 / factor**2)
        else:
            inverse = solve_triangular(factor, np.eye(len(factor)), lower=True)
            full[place, place] = inverse.T @ inverse
        start += len(factor)
    return full


def _free(problem: _Problem, step: _Step, names: tuple[str, ...]) -> tuple[Combination, ...]:
    if not step.free.shape[1]:
        return ()
    rows = np.vstack([problem.weights.whiten(step.design), step.exact_design])
    length = np.linalg.norm(rows, axis=1)
    kept = length > 0.0
    scaled = rows[kept] / length[kept, None]
    return explain_indistinct(scaled, np.ones(len(scaled)), names=names)


def _check_exact(problem: _Problem, theta: Array) -> None:
    """Exact rows hold to rounding, or contradict one another: the residual itself says which take part."""
    held, _ = problem.exact.at(theta)
    left = problem.exact_values - held
    # Sizes that must vanish leave no terms to hold rounding against: the observed ones serve.
    least = _HOLDS * float(np.abs(problem.observed).max(initial=0.0))
    size = np.maximum(np.maximum(problem.exact.size(theta), np.abs(problem.exact_values)), least)
    share = np.abs(left) / np.where(size > 0.0, size, 1.0)
    if not (share > _HOLDS).any():
        return
    part = np.flatnonzero(share > max(_PART * float(share.max()), _HOLDS))
    raise Contradiction(
        "exact values contradict one another",
        "exact rows " + ", ".join(str(int(row) + 1) for row in part),
        "correct one of them, or state how uncertain it is",
        [int(row) for row in part],
    )
