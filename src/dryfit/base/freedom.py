"""Effective degrees of freedom of a combined uncertainty."""

from __future__ import annotations

import math

from dryfit.base.arrays import Array


def effective_dof(std: Array, dof: Array) -> float:
    """Effective degrees of freedom of a sum of independent terms.

    std : (n,) standard uncertainties of the terms, one common unit
    dof : (n,) degrees of freedom [-]; infinite where a std is known exactly
    Raises ValueError where every std is zero.
    Source: Welch-Satterthwaite, JCGM 100:2008, G.4.1.
    """
    variance = float((std**2).sum())
    if variance == 0.0:
        raise ValueError("every standard uncertainty is zero: there are no degrees of freedom to speak of")
    weight = float((std**4 / dof).sum())
    return math.inf if weight == 0.0 else variance**2 / weight
