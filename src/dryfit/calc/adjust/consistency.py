"""Repeated values of one quantity: do they agree within what they state, and if not, how far do sources lie apart?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.adjust.records import keep
from dryfit.calc.adjust.scatter import estimate_scatter
from dryfit.calc.adjust.solve import adjust
from dryfit.calc.adjust.weights import Covariance, dense

# CODATA 2018 expands the uncertainties of disagreeing values until none lies beyond two (Tiesinga and others,
# Rev. Mod. Phys. 93 (2021) 025010, memory).
AGREEING = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class Consistency:
    """What repeated values say together.

    mean, std        weighted by what they state
    chi2, dof, p_value   of their agreement
    birge            root of chi2 over dof: how far the stated uncertainties fall short [-]
    expansion        factor by which all stated uncertainties must grow until none lies beyond two; at least 1
    between          standard deviation between sources beyond what they state, after Paule and Mandel; 0 where none
    between_mean, between_std   the mean and its standard uncertainty with that counted in
    departures       (m,) of each value from the mean, over its stated standard uncertainty
    """

    mean: float
    std: float
    chi2: float
    dof: int
    p_value: float
    birge: float
    expansion: float
    between: float
    between_mean: float
    between_std: float
    departures: Array


def check_consistency(values: Sequence[float] | Array, covariance: Covariance) -> Consistency:
    """Compare m >= 2 values of one quantity.

    values : (m,)   covariance : (m,) variances, (m, m) or blocks
    Raises ComputationRefused where the covariance is none.
    Source: Birge, Phys. Rev. 40 (1932) 207; Paule and Mandel, J. Res. Nat. Bur. Stand. 87 (1982) 377 (memory).
    """
    observed = np.asarray(values, dtype=np.float64)
    one = np.ones((len(observed), 1))
    plain = adjust(one, observed, covariance)
    spread = estimate_scatter(one, observed, dense(covariance), np.ones(len(observed)))
    departures = plain.residual / np.sqrt(np.diag(dense(covariance)))
    return Consistency(
        mean=float(plain.estimate[0]),
        std=float(plain.std[0]),
        chi2=plain.vpv,
        dof=plain.dof,
        p_value=math.nan if plain.p_value is None else plain.p_value,
        birge=plain.unit_std,
        expansion=max(1.0, float(np.abs(departures).max()) / AGREEING),
        between=spread.std,
        between_mean=float(spread.adjustment.estimate[0]),
        between_std=float(spread.adjustment.std[0]),
        departures=keep(departures),
    )
