"""An adjustment that gross errors cannot bend: shown beside least squares where they may hide one another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.adjust.exact_record import ExactAdjustment
from dryfit.calc.adjust.records import keep

# Beyond this many standard uncertainties a residual counts by its size alone; for 95 % efficiency: Huber 1964 (memory).
HUBER = 1.345
# Beyond this many the weight falls to nothing (common practice, no source).
FALLING = 2.5
# Residuals below this share of their standard uncertainty count alike among absolute ones.
_BLUNT = 0.05
_MOST = 300
_MOST_ABSOLUTE = 20  # a start need not be exact
_CLOSE = 1e-9

_Rule = Callable[[Array], Array]


@dataclass(frozen=True, slots=True, eq=False)
class Robust:
    """estimate (n,); weight (m,) of each whitened observation, 1 where it counts in full; iterations."""

    estimate: Array
    weight: Array
    iterations: int


def adjust_huber(adjustment: ExactAdjustment, limit: float = HUBER) -> Robust:
    """The estimate whose sum of Huber losses of the whitened residuals is least; exact rows hold.

    Of an adjustment whose rows are not linear, the derivatives at its estimate are used.
    Source: Huber, Ann. Math. Stat. 35 (1964) 73, by reweighting (memory).
    """

    def rule(size: Array) -> Array:
        return np.minimum(1.0, limit / np.maximum(np.abs(size), limit))

    start = np.zeros(adjustment.solver.shape[1])
    return _moved(adjustment, *_reweigh(adjustment, start, rule))


def adjust_robustly(adjustment: ExactAdjustment) -> Robust:
    """The estimate that follows the observations which agree with one another, and lets go of the others.

    Absolute residuals first, which several gross errors bend little, then weights that fall to nothing beyond three
    standard uncertainties. It is shown beside the least squares and never takes their place.
    Source: danish method, Krarup, Juhl and Kubik 1980, from a start by least absolute residuals (memory).
    """

    def absolute(size: Array) -> Array:
        return _BLUNT / np.maximum(np.abs(size), _BLUNT)

    def falling(size: Array) -> Array:
        weight: Array = np.exp(np.minimum(0.0, 1.0 - (size / FALLING) ** 2))
        return weight

    start, _, first = _reweigh(adjustment, np.zeros(adjustment.solver.shape[1]), absolute, _MOST_ABSOLUTE)
    place, weight, second = _reweigh(adjustment, start, falling)
    return _moved(adjustment, place, weight, first + second)


def _reweigh(
    adjustment: ExactAdjustment, start: Array, rule: _Rule, most: int = _MOST
) -> tuple[Array, Array, int]:
    """Coordinates along the solver's columns, weights, and steps made."""
    basis = adjustment.weights.whiten(adjustment.design @ adjustment.solver)
    left = adjustment.weights.whiten(adjustment.residual)
    place, weight = start, rule(left - basis @ start)
    tiny = np.finfo(float).eps * np.eye(basis.shape[1])
    for count in range(1, most + 1):
        normal = (basis * weight[:, None]).T @ basis + tiny
        following = np.linalg.solve(normal, basis.T @ (weight * left))
        moved = float(np.abs(following - place).max(initial=0.0))
        place, weight = np.asarray(following), rule(left - basis @ following)
        if moved < _CLOSE:
            return place, weight, count
    return place, weight, most


def _moved(adjustment: ExactAdjustment, place: Array, weight: Array, count: int) -> Robust:
    return Robust(keep(adjustment.estimate + adjustment.solver @ place), keep(weight), count)
