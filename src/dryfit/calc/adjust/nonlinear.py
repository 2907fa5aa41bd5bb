"""Observations that are not linear in the unknowns: Gauss-Newton, each step an adjustment."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.calc.adjust.records import Adjustment, Levels, Prior, keep
from dryfit.calc.adjust.solve import adjust
from dryfit.calc.adjust.weights import Covariance, weights_of

Function = Callable[[Array], tuple[Array, Array]]

MOST_STEPS = 50
# Converged when no unknown moves by more than this share of its standard uncertainty.
SETTLED = 1e-6
_MOST_HALVINGS = 30


class NotConverged(DryfitError):
    """The steps of a nonlinear adjustment did not settle."""


def adjust_nonlinear(
    function: Function,
    start: Array,
    observed: Array,
    covariance: Covariance,
    prior: Prior | None = None,
    names: Sequence[str] = (),
    levels: Levels | None = None,
) -> Adjustment:
    """Estimate n unknowns from m observations: observed = function(unknowns) + noise.

    function : of (n,) unknowns: (m,) predicted values and their (m, n) derivatives
    start : (n,) where the steps begin   observed : (m,)   covariance : (m,), (m, m) or blocks
    A step that does not lower the weighted sum of squares is halved.
    Raises NotConverged, Indistinct, ComputationRefused.
    Source: Gauss-Newton with step halving, Nocedal and Wright, Numerical Optimization, 10.3 (memory).
    """
    values = np.asarray(observed, dtype=np.float64)
    theta = np.array(start, dtype=np.float64)
    weights = weights_of(covariance, len(values))

    def cost(at: Array) -> float:
        predicted = np.asarray(function(at)[0])
        if not np.isfinite(predicted).all():
            return np.inf
        whitened = weights.whiten(values - predicted)
        return float(whitened @ whitened) + _prior_cost(prior, at)

    reached = cost(theta)
    for count in range(1, MOST_STEPS + 1):
        predicted, jacobian = function(theta)
        step = adjust(
            jacobian, values - predicted, covariance, _moved(prior, theta), names=names, levels=levels
        )
        if np.max(np.abs(step.estimate) / step.std, initial=0.0) <= SETTLED:
            return replace(step, estimate=keep(theta + step.estimate), iterations=count)
        theta, reached = _shortened(cost, theta, step.estimate, reached)
    raise _not_converged(f"{MOST_STEPS} steps were made and the last still moved an unknown")


def _shortened(
    cost: Callable[[Array], float], theta: Array, step: Array, reached: float
) -> tuple[Array, float]:
    """The step halved until the weighted sum of squares does not grow."""
    room = 1e-9 * max(reached, 1.0) if np.isfinite(reached) else np.inf
    share = 1.0
    for _ in range(_MOST_HALVINGS):
        there = theta + share * step
        value = cost(there)
        if value <= reached + room:
            return there, value
        share *= 0.5
    raise _not_converged("no step lowers the weighted sum of squares")


def _moved(prior: Prior | None, theta: Array) -> Prior | None:
    if prior is None:
        return None
    return Prior(prior.index, prior.mean - theta[prior.index], prior.covariance)


def _prior_cost(prior: Prior | None, theta: Array) -> float:
    if prior is None:
        return 0.0
    whitened = weights_of(prior.covariance, len(prior.index)).whiten(theta[prior.index] - prior.mean)
    return float(whitened @ whitened)


def _not_converged(what: str) -> NotConverged:
    return NotConverged(
        what,
        "the nonlinear adjustment",
        "begin nearer to the true values, and look for a gross error among the observations",
    )
