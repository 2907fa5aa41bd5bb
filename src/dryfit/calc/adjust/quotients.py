"""What observations and relations say of unknowns: sums with coefficients, and quotients of such sums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class Quotients:
    """m quantities of n unknowns: top x / (bottom x) - less x / (under x); a row of zeros below divides by 1.

    top, bottom, less, under  (m, n)
    """

    top: Array
    bottom: Array
    less: Array
    under: Array

    @classmethod
    def linear(cls, design: Array) -> Quotients:
        """Rows without a quotient."""
        rows = np.array(design, dtype=np.float64)
        none = np.zeros_like(rows)
        return cls(rows, none, none, none)

    def __len__(self) -> int:
        return len(self.top)

    @property
    def is_linear(self) -> BoolArray:
        """(m,) rows whose derivatives do not depend on the unknowns."""
        return np.asarray(~(self.bottom.any(axis=1) | self.under.any(axis=1)), dtype=np.bool_)

    def take(self, rows: np.ndarray) -> Quotients:
        """Some of the rows."""
        return Quotients(self.top[rows], self.bottom[rows], self.less[rows], self.under[rows])

    def divisors(self, unknowns: Array) -> Array:
        """(2 m,) what is divided by."""
        return np.concatenate([_divisor(self.bottom, unknowns), _divisor(self.under, unknowns)])

    def at(self, unknowns: Array) -> tuple[Array, Array]:
        """(m,) values and (m, n) their derivatives."""
        value, slope = _quotient(self.top, self.bottom, unknowns)
        off, back = _quotient(self.less, self.under, unknowns)
        return value - off, slope - back

    def size(self, unknowns: Array) -> Array:
        """(m,) how large the terms of each row are that may cancel: what rounding is held against."""
        sizes = np.abs(unknowns)
        first = (np.abs(self.top) @ sizes) / np.abs(_divisor(self.bottom, unknowns))
        second = (np.abs(self.less) @ sizes) / np.abs(_divisor(self.under, unknowns))
        total: Array = first + second
        return total


def _divisor(rows: Array, unknowns: Array) -> Array:
    return np.where(rows.any(axis=1), rows @ unknowns, 1.0)


def _quotient(above: Array, below: Array, unknowns: Array) -> tuple[Array, Array]:
    """The quotient rule; rows that divide by 1 keep their coefficients."""
    divided = below.any(axis=1)
    value, slope = above @ unknowns, above.copy()
    if divided.any():
        by = (below[divided] @ unknowns)[:, None]
        slope[divided] = above[divided] / by - value[divided, None] * below[divided] / by**2
        value[divided] /= by[:, 0]
    return value, slope
