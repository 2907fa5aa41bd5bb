"""Independent sources: what may differ from the model, by how much, and how it is spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, locked
from dryfit.base.estimate import HALF_WIDTHS, Distribution, Estimate


@dataclass(frozen=True, slots=True, eq=False)
class Sources:
    """n independent sources.

    names         (n,) several sources may share a name: their shares are then added up
    shift         (n,) expected departure from the value that the model assumes, in the source's unit
    std           (n,) standard uncertainty, in the source's unit
    distribution  (n,) shape of each
    """

    names: tuple[str, ...]
    shift: Array
    std: Array
    distribution: tuple[Distribution, ...]

    def __post_init__(self) -> None:
        count = len(self.names)
        object.__setattr__(self, "shift", locked(self.shift, (count,), "shift"))
        object.__setattr__(self, "std", locked(self.std, (count,), "std"))
        if (self.std < 0).any():
            raise ValueError("a standard uncertainty cannot be negative")
        if len(self.distribution) != count:
            raise ValueError(f"{len(self.distribution)} distributions for {count} sources")

    @classmethod
    def of(cls, estimates: Sequence[tuple[str, Estimate]]) -> Sources:
        """Sources from named estimates whose values are departures from the model."""
        return cls(
            names=tuple(name for name, _ in estimates),
            shift=np.array([estimate.value for _, estimate in estimates], dtype=np.float64),
            std=np.array([estimate.std for _, estimate in estimates], dtype=np.float64),
            distribution=tuple(estimate.distribution for _, estimate in estimates),
        )

    def __len__(self) -> int:
        return len(self.names)

    @property
    def is_normal(self) -> BoolArray:
        """(n,) whether each source is normal."""
        return np.array([kind == "normal" for kind in self.distribution], dtype=np.bool_)

    @property
    def half_width(self) -> Array:
        """(n,) largest departure that the worst case counts with; see base.estimate."""
        factors = np.array([HALF_WIDTHS[kind] for kind in self.distribution], dtype=np.float64)
        width: Array = factors * self.std
        return width


def independent_columns(columns: Array, std: Array, correlation: Array) -> Array:
    """Columns (k, n) of n independent sources of unit variance that stand for n correlated ones.

    The j-th stands for the j-th given source: of all independent sources it is the one most like it. What
    two sources share is divided evenly, so that shares hang on no order, are never negative and add up to one.

    columns : (k, n) derivatives of the results by the correlated sources
    std : (n,) their standard uncertainties   correlation : (n, n) with ones on the diagonal
    Raises ValueError where the correlation is no positive semidefinite matrix.
    Source: relative weights by the symmetric square root of the correlation, R. M. Johnson 1966, J. W. Johnson
    2000 (memory).
    """
    values, vectors = np.linalg.eigh(correlation)
    if values[0] < -1e-9 * len(values):
        raise ValueError("the correlations contradict one another: their matrix has a negative eigenvalue")
    root = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    independent: Array = (columns * std) @ root
    return independent
