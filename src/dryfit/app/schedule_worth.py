"""Which measurement would be worth most: by how much fewer features it would leave undecided."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from dryfit.app.judging import limits_of
from dryfit.app.schedule_problem import write_terms
from dryfit.app.schedule_solving import Solved
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.adjust import chance_outside, covariance_after
from dryfit.model.feature import Feature

# A dimension that nothing determines counts as known within this many times the largest size there is.
_OPEN = 100.0
# Beyond this chance a feature counts as undecided: the limits of its model can hardly be right for the prototype.
UNDECIDED = 0.05


@dataclass(frozen=True, slots=True)
class FeatureChance:
    """A feature with limits whose nominal a dimension gives.

    chance  that the true size, brought to model scale, lies out of the limits where the model is exactly nominal
    """

    id: str
    dimension: str
    std_mm: float | None
    lower_mm: float | None
    upper_mm: float | None
    chance: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A measurement that could be made.

    words          what would be measured
    std_mm         with which standard uncertainty, at the size of the prototype
    std_before_mm  what is known of it now; None: nothing
    std_after_mm   what would be known of it
    chance_after   expected number of features out of limits afterwards
    undecided_after  features whose chance would still exceed 5 %
    spread_after   root of the sum of squares of the features' std over their half limits; ranks what chance does not
    """

    words: str
    std_mm: float
    std_before_mm: float | None
    std_after_mm: float
    chance_after: float
    undecided_after: int
    spread_after: float


@dataclass(frozen=True, slots=True)
class Worth:
    """Candidates, the best first.

    features   those that are counted
    chance     expected number of them out of limits now; undecided: of them beyond 5 %
    std_from   where the standard uncertainty of the candidates comes from, in words
    """

    candidates: tuple[Candidate, ...]
    features: tuple[FeatureChance, ...]
    chance: float
    undecided: int
    std_from: str


@dataclass(frozen=True, slots=True, eq=False)
class _Targets:
    """rows (k, n) of the nominal sizes at model scale; lower, upper (k,) limits from the nominal [mm]."""

    features: tuple[Feature, ...]
    rows: Array
    lower: Array
    upper: Array

    def std(self, covariance: Array) -> Array:
        """(k,) standard uncertainty of each nominal [mm]."""
        variance = ((self.rows @ covariance) * self.rows).sum(axis=1)
        std: Array = np.sqrt(np.maximum(variance, 0.0))
        return std

    def chance(self, covariance: Array) -> Array:
        """(k,) of each to be out of limits."""
        return chance_outside(self.std(covariance), self.lower, self.upper)

    def spread(self, covariance: Array) -> float:
        """Root of the sum of squares of std over the nearer limit."""
        nearer = np.maximum(np.minimum(np.abs(self.lower), np.abs(self.upper)), 1e-9)
        return float(np.sqrt(((self.std(covariance) / nearer) ** 2).sum()))


def rank_next(
    solved: Solved, std_mm: float | None = None, progress: Callable[[int, int], None] | None = None
) -> Worth:
    """Every dimension measured by itself, and every uncertain relation checked, ranked.

    std_mm : of each such measurement at the size of the prototype; None: the median of those at hand
    progress : is told (candidates done, candidates in all)
    Before and after, the features are counted that would be out of limits if the model were made exactly to the
    schedule: a sum of probabilities. What cuts that sum most is first; where it is equal, what cuts the standard
    uncertainties of the nominals most, each over its nearer limit, then what is known least.
    """
    covariance = _with_open(solved)
    targets = _targets(solved)
    std, std_from = _std(solved, std_mm)
    now = targets.chance(covariance)
    rows, all_known = list(_rows(solved)), not solved.adjustment.open.any()
    found = []
    for done, (words, row) in enumerate(rows):
        found.append(_candidate(targets, covariance, words, row, std, all_known))
        if progress is not None:
            progress(done + 1, len(rows))
    found.sort(key=_rank)
    return Worth(
        tuple(found),
        tuple(_feature_chances(targets, covariance, now)),
        float(now.sum()),
        int((now > UNDECIDED).sum()),
        std_from,
    )


