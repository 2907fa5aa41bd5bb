"""Conditioning on readings: the Gaussian update of sources that results share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array


@dataclass(frozen=True, slots=True, eq=False)
class Posterior:
    """Sources after readings.

    shift       (n,)   expected departures
    covariance  (n, n)
    innovation  (m,)   reading minus what was expected of it
    innovation_std (m,) standard uncertainty of that difference beforehand
    """

    shift: Array
    covariance: Array
    innovation: Array
    innovation_std: Array


def condition(
    shift: Array, covariance: Array, design: Array, readings: Array, reading_covariance: Array
) -> Posterior:
    """Update sources by readings that are linear in them: readings = design @ departures + noise.

    shift : (n,)   covariance : (n, n)   design : (m, n)   readings : (m,)   reading_covariance : (m, m)
    The covariance is updated in the symmetric (Joseph) form, which keeps it positive.
    Source: Gaussian conditioning; Rasmussen and Williams 2006, appendix A.2 (memory).
    Raises ValueError where a reading without noise repeats what is already known exactly.
    """
    crossed = covariance @ design.T
    total = design @ crossed + reading_covariance
    try:
        factor = np.linalg.cholesky(total)
    except np.linalg.LinAlgError as error:
        raise ValueError("two readings without noise say the same thing: state their uncertainty") from error
    gain = np.linalg.solve(factor.T, np.linalg.solve(factor, crossed.T)).T
    innovation = readings - design @ shift
    kept = np.eye(len(shift)) - gain @ design
    updated = kept @ covariance @ kept.T + gain @ reading_covariance @ gain.T
    return Posterior(
        shift=shift + gain @ innovation,
        covariance=0.5 * (updated + updated.T),
        innovation=innovation,
        innovation_std=np.sqrt(np.diag(total)),
    )
