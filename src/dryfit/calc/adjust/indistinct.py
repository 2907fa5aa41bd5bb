"""Unknowns that the observations cannot tell apart, by name, and which further observation would."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.calc.adjust.records import Prior
from dryfit.calc.adjust.weights import Covariance, join, weights_of

# A direction of the unknowns, each scaled by what the observations say of it alone, that moves the weighted
# observations by less than this share of the best determined direction counts as not determined at all.
RANK = 1e-8
# A weight in a combination below this share of the largest is rounding.
_ROUNDING = 1e-6


@dataclass(frozen=True, slots=True)
class Combination:
    """A way to change unknowns together that changes no observation.

    unknowns  names of those that take part
    changes   by how much each changes, in its unit; the first changes by 1
    """

    unknowns: tuple[str, ...]
    changes: tuple[float, ...]

    @property
    def words(self) -> str:
        """Such as "scale_x +1 with boundary_offset_mm -150"."""
        pieces = [f"{name} {change:+.3g}" for name, change in zip(self.unknowns, self.changes, strict=True)]
        return " with ".join(pieces)


class Indistinct(DryfitError):
    """The observations cannot tell some unknowns apart; combinations names them."""

    def __init__(self, what: str, where: str, do: str, combinations: Sequence[Combination] = ()) -> None:
        super().__init__(what, where, do)
        self.combinations = tuple(combinations)

    def __reduce__(self) -> tuple[type, tuple[str, str, str, tuple[Combination, ...]]]:
        return (type(self), (self.what, self.where, self.do, self.combinations))


@dataclass(frozen=True, slots=True)
class Separating:
    """A further observation that would tell at least one combination from nothing.

    row       index among the candidates
    left      how many combinations would still be indistinct after it alone
    strength  how far the best of the combinations moves it, over its standard uncertainty; combinations scaled to
              one standard uncertainty of the unknown that is best determined alone [-]
    """

    row: int
    left: int
    strength: float


def explain_indistinct(
    design: Array, covariance: Covariance, prior: Prior | None = None, names: Sequence[str] = ()
) -> tuple[Combination, ...]:
    """The combinations of n unknowns of which m observations say nothing; empty where all are determined.

    design : (m, n)   covariance : (m,), (m, m) or blocks   names : (n,) of the unknowns
    The combinations span the null space of the scaled normal matrix; they are reduced so that each names few unknowns.
    Source: null space of a rank-deficient design, Golub and Van Loan, Matrix Computations, 5.5 (memory).
    """
    null, scale = _null_space(design, covariance, prior)
    return _named(null, scale, names_of(names, np.asarray(design).shape[1]))


def separating_rows(
    design: Array,
    covariance: Covariance,
    candidates: Array,
    candidate_std: Array,
    prior: Prior | None = None,
) -> tuple[Separating, ...]:
    """Which of k further observations would tell apart what m observations cannot, the best first.

    design : (m, n)   candidates : (k, n) their rows   candidate_std : (k,) their standard uncertainties
    A candidate that is not listed would not help. One row separates one combination at most.
    """
    null, scale = _null_space(design, covariance, prior)
    if not null.shape[1]:
        return ()
    rows = np.asarray(candidates, dtype=np.float64) / scale
    moved = np.linalg.norm(rows @ null, axis=1)
    size = np.linalg.norm(rows, axis=1)
    found = [
        Separating(index, null.shape[1] - 1, float(move / std))
        for index, (move, whole, std) in enumerate(zip(moved, size, candidate_std, strict=True))
        if move > RANK * max(whole, np.finfo(float).tiny)
    ]
    return tuple(sorted(found, key=lambda item: -item.strength))


def check_distinct(scaled: Array, scale: Array, names: tuple[str, ...]) -> None:
    """Raise Indistinct where the columns of the whitened and scaled design are not independent."""
    null = _null_of(scaled)
    if null.shape[1]:
        raise refuse(_named(null, scale, names))


def refuse(combinations: Sequence[Combination]) -> Indistinct:
    """The refusal that names the combinations."""
    listed = "; ".join(combination.words for combination in combinations)
    noun = "a combination" if len(combinations) == 1 else f"{len(combinations)} combinations"
    return Indistinct(
        f"the observations say nothing of {noun} of the unknowns",
        listed,
        "add an observation that such a change would alter, or state beforehand what is known of one of them",
        combinations,
    )


def names_of(names: Sequence[str], count: int) -> tuple[str, ...]:
    """Names of count unknowns; numbered where none are given."""
    if not names:
        return tuple(f"unknown {index + 1}" for index in range(count))
    if len(names) != count:
        raise ValueError(f"{len(names)} names for {count} unknowns")
    return tuple(names)


def _null_space(design: Array, covariance: Covariance, prior: Prior | None) -> tuple[Array, Array]:
    """(n, k) null space of the whitened and scaled design, and (n,) the scale of each column."""
    rows = np.asarray(design, dtype=np.float64)
    if prior is not None:
        rows = np.vstack([rows, prior.rows(rows.shape[1])])
        covariance = join(covariance, prior.covariance)
    whitened = weights_of(covariance, len(rows)).whiten(rows)
    scale = column_scale(whitened)
    return _null_of(whitened / scale), scale


def column_scale(whitened: Array) -> Array:
    """(n,) length of each column; 1 for one that no observation sees."""
    scale: Array = np.linalg.norm(whitened, axis=0)
    scale[scale == 0.0] = 1.0
    return scale


def _null_of(scaled: Array) -> Array:
    """(n, k) orthonormal null space; only the triangle of the design is looked at, which has the same."""
    count = scaled.shape[1]
    small = np.linalg.qr(scaled, mode="r") if len(scaled) > count else scaled
    _, values, rows = np.linalg.svd(small, full_matrices=True)
    full = np.zeros(count)
    full[: len(values)] = values
    null: Array = rows[full <= RANK * max(float(full.max(initial=0.0)), np.finfo(float).tiny)].T
    return null


def _named(null: Array, scale: Array, names: tuple[str, ...]) -> tuple[Combination, ...]:
    """The null space reduced to combinations of few unknowns, in their units."""
    combinations = []
    for row in _reduce(np.asarray(null.T)):
        weights = np.where(np.abs(row) > _ROUNDING * np.abs(row).max(), row, 0.0) / scale
        part = np.flatnonzero(weights)
        changes = weights[part] / weights[part[0]]
        combinations.append(
            Combination(tuple(names[index] for index in part), tuple(float(value) for value in changes))
        )
    return tuple(combinations)


def _reduce(rows: Array) -> Array:
    """Reduced row echelon form with the largest remaining entry as pivot."""
    reduced = rows.copy()
    free = list(range(len(reduced)))
    while free:
        block = np.abs(reduced[free])
        place, column = np.unravel_index(int(block.argmax()), block.shape)
        pivot = free.pop(int(place))
        reduced[pivot] /= reduced[pivot, column]
        for other in range(len(reduced)):
            if other != pivot:
                reduced[other] -= reduced[other, column] * reduced[pivot]
    return reduced
