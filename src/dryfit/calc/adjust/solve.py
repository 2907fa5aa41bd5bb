"""Weighted least squares for correlated observations, with what the residuals can tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.adjust.indistinct import check_distinct, column_scale, names_of
from dryfit.calc.adjust.records import UNCONTROLLED, Adjustment, Expectation, Levels, Prior, keep
from dryfit.calc.adjust.weights import Covariance, Weights, weights_of


@dataclass(frozen=True, slots=True, eq=False)
class Factored:
    """A design with its weights, factored: what does not depend on the observed values.

    design   (m + p, n) observations first, then what was known beforehand
    weights  of those rows
    basis    (m + p, n) orthonormal columns that span the whitened design
    solver   (n, n) from basis to unknowns: estimate = solver @ basis.T @ whitened observations
    count    m
    """

    design: Array
    weights: Weights
    basis: Array
    solver: Array
    count: int
    names: tuple[str, ...]

    @property
    def covariance(self) -> Array:
        """(n, n) of the estimates."""
        covariance: Array = self.solver @ self.solver.T
        return covariance

    @property
    def dof(self) -> int:
        return len(self.design) - int(self.design.shape[1])

    @property
    def seen(self) -> Array:
        """(m + p, n) weight matrix times design times solver: what of each row the estimates take up."""
        return self.weights.weigh(self.basis)

    def redundancy(self) -> Array:
        """(m + p,) diagonal of Q_v P, which adds up to dof."""
        taken: Array = ((self.design @ self.solver) * self.seen).sum(axis=1)
        left: Array = 1.0 - taken
        return left

    def residual_variance(self) -> Array:
        """(m + p,) diagonal of Q_v."""
        taken = ((self.design @ self.solver) ** 2).sum(axis=1)
        left: Array = np.maximum(self.weights.variance - taken, 0.0)
        return left

    def test_precision(self) -> Array:
        """(m + p,) diagonal of P Q_v P; 0 where the row is not controlled."""
        precision = self.weights.precision
        kept: Array = precision - (self.seen**2).sum(axis=1)
        return np.where(kept > UNCONTROLLED * precision, kept, 0.0)


def factor(
    design: Array, covariance: Covariance, prior: Prior | None = None, names: Sequence[str] = ()
) -> Factored:
    """Weigh and factor a design. Raises Indistinct, or ComputationRefused for a covariance that is none."""
    from scipy.linalg import qr, solve_triangular

    rows = np.asarray(design, dtype=np.float64)
    if rows.ndim != 2 or not np.isfinite(rows).all():
        raise ValueError("a design is a matrix of finite numbers")
    count, unknowns = rows.shape
    labels = names_of(names, unknowns)
    weights = weights_of(covariance, count)
    if prior is not None:
        rows = np.vstack([rows, prior.rows(unknowns)])
        known = weights_of(prior.covariance, len(prior.index), "the covariance of what was known beforehand")
        weights = Weights((*weights.factors, *known.factors))
    whitened = weights.whiten(rows)
    scale = column_scale(whitened)
    scaled = whitened / scale
    if len(rows) < unknowns:
        check_distinct(scaled, scale, labels)
    basis, triangle = qr(scaled, mode="economic")
    check_distinct(triangle, scale, labels)
    solver = solve_triangular(triangle, np.eye(unknowns)) / scale[:, None]
    return Factored(rows, weights, basis, solver, count, labels)


def expect(
    design: Array,
    covariance: Covariance,
    prior: Prior | None = None,
    names: Sequence[str] = (),
    levels: Levels | None = None,
) -> Expectation:
    """What observations would tell, before they are made.

    design : (m, n)   covariance : (m,) variances, (m, m), or blocks   names : (n,) of the unknowns
    Raises Indistinct where they cannot tell the unknowns apart.
    Source: least squares, e.g. JCGM 100:2008 H.3 and ISO/TS 28037:2010; redundancy numbers and the smallest blunder
    noticed: Baarda 1968 and Foerstner 1983 (memory).
    """
    factored = factor(design, covariance, prior, names)
    chosen = levels or Levels()
    redundancy, count = factored.redundancy(), factored.count
    return Expectation(
        factored.names,
        keep(factored.covariance),
        keep(redundancy[:count]),
        keep(redundancy[count:]),
        keep(_smallest(factored.test_precision(), chosen)[:count]),
        factored.dof,
        chosen,
    )


def adjust(
    design: Array,
    observed: Array,
    covariance: Covariance,
    prior: Prior | None = None,
    names: Sequence[str] = (),
    levels: Levels | None = None,
) -> Adjustment:
    """Estimate n unknowns from m observations that are linear in them: observed = design @ unknowns + noise.

    design : (m, n)   observed : (m,)   covariance : (m,) variances, (m, m), or blocks along its diagonal
    prior : what is known of some unknowns beforehand; the others stay flat
    Raises Indistinct where the observations cannot tell the unknowns apart, ComputationRefused where the covariance
    is none.
    Source: weighted least squares, ISO/TS 28037:2010 and JCGM 100:2008 H.3; test value of a row of correlated
    observations P v / sqrt(P Q_v P): Baarda 1968, Kok 1984 (memory).
    """
    return adjust_factored(factor(design, covariance, prior, names), observed, prior, levels)


def adjust_factored(
    factored: Factored, observed: Array, prior: Prior | None = None, levels: Levels | None = None
) -> Adjustment:
    """The same, with the design factored already."""
    values = np.asarray(observed, dtype=np.float64)
    if values.shape != (factored.count,) or not np.isfinite(values).all():
        raise ValueError(f"{factored.count} finite observed values are needed")
    if prior is not None:
        values = np.concatenate([values, prior.mean])
    estimate = factored.solver @ (factored.basis.T @ factored.weights.whiten(values))
    # One step of refinement: what rounding left of the residuals in the design is taken up too.
    left = factored.weights.whiten(values - factored.design @ estimate)
    estimate = estimate + factored.solver @ (factored.basis.T @ left)
    return _judge(factored, values, estimate, levels or Levels())


def _judge(factored: Factored, values: Array, estimate: Array, levels: Levels) -> Adjustment:
    residual = values - factored.design @ estimate
    whitened = factored.weights.whiten(residual)
    vpv, count = float(whitened @ whitened), factored.count
    precision = factored.test_precision()
    root = np.sqrt(np.where(precision > 0.0, precision, np.nan))
    normalised = factored.weights.weigh(whitened) / root
    redundancy = factored.redundancy()
    return Adjustment(
        names=factored.names,
        estimate=keep(estimate),
        covariance=keep(factored.covariance),
        residual=keep(residual[:count]),
        residual_std=keep(np.sqrt(factored.residual_variance())[:count]),
        normalised=keep(normalised[:count]),
        redundancy=keep(redundancy[:count]),
        smallest_blunder=keep(_smallest(precision, levels)[:count]),
        prior_residual=keep(residual[count:]),
        prior_normalised=keep(normalised[count:]),
        prior_redundancy=keep(redundancy[count:]),
        vpv=vpv,
        dof=factored.dof,
        p_value=chance_of(vpv, factored.dof),
        levels=levels,
    )


def chance_of(vpv: float, dof: int) -> float | None:
    """Probability that a weighted sum of squares exceeds vpv by chance; None without degrees of freedom.

    Source: chi-square test of the adjustment, ISO/TS 28037:2010, 6.3.
    """
    from scipy.special import chdtrc

    return float(chdtrc(dof, vpv)) if dof > 0 else None


def _smallest(precision: Array, levels: Levels) -> Array:
    """(m,) smallest blunder noticed: noncentrality over the root of the test's precision."""
    smallest = np.full(len(precision), np.inf)
    controlled = precision > 0.0
    smallest[controlled] = levels.noncentrality / np.sqrt(precision[controlled])
    return smallest