def _rank(item: Candidate) -> tuple[float, float, float]:
    known = float("inf") if item.std_before_mm is None else item.std_before_mm
    return round(item.chance_after, 9), round(item.spread_after, 9), -known


def _with_open(solved: Solved) -> Array:
    """Covariance in which what nothing determines is known to a hundred times the largest size."""
    adjustment = solved.adjustment
    if not adjustment.open.shape[1]:
        return adjustment.covariance
    basis = np.linalg.qr(adjustment.open)[0]
    wide = _OPEN * float(np.abs(adjustment.estimate).max(initial=1.0))
    total: Array = adjustment.covariance + wide**2 * basis @ basis.T
    return total


def _targets(solved: Solved) -> _Targets:
    kept: list[Feature] = []
    rows: list[Array] = []
    lower: list[float] = []
    upper: list[float] = []
    for feature in solved.project.features:
        if feature.dimension is None:
            continue
        row = solved.model_row(feature.dimension)
        size = None if row is None else _nominal(solved, feature.dimension)
        if row is None or size is None:
            continue
        try:
            limits = limits_of(feature, size)
        except ComputationRefused:
            continue
        if limits.is_stated:
            kept.append(feature)
            rows.append(row)
            lower.append(-np.inf if limits.lower is None else limits.lower - size)
            upper.append(np.inf if limits.upper is None else limits.upper - size)
    count = len(solved.problem.names)
    low, high = (np.array(values, dtype=np.float64) for values in (lower, upper))
    return _Targets(tuple(kept), np.array(rows).reshape(-1, count), low, high)


def _nominal(solved: Solved, name: str) -> float | None:
    """[mm] in the model, of a dimension that is not known as well: from where the steps began."""
    estimate = solved.adjustment.estimate
    fixed, scale = solved.project.scale_from, solved.project.scale
    if fixed is not None:
        return float(estimate[solved.place(name)] * fixed.model_mm / estimate[solved.place(fixed.dimension)])
    return None if scale is None else float(estimate[solved.place(name)]) * float(scale)


def _std(solved: Solved, stated: float | None) -> tuple[float, str]:
    if stated is not None:
        return stated, "as asked"
    stds = [label.std for label in solved.problem.labels if label.unit == "mm" and label.std > 0.0]
    if stds:
        return float(np.median(stds)), "the median of the evidence at hand"
    return 1e-3 * float(np.median(np.abs(solved.adjustment.estimate))), "a thousandth of the median size"


def _rows(solved: Solved) -> Iterator[tuple[str, Array]]:
    """What could be measured: dimensions, then the departures that uncertain linear relations allow."""
    count = len(solved.problem.names)
    for place, name in enumerate(solved.problem.names):
        yield name, np.eye(count)[place]
    for row, label in enumerate(solved.problem.labels):
        if label.kind != "relation" or label.std == 0.0 or row >= solved.adjustment.count or not label.unit:
            continue
        coefficients = solved.problem.rows.top[row]
        terms = [
            (solved.problem.names[place], float(coefficients[place]))
            for place in np.flatnonzero(coefficients).tolist()
        ]
        yield write_terms(terms), coefficients


def _candidate(
    targets: _Targets, covariance: Array, words: str, row: Array, std: float, all_known: bool
) -> Candidate:
    after = covariance_after(covariance, row, std)
    chance = targets.chance(after)
    before = math.sqrt(max(float(row @ covariance @ row), 0.0))
    left = math.sqrt(max(float(row @ after @ row), 0.0))
    # What nothing determines stands at a size that no observation could have.
    is_open = not all_known and before > 1e3 * max(left, std)
    return Candidate(
        words,
        std,
        None if is_open else before,
        min(left, std),
        float(chance.sum()),
        int((chance > UNDECIDED).sum()),
        targets.spread(after),
    )


def _feature_chances(targets: _Targets, covariance: Array, chance: Array) -> Iterator[FeatureChance]:
    for place, (feature, std) in enumerate(zip(targets.features, targets.std(covariance), strict=True)):
        lower, upper = float(targets.lower[place]), float(targets.upper[place])
        yield FeatureChance(
            feature.id,
            feature.dimension or "",
            float(std),
            lower if np.isfinite(lower) else None,
            upper if np.isfinite(upper) else None,
            float(chance[place]),
        )
