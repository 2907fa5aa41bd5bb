"""The figures of a machine from readings: weighted least squares, scatter and hand estimated beside them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.reading_model import ReadingModel, Taken, model_readings
from dryfit.base.arrays import Array
from dryfit.calc.adjust import Adjustment, Prior, Scatter, adjust, estimate_scatter, expect
from dryfit.model.instrument import Instrument
from dryfit.model.machine import FIGURES, WIDE_PRIOR
from dryfit.model.material import Material

# A repeatability that was assumed is good to about two fifths: three degrees of freedom.
# Source: JCGM 100:2008, G.4.2 and table E.1.
ASSUMED_DOF = 3.0
_MOST_STEPS = 12
_SETTLED = 1e-4  # of the standard uncertainty of each unknown


@dataclass(frozen=True, slots=True)
class Hand:
    """How well readings with one instrument repeat.

    std      of one reading, as used [mm]   dof  its degrees of freedom
    repeats  std of the repeats alone [mm]; None where nothing was read twice
    repeats_dof  degrees of freedom of that
    stated   what the instrument says [mm]
    """

    std: float
    dof: float
    repeats: float | None
    repeats_dof: int
    stated: float

    @property
    def p_value(self) -> float | None:
        """Chance of repeats that scatter so much where the stated figure is true; None where nobody knows."""
        from scipy.special import chdtrc

        if self.repeats is None or self.stated == 0.0:
            return None
        return float(chdtrc(self.repeats_dof, self.repeats_dof * (self.repeats / self.stated) ** 2))


@dataclass(frozen=True, slots=True, eq=False)
class ReadingFit:
    """What n readings say.

    model      their rows
    values     (n,) at 20 C [mm]
    hands      by instrument
    scatter    of printed points; its adjustment holds estimates, covariance and residuals
    unknowns   (u,) estimates: figures first
    predicted  (n,) readings by the estimates [mm]
    """

    model: ReadingModel
    values: Array
    hands: Mapping[str, Hand]
    scatter: Scatter
    unknowns: Array
    predicted: Array
    design: Array

    @property
    def adjustment(self) -> Adjustment:
        return self.scatter.adjustment

    @property
    def prior(self) -> Prior:
        return prior_of(self.model)

    @property
    def figures(self) -> Array:
        """(8,) in the order of FIGURES."""
        return self.unknowns[: len(FIGURES)]

    @property
    def covariance(self) -> Array:
        """(8, 8) of the figures."""
        count = len(FIGURES)
        covariance: Array = self.adjustment.covariance[:count, :count]
        return covariance

    @property
    def dof(self) -> Array:
        """(8,) effective degrees of freedom of each figure's variance, by those of the scatter and of each hand.

        Source: JCGM 100:2008, G.4.1 and G.4.2; dC/dh^2 is the sum of squares of the estimator's entries at the
        readings of that hand.
        """
        variance = self.covariance.diagonal()
        weights = np.linalg.inv(self.covariance_of_readings())
        estimator = (self.adjustment.covariance @ self.design.T @ weights)[: len(FIGURES)]
        spread = 2.0 * variance**2 / self.scatter.dof[: len(FIGURES)]
        for index, id in enumerate(self.model.instruments):
            hand = self.hands[id]
            if math.isfinite(hand.dof):
                grows = (estimator[:, self.model.instrument == index] ** 2).sum(axis=1)
                spread = spread + 2.0 * (grows * hand.std**2) ** 2 / hand.dof
        dof: Array = np.divide(
            2.0 * variance**2, spread, out=np.full(len(spread), np.inf), where=spread > 0.0
        )
        return dof

    def covariance_of_readings(self) -> Array:
        """(n, n) with hand and scatter as estimated."""
        whole: Array = self.model.fixed + self.scatter.std**2 * self.model.scatter
        return whole

    def linearised(self) -> Array:
        """(n,) what an adjustment of the design at the estimates is given as observed."""
        observed: Array = self.values - self.predicted + self.design @ self.unknowns
        return observed


def prior_of(model: ReadingModel) -> Prior:
    """What is known beforehand of the unknowns beside the figures."""
    return Prior(model.prior_index, model.prior_mean, model.prior_std**2)


def start_of(model: ReadingModel) -> Array:
    """(u,) the perfect machine, and what is expected of the rest."""
    start = np.zeros(len(model.names))
    start[model.prior_index] = model.prior_mean
    return start


def fit_readings(taken: Sequence[Taken], values: Array, material: Material) -> ReadingFit:
    """Estimate the figures of a machine, the scatter of its points and the hand of whoever read.

    values : (n,) as displayed [mm]
    Raises Indistinct where the readings cannot tell the figures apart, ComputationRefused where there are no more
    readings than unknowns.
    """
    hands = pool_repeats(taken, values)
    model = model_readings(taken, material, {id: hand.std for id, hand in hands.items()})
    observed = values * model.correction
    prior, unknowns = prior_of(model), start_of(model)
    check_distinct(model)
    # The rows are nearly linear: two steps settle what half a degree bends.
    for _ in range(_MOST_STEPS):
        predicted, design = model.predict(unknowns)
        linear = observed - predicted + design @ unknowns
        scatter = estimate_scatter(design, linear, model.fixed, model.scatter, prior, model.names)
        step = scatter.adjustment.estimate - unknowns
        unknowns = scatter.adjustment.estimate
        if (np.abs(step) <= _SETTLED * scatter.adjustment.std).all():
            break
    predicted, design = model.predict(unknowns)
    return ReadingFit(model, observed, hands, scatter, unknowns, predicted, design)


def check_distinct(model: ReadingModel) -> None:
    """Raises Indistinct where the readings cannot tell the figures apart, whatever they show."""
    _, design = model.predict(start_of(model))
    some = model.fixed + WIDE_PRIOR.repeatability_mm**2 * model.scatter
    expect(design, some, prior_of(model), model.names)


def adjust_with(fit: ReadingFit, scatter_mm: float) -> Adjustment:
    """The same readings with a stated scatter of printed points [mm]: for the global test."""
    covariance = fit.model.fixed + scatter_mm**2 * fit.model.scatter
    return adjust(fit.design, fit.linearised(), covariance, fit.prior, fit.model.names)


def pool_repeats(taken: Sequence[Taken], values: Array) -> dict[str, Hand]:
    """By instrument: what its repeats and its stated repeatability say together.

    Source: pooled variance, weighted by degrees of freedom (ISO 5725-2, 7.4.5; memory).
    """
    groups: dict[tuple[str, str], list[float]] = {}
    instruments: dict[str, Instrument] = {}
    for item, value in zip(taken, values, strict=True):
        instruments[item.instrument.id] = item.instrument
        groups.setdefault((item.instrument.id, item.measure.id), []).append(float(value))
    hands = {}
    for id, instrument in instruments.items():
        repeats = [np.array(group) for (owner, _), group in groups.items() if owner == id]
        dof = sum(len(group) - 1 for group in repeats)
        squares = sum(float(((group - group.mean()) ** 2).sum()) for group in repeats)
        hands[id] = _pool(instrument, squares, dof)
    return hands


def _pool(instrument: Instrument, squares: float, dof: int) -> Hand:
    stated = instrument.repeatability_mm
    is_assumed = instrument.repeatability_from.startswith("assumed") and math.isinf(
        instrument.repeatability_dof
    )
    weight = ASSUMED_DOF if is_assumed else instrument.repeatability_dof
    repeats = math.sqrt(squares / dof) if dof else None
    if math.isinf(weight):
        return Hand(stated, math.inf, repeats, dof, stated)
    std = math.sqrt((weight * stated**2 + squares) / (weight + dof))
    return Hand(std, weight + dof, repeats, dof, stated)
