"""What an adjustment with exact rows says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.adjust.indistinct import Combination
from dryfit.calc.adjust.records import UNCONTROLLED, Levels
from dryfit.calc.adjust.weights import Weights


@dataclass(frozen=True, slots=True, eq=False)
class ExactAdjustment:
    """n unknowns from m observations and k exact rows.

    estimate       (n,)   start where an unknown is not determined
    covariance     (n, n) meaningless in rows of unknowns that are not determined
    is_determined  (n,)
    free           ways to change unknowns together that change nothing
    residual       (m,)   observed less estimated
    gain           (n, m) by how much each estimate moves with each observation: the weight of a source
    matrix         (m + k, m + k) P Q_v P of observations, then of exact rows as if each were an observation
    pull           (m + k,) what each row pulls with
    moves          (n, m + k) how a unit of gross error in each row, once taken out, moves the estimates
    precision      (m + k,) of each row by itself; 0 for exact rows, whose own has no bound
    vpv, dof, p_value  of the global test
    iterations     1 where all rows are linear
    design, weights   of the observations alone, at the estimate
    open           (n, f) columns that span what nothing determines
    solver         (n, d) columns that span what the observations determine: covariance = solver @ solver.T
    """

    names: tuple[str, ...]
    estimate: Array
    covariance: Array
    is_determined: BoolArray
    free: tuple[Combination, ...]
    residual: Array
    gain: Array
    matrix: Array
    pull: Array
    moves: Array
    precision: Array
    vpv: float
    dof: int
    p_value: float | None
    levels: Levels
    iterations: int
    design: Array
    weights: Weights
    solver: Array
    open: Array

    @property
    def count(self) -> int:
        """Observations, without exact rows."""
        return len(self.residual)

    @property
    def std(self) -> Array:
        """(n,) standard uncertainty of each estimate."""
        std: Array = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        return std

    @property
    def redundancy(self) -> Array:
        """(m,) diagonal of Q_v P: the share of each observation that the others control; adds up to dof."""
        taken: Array = np.einsum("ij,ji->i", self.design, self.gain)
        return 1.0 - taken

    @property
    def is_controlled(self) -> BoolArray:
        """(m + k,) rows that can be tested at all."""
        diagonal = np.diag(self.matrix)
        bound = np.where(self.precision > 0.0, UNCONTROLLED * self.precision, 0.0)
        largest = float(diagonal.max(initial=0.0))
        return np.asarray((diagonal > bound) & (diagonal > 1e-14 * largest), dtype=np.bool_)

    @property
    def normalised(self) -> Array:
        """(m + k,) test values, standard normal without blunders; NaN where a row is not controlled."""
        test = np.full(len(self.pull), np.nan)
        able = self.is_controlled
        test[able] = self.pull[able] / np.sqrt(np.diag(self.matrix)[able])
        return test

    @property
    def smallest_blunder(self) -> Array:
        """(m + k,) that would be noticed at the stated levels; infinite where a row is not controlled."""
        smallest = np.full(len(self.pull), np.inf)
        able = self.is_controlled
        smallest[able] = self.levels.noncentrality / np.sqrt(np.diag(self.matrix)[able])
        return smallest

    @property
    def is_consistent(self) -> bool | None:
        """Whether the global test passes at its level; None where it cannot be made."""
        return None if self.p_value is None else self.p_value >= self.levels.overall

    @property
    def unit_std(self) -> float:
        """Birge ratio; NaN without degrees of freedom."""
        return float(np.sqrt(self.vpv / self.dof)) if self.dof > 0 else float("nan")
