"""A scatter that is not known beforehand: the variance component at which the residuals are as large as expected."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.adjust.records import Adjustment, Levels, Prior, keep
from dryfit.calc.adjust.solve import Factored, adjust_factored, factor
from dryfit.calc.adjust.weights import dense

_CLOSE = 1e-12  # of the variance component, relative
_ROUNDING = 1e-10  # of the share of the scatter in a combination of observations


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """The scatter s of observations whose covariance is fixed + s^2 shape.

    std         s; 0 where the fixed part already explains the residuals
    variance_std  standard uncertainty of s^2, by the spread of the weighted sum of squares
    dof         (n,) effective degrees of freedom of the variance of each estimate; infinite where s has no part in it
    adjustment  with the scatter counted in
    """

    std: float
    variance_std: float
    dof: Array
    adjustment: Adjustment

    @property
    def std_std(self) -> float:
        """Standard uncertainty of s. Where s is 0 its own scale has none: the root of that of s^2 instead."""
        if self.std == 0.0:
            return float(np.sqrt(self.variance_std))
        return min(self.variance_std / (2.0 * self.std), float(np.sqrt(self.variance_std)))


def estimate_scatter(
    design: Array,
    observed: Array,
    fixed: Array,
    shape: Array,
    prior: Prior | None = None,
    names: Sequence[str] = (),
    levels: Levels | None = None,
) -> Scatter:
    """Estimate n unknowns and the scatter of m observations together.

    design : (m, n)   observed : (m,)
    fixed : (m,) variances or (m, m), the part of the covariance that is known
    shape : (m,) or (m, m), the part that grows with s^2; rows that share a source share its covariance
    s is where the weighted sum of squares equals its degrees of freedom; 0 where it is below already. Combinations of
    observations in which the scatter has no part, such as the differences of repeats that share it, are left out of
    both: their sum of squares says nothing of s, and would only add its own chance.
    Raises ComputationRefused where no combination of observations shows the scatter, and what adjust raises.
    Source: Paule and Mandel, J. Res. Nat. Bur. Stand. 87 (1982) 377, generalised to correlated rows (memory); degrees
    of freedom of a variance from its own uncertainty: JCGM 100:2008, G.4.2 and E.4.3.
    """
    known, growing = dense(np.asarray(fixed)), dense(np.asarray(shape))
    spectrum = _spectrum(np.asarray(design), np.asarray(observed), known, growing, prior)
    variance = spectrum.solve()
    factored = factor(design, known + variance * growing, prior, names)
    adjustment = adjust_factored(factored, observed, prior, levels)
    variance_std = spectrum.std_at(variance)
    return Scatter(
        float(np.sqrt(variance)), variance_std, keep(_dof(factored, growing, variance_std)), adjustment
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Spectrum:
    """The weighted sum of squares as a function of the variance component: sum of square / (known + s^2 growing).

    Each of its terms belongs to a combination of observations that does not depend on the unknowns, chosen so that
    both parts of the covariance are diagonal in them; those without a part of the scatter are not among them.
    """

    square: Array
    known: Array
    growing: Array

    def excess(self, variance: float) -> float:
        """Weighted sum of squares less its degrees of freedom; infinite where an exact combination has a residual."""
        spread = self.known + variance * self.growing
        with np.errstate(divide="ignore", invalid="ignore"):
            terms = np.where(self.square > 0.0, self.square / spread, 0.0)
        return float(terms.sum()) - len(terms)

    def std_at(self, variance: float) -> float:
        """Standard uncertainty of the variance: root of twice the terms over how fast their sum is expected to fall."""
        spread = np.maximum(self.known + variance * self.growing, np.finfo(float).tiny)
        return float(np.sqrt(2.0 * len(spread)) / (self.growing / spread).sum())

    def solve(self) -> float:
        """The variance at which the excess is zero; 0 where it is not above zero without any."""
        from scipy.optimize import brentq

        if self.excess(0.0) <= 0.0:
            return 0.0
        # At this variance no term is above 1.
        high = float((self.square / self.growing).max())
        return float(brentq(self.excess, _CLOSE * high, high, rtol=_CLOSE, xtol=1e-300))


def _spectrum(design: Array, observed: Array, known: Array, growing: Array, prior: Prior | None) -> _Spectrum:
    from scipy.linalg import eigh, qr

    if prior is not None:
        design = np.vstack([design, prior.rows(design.shape[1])])
        observed = np.concatenate([observed, prior.mean])
        known = dense((known, prior.covariance))
        growing = dense((growing, np.zeros(len(prior.index))))
    count, unknowns = design.shape
    if count <= unknowns:
        raise _refuse("there are no more observations than unknowns")
    unit = _unit(known, growing)
    scale = np.sqrt(np.diag(known) + unit * np.diag(growing))
    if not (scale > 0.0).all():
        raise _refuse("an observation has neither a known standard uncertainty nor a part of the scatter")
    free = qr(design / scale[:, None])[0][:, unknowns:]
    first = free.T @ (known / np.outer(scale, scale)) @ free
    second = free.T @ (unit * growing / np.outer(scale, scale)) @ free
    try:
        share, vectors = eigh(second, first + second)
    except np.linalg.LinAlgError as error:
        raise _refuse("some observations repeat one another exactly") from error
    share[share > 1.0 - _ROUNDING] = 1.0
    part = share > _ROUNDING
    if not part.any():
        raise _refuse("the scatter has no part in what the observations control")
    square = (vectors.T @ (free.T @ (observed / scale))) ** 2
    return _Spectrum(square[part], 1.0 - share[part], share[part] / unit)


def _unit(known: Array, growing: Array) -> float:
    """A variance of the size at which both parts weigh alike, so that neither is lost to rounding."""
    size, part = float(np.trace(known)), float(np.trace(growing))
    if part <= 0.0:
        raise _refuse("the scatter has no part in any observation")
    return size / part if size > 0.0 else 1.0


def _dof(factored: Factored, growing: Array, variance_std: float) -> Array:
    """(n,) 2 (C / u(C))^2, with u(C) what the uncertainty of s^2 makes of each variance C."""
    # d C / d s^2 = C A^T P K P A C, and C A^T P = solver (P A solver)^T.
    taken = factored.solver @ factored.seen[: factored.count].T
    grows = np.einsum("ij,jk,ik->i", taken, growing, taken)
    spread = grows * variance_std
    variance = np.diag(factored.covariance)
    dof = np.full(len(variance), np.inf)
    moved = spread > 1e-9 * variance
    dof[moved] = 2.0 * (variance[moved] / spread[moved]) ** 2
    return dof


def _refuse(what: str) -> ComputationRefused:
    return ComputationRefused(
        f"the scatter cannot be estimated: {what}",
        "the observations",
        "repeat some observations, or state the scatter",
    )
