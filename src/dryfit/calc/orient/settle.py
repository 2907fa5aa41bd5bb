"""From turns on a grid to turns of any size, and back to round ones where that costs nothing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.orient.turns import turn_basis, turn_curvatures, turn_slopes

_MOST_STEPS = 60
_CONVERGED_DEG = 1e-7


@dataclass(frozen=True, slots=True, eq=False)
class Turns:
    """Parts that turn freely: loss = |base + sum of basis(turn) @ coefficients|^2.

    base          (d,)
    coefficients  per part (5, d)
    """

    base: Array
    coefficients: tuple[Array, ...]


def turns_sum(turns: Turns, turn_deg: Array) -> Array:
    """(d,) what base and parts add up to at these turns (parts,)."""
    total = turns.base.copy()
    for basis, coefficients in zip(turn_basis(turn_deg), turns.coefficients, strict=True):
        total += basis @ coefficients
    return total


def turns_loss(turns: Turns, turn_deg: Array) -> float:
    """Loss at these turns (parts,) [deg]."""
    total = turns_sum(turns, turn_deg)
    return float(total @ total)


def settle_turns(turns: Turns, start_deg: Array, moves: BoolArray, most_deg: float) -> Array:
    """(parts,) [deg] turns of least loss near the start, those of the parts that do not move kept.

    most_deg : how far a turn may leave its start
    Source: Newton's method, the curvatures taken by their size, with a damped step (memory). A turn acts
    through its own part alone, so that the second derivatives add to the diagonal only.
    """
    current = start_deg.copy()
    loss, damping = turns_loss(turns, current), 1e-3
    which = np.nonzero(moves)[0]
    for _ in range(_MOST_STEPS if len(which) else 0):
        total = turns_sum(turns, current)
        slopes = turn_slopes(current)
        jacobian = np.array([slopes[part] @ turns.coefficients[part] for part in which])
        bends = turn_curvatures(current)
        curvature = [float(bends[part] @ turns.coefficients[part] @ total) for part in which]
        square = jacobian @ jacobian.T + np.diag(curvature)
        step = _downhill(square, jacobian @ total, damping)
        trial = current.copy()
        trial[which] = np.clip(
            current[which] + np.degrees(step), start_deg[which] - most_deg, start_deg[which] + most_deg
        )
        reached = turns_loss(turns, trial)
        moved = float(np.abs(trial - current).max())
        if reached < loss:
            current, loss, damping = trial, reached, damping * 0.1
        else:
            damping *= 10.0
        if moved < _CONVERGED_DEG:
            break
    return current


def _downhill(square: Array, gradient: Array, damping: float) -> Array:
    """A damped Newton step (n,) that descends whatever the signs of the curvatures are."""
    values, vectors = np.linalg.eigh(square)
    largest = float(np.abs(values).max())
    if largest == 0.0:
        return np.zeros(len(gradient))
    step: Array = -vectors @ ((vectors.T @ gradient) / (np.abs(values) + damping * largest))
    return step


def round_turns(
    turns: Turns,
    turn_deg: Array,
    moves: BoolArray,
    steps_deg: Sequence[float],
    allowance: float,
    fits: Callable[[int, float], bool],
) -> Array:
    """(parts,) [deg] the same turns, each rounded to the first of the steps whose loss hardly changes.

    steps_deg : coarsest first; the last one is taken whatever it costs
    allowance : by how much one part's rounding may raise the loss
    fits : whether a part may take a turn
    """
    current = turn_deg.copy()
    for part in np.nonzero(moves)[0].tolist():
        before = turns_loss(turns, current)
        for step in steps_deg:
            trial = current.copy()
            trial[part] = step * round(current[part] / step)
            cheap = turns_loss(turns, trial) <= before + allowance or step == steps_deg[-1]
            if cheap and fits(part, float(trial[part])):
                current = trial
                break
    return current
