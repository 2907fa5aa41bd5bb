"""Small nonlinear least squares on any state that can be moved by a step: Levenberg's method, dense."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.photo.records import refusal

State = TypeVar("State")
_MOST_STEPS = 200
# A predicted gain of the weighted sum of squares below this moves nothing by a thousandth of its standard uncertainty.
SETTLED = 1e-10
# Directions of the scaled unknowns below this share of the largest singular value are not determined.
UNDETERMINED = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Solved(Generic[State]):
    """state: where the weighted sum of squares is least; residual (m,) and jacobian (m, n), both whitened, there."""

    state: State
    residual: Array
    jacobian: Array

    @property
    def vpv(self) -> float:
        """Weighted sum of squared residuals."""
        return float(self.residual @ self.residual)


def solve(
    evaluate: Callable[[State], tuple[Array, Array]],
    start: State,
    move: Callable[[State, Array], State],
    where: str,
) -> Solved[State]:
    """Least squares of whitened residuals (observed less predicted).

    evaluate : residual (m,) and derivative (m, n) of what is predicted by the step; residuals may be infinite
    Raises ComputationRefused where the steps do not settle.
    Source: Marquardt, J. SIAM 11 (1963) 431 (memory).
    """
    state, damping = start, 1e-6
    residual, jacobian = evaluate(state)
    cost = float(residual @ residual)
    for _ in range(_MOST_STEPS):
        step, gain = _step(residual, jacobian, damping)
        if gain <= SETTLED * (1.0 + 1e-6 * cost):
            return Solved(state, residual, jacobian)
        there = move(state, step)
        new_residual, new_jacobian = evaluate(there)
        new_cost = float(new_residual @ new_residual)
        if np.isfinite(new_cost) and new_cost <= cost:
            is_flat = cost - new_cost <= 1e-13 * cost
            state, residual, jacobian, cost = there, new_residual, new_jacobian, new_cost
            damping = max(damping * 0.1, 1e-15)
            if is_flat:
                return Solved(state, residual, jacobian)
        elif damping > 1e12:
            return Solved(state, residual, jacobian)
        else:
            damping = max(damping * 10.0, 1e-9)
    raise refusal(
        "the steps of the least-squares fit did not settle", where, "look for a gross error among the marks"
    )


def _step(residual: Array, jacobian: Array, damping: float) -> tuple[Array, float]:
    """The step, and the gain that it promises."""
    scale = np.sqrt((jacobian**2).sum(axis=0))
    scale[scale == 0.0] = 1.0
    values, right, pulled = _singular(jacobian / scale, residual)
    fine = values > UNDETERMINED * values.max(initial=1e-300)
    share = np.where(fine, values / (values**2 + damping), 0.0)
    step = right.T @ (share * pulled) / scale
    gain = float((pulled[fine] ** 2 * (1.0 - (damping / (values[fine] ** 2 + damping)) ** 2)).sum())
    return step, gain


def _singular(matrix: Array, residual: Array) -> tuple[Array, Array, Array]:
    """Singular values, right vectors as rows, and the residual along the left ones.

    Tall and large systems go through their normal matrix, many times quicker: what lies below its rounding counts as
    not determined, and is not moved along.
    """
    rows, columns = matrix.shape
    if rows > 3 * columns and columns > 20:
        squares, vectors = np.linalg.eigh(matrix.T @ matrix)
        fine = squares > 1e-13 * squares[-1]
        values = np.where(fine, np.sqrt(np.maximum(squares, 0.0)), 0.0)
        along = vectors.T @ (matrix.T @ residual)
        return values, vectors.T, np.where(fine, along / np.where(fine, values, 1.0), 0.0)
    basis, triangle = np.linalg.qr(matrix)
    left, values, right = np.linalg.svd(triangle, full_matrices=False)
    return values, right, left.T @ (basis.T @ residual)


def covariance_of(jacobian: Array) -> tuple[Array, Array]:
    """Covariance (n, n) of the unknowns and the directions (n, k) that are not determined at all.

    jacobian : (m, n) whitened. The covariance counts only what is determined.
    """
    scale = np.sqrt((jacobian**2).sum(axis=0))
    scale[scale == 0.0] = 1.0
    _, values, right = np.linalg.svd(np.linalg.qr(jacobian / scale, mode="r"), full_matrices=True)
    full = np.zeros(jacobian.shape[1])
    full[: len(values)] = values
    fine = full > UNDETERMINED * full.max(initial=1e-300)
    root = right[fine].T / full[fine] / scale[:, None]
    return root @ root.T, right[~fine].T / scale[:, None]


def add(state: Array, step: Array) -> Array:
    """The plain move of unknowns that simply add."""
    return state + step
