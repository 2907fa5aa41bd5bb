"""Whitening: observations of any covariance made independent and of unit variance.

A covariance is given as m variances, as one (m, m) matrix, or as a tuple of blocks along its diagonal (each of
them either). No inverse of it is ever formed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused

Covariance = Array | tuple[Array, ...]
_SPLIT_FROM = 200  # rows


@dataclass(frozen=True, slots=True, eq=False)
class Weights:
    """The factors L of covariance = L L^T, one per block: (b,) standard deviations, or (b, b) lower triangles."""

    factors: tuple[Array, ...]

    def __len__(self) -> int:
        return sum(len(factor) for factor in self.factors)

    def whiten(self, rows: Array) -> Array:
        """L^-1 rows, of (m,) or (m, k)."""
        return self._apply(rows, transposed=False)

    def weigh(self, whitened: Array) -> Array:
        """L^-T whitened: the weight matrix times what was whitened, of (m,) or (m, k)."""
        return self._apply(whitened, transposed=True)

    def _apply(self, rows: Array, transposed: bool) -> Array:
        from scipy.linalg import solve_triangular

        result = np.empty_like(rows, dtype=np.float64)
        for place, factor in self._blocks():
            if factor.ndim == 1:
                result[place] = rows[place] / (factor if rows.ndim == 1 else factor[:, None])
            else:
                result[place] = solve_triangular(factor, rows[place], lower=True, trans=int(transposed))
        return result

    @property
    def variance(self) -> Array:
        """(m,) diagonal of the covariance."""
        parts = [factor**2 if factor.ndim == 1 else (factor**2).sum(axis=1) for factor in self.factors]
        variance: Array = np.concatenate(parts)
        return variance

    @property
    def precision(self) -> Array:
        """(m,) diagonal of the inverse of the covariance."""
        from scipy.linalg.lapack import dtrtri

        parts = [
            1.0 / factor**2 if factor.ndim == 1 else (dtrtri(factor, lower=1)[0] ** 2).sum(axis=0)
            for factor in self.factors
        ]
        precision: Array = np.concatenate(parts)
        return precision

    def _blocks(self) -> Iterator[tuple[slice, Array]]:
        start = 0
        for factor in self.factors:
            yield slice(start, start + len(factor)), factor
            start += len(factor)


def weights_of(
    covariance: Covariance, count: int, where: str = "the covariance of the observations"
) -> Weights:
    """Weights of count observations.

    Raises ComputationRefused where the covariance is not that of count observations of which none is exact and none
    follows from others.
    """
    blocks = covariance if isinstance(covariance, tuple) else (covariance,)
    pieces = [piece for block in blocks for piece in _split(np.asarray(block, dtype=np.float64))]
    weights = Weights(tuple(_factor(piece, where) for piece in pieces))
    if len(weights) != count:
        raise ComputationRefused(
            f"it is that of {len(weights)} observations, and there are {count}",
            where,
            "give one row for each",
        )
    return weights


def _split(block: Array) -> list[Array]:
    """A large matrix as the blocks that lie along its diagonal; a small one is quicker whole."""
    if block.ndim != 2 or block.shape[0] != block.shape[1] or len(block) < _SPLIT_FROM:
        return [block]
    # A block begins at a row from which on no row reaches back beyond it.
    reaches = np.minimum.accumulate(np.argmax(block != 0.0, axis=1)[::-1])[::-1]
    starts = [*np.flatnonzero(reaches >= np.arange(len(block))).tolist(), len(block)]
    if len(starts) == len(block) + 1:
        return [np.diag(block)]
    return [block[start:end, start:end] for start, end in pairwise(starts)]


def _factor(block: Array, where: str) -> Array:
    do = "give every observation a standard uncertainty above zero, and merge those that repeat one another exactly"
    if block.ndim == 2 and block.shape[0] == block.shape[1]:
        diagonal = np.diag(block)
        if np.count_nonzero(block) > np.count_nonzero(diagonal):
            if not np.allclose(block, block.T, rtol=1e-9, atol=0.0) or not np.isfinite(block).all():
                raise ComputationRefused("it is not symmetric and finite", where, "give a covariance matrix")
            try:
                lower: Array = np.asarray(np.linalg.cholesky(block), dtype=np.float64)
            except np.linalg.LinAlgError as error:
                raise ComputationRefused("it is not positive definite", where, do) from error
            return lower
        block = diagonal
    if block.ndim != 1:
        raise ComputationRefused(
            f"it has the shape {block.shape}", where, "give variances or a square matrix"
        )
    if not (np.isfinite(block).all() and (block > 0).all()):
        raise ComputationRefused("a variance is not above zero and finite", where, do)
    std: Array = np.sqrt(block)
    return std


def join(covariance: Covariance, more: Covariance) -> tuple[Array, ...]:
    """The covariance of independent groups of observations, as blocks."""
    first = covariance if isinstance(covariance, tuple) else (covariance,)
    second = more if isinstance(more, tuple) else (more,)
    return (*first, *second)


def dense(covariance: Covariance) -> Array:
    """(m, m) the covariance as one matrix."""
    blocks = covariance if isinstance(covariance, tuple) else (covariance,)
    count = sum(len(block) for block in blocks)
    full = np.zeros((count, count))
    start = 0
    for block in blocks:
        place = slice(start, start + len(block))
        full[place, place] = np.diag(block) if np.ndim(block) == 1 else block
        start += len(block)
    return full
