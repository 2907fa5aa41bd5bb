"""The best amounts of work that move results with limits, linearly.

    result = expected + columns @ amounts,    the work itself being uncertain

The amounts that bring the results nearest to their targets are a least-squares solution, which is exact in closed form.
What counts is the probability out of limits, and a builder works in steps: so all amounts of a grid are compared, and
the one of least risk is taken. Doing nothing is always among them, so that the choice is never worse than that.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray

_AT_ONCE = 200_000  # results times combinations held in memory together
_ALIKE = 1e-12  # risks closer than this are alike: then the less work is taken


@dataclass(frozen=True, slots=True, eq=False)
class Results:
    """k normal results with limits.

    mean, std     (k,) expected, and standard uncertainty, in the unit of each
    lower, upper  (k,) infinite where there is no limit
    target        (k,) where each would best be
    weight        (k,) of each in a sum of risks [-]
    """

    mean: Array
    std: Array
    lower: Array
    upper: Array
    target: Array
    weight: Array


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """amounts (a,); risk: weighted sum of the probabilities out of limits; outside (k,) these probabilities."""

    amounts: Array
    risk: float
    outside: Array


def risk_outside(mean: Array, std: Array, lower: Array, upper: Array) -> Array:
    """Probability of each normal value outside its limits; by which side it lies on where std is 0. All broadcast."""
    from scipy.special import ndtr

    safe = np.where(std > 0.0, std, 1.0)
    spread = ndtr((lower - mean) / safe) + ndtr((mean - upper) / safe)
    certain = ((mean < lower) | (mean > upper)).astype(np.float64)
    outside: Array = np.where(std > 0.0, np.minimum(spread, 1.0), certain)
    return outside


def balancing_amounts(results: Results, columns: Array) -> Array:
    """(a,) amounts that bring the results nearest to their targets, each departure counted in its own std.

    columns : (k, a) by how much each result moves per unit of each amount
    A result without uncertainty counts as if it had the least std of the others, or 1 where none has any.
    Of several solutions the least. Source: weighted least squares, closed form.
    """
    known = results.std[results.std > 0.0]
    std = np.where(results.std > 0.0, results.std, known.min() if len(known) else 1.0)
    scale = np.sqrt(results.weight) / std
    found = np.linalg.lstsq(scale[:, None] * columns, scale * (results.target - results.mean), rcond=None)[0]
    return np.asarray(found, dtype=np.float64)


def best_amounts(
    results: Results, columns: Array, spread: Array, groups: Sequence[int], grids: Sequence[Array]
) -> Choice:
    """The amounts of least risk among all combinations of the grids.

    columns : (k, a) by how much each result moves per unit of each amount
    spread  : (k, g) variance that each of g pieces of work adds to the results where it is done at all
    groups  : (a,) which piece of work each amount belongs to: amounts of one piece have one sign, or are 0
    grids   : (a,) amounts to choose among; each must hold 0
    Raises ValueError where a grid does not hold 0.
    """
    if any(not (grid == 0.0).any() for grid in grids):
        raise ValueError("doing nothing must be among the choices")
    amounts = np.stack(np.meshgrid(*grids, indexing="ij"), axis=-1).reshape(-1, len(grids))
    amounts = amounts[_has_one_sign(amounts, groups)]
    # The least work first: of what is alike, the first is taken.
    amounts = amounts[np.argsort(np.abs(amounts).sum(axis=1), kind="stable")]
    risks = np.empty(len(amounts))
    step = max(1, _AT_ONCE // max(1, len(results.mean)))
    for start in range(0, len(amounts), step):
        some = slice(start, start + step)
        risks[some] = _outside(results, columns, spread, groups, amounts[some]) @ results.weight
    chosen = int(np.nonzero(risks <= risks.min() + _ALIKE)[0][0])
    outside = _outside(results, columns, spread, groups, amounts[chosen : chosen + 1])[0]
    return Choice(amounts[chosen], float(risks[chosen]), outside)


def _outside(results: Results, columns: Array, spread: Array, groups: Sequence[int], amounts: Array) -> Array:
    """(c, k) probabilities out of limits for each of c combinations."""
    mean = results.mean + amounts @ columns.T
    done = np.stack(
        [(amounts[:, np.array(groups) == g] != 0.0).any(axis=1) for g in range(spread.shape[1])], axis=1
    )
    std = np.sqrt(results.std**2 + done @ spread.T)
    return risk_outside(mean, std, results.lower, results.upper)


def _has_one_sign(amounts: Array, groups: Sequence[int]) -> BoolArray:
    sound = np.ones(len(amounts), dtype=bool)
    for group in set(groups):
        mine = amounts[:, np.array(groups) == group]
        sound &= ~((mine > 0.0).any(axis=1) & (mine < 0.0).any(axis=1))
    return sound
