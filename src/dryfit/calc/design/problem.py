"""The choice of readings as a problem: candidates, what each would tell, and how good a choice is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array, IntArray, locked

Criterion = Literal["D", "A", "c"]


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """m readings that could be taken, each any number of times.

    rows     (m, u) derivatives by the unknowns
    alone    (m,)   variance of one reading by itself
    shared   (m,)   variance that all readings of one candidate share
    block    (m,)   index of the block of each: its candidates see the same part of the body
    scatter  (m,)   variance that all readings of one block share; equal within a block
    prior    (u, u) information on the unknowns before any reading: the inverse of their covariance
    cost     (m,)   of one reading, in readings or minutes
    """

    rows: Array
    alone: Array
    shared: Array
    block: IntArray
    scatter: Array
    prior: Array
    cost: Array

    def __post_init__(self) -> None:
        count, unknowns = self.rows.shape
        for name, shape in (
            ("rows", (count, unknowns)),
            ("alone", (count,)),
            ("shared", (count,)),
            ("scatter", (count,)),
            ("prior", (unknowns, unknowns)),
            ("cost", (count,)),
        ):
            object.__setattr__(self, name, locked(getattr(self, name), shape, name))
        if not ((self.alone > 0) & (self.shared >= 0) & (self.scatter >= 0) & (self.cost > 0)).all():
            raise ValueError("a reading has a variance and a cost above zero")

    def __len__(self) -> int:
        return len(self.rows)


@dataclass(frozen=True, slots=True, eq=False)
class Aim:
    """What a choice shall make small.

    kind     "D": the volume of the ellipsoid of uncertainty of the unknowns of interest; "A": the sum of
             their variances in units of `scale`; "c": the sum of the variances of stated results
    of       (k,) indices of the unknowns of interest
    scale    (k,) for "A": the size of each unknown that counts as one
    results  (q, k) for "c": results by the unknowns of interest, each over what it may depart by
    """

    kind: Criterion
    of: IntArray
    scale: Array | None = None
    results: Array | None = None

    def value(self, information: Array) -> Array:
        """What is to be made small, of information matrices (..., u, u); infinite where one is singular."""
        covariance = covariance_of(information, self.of)
        known = np.asarray(np.isfinite(covariance).all(axis=(-1, -2)))
        covariance = np.where(known[..., None, None], covariance, np.eye(len(self.of)))
        if self.kind == "D":
            value = np.linalg.slogdet(covariance)[1]
        elif self.kind == "A":
            scale = np.ones(len(self.of)) if self.scale is None else self.scale
            value = (np.diagonal(covariance, axis1=-2, axis2=-1) / scale**2).sum(axis=-1)
        else:
            results = np.eye(len(self.of)) if self.results is None else self.results
            value = np.einsum("qi,...ij,qj->...", results, covariance, results)
        return np.asarray(np.where(known, value, np.inf))


def covariance_of(information: Array, of: IntArray) -> Array:
    """Covariance (..., k, k) of some unknowns; infinite where the information does not determine all.

    information : (..., u, u) symmetric
    The matrix is brought to ones on its diagonal first, so that units do not matter.
    """
    root = np.sqrt(np.maximum(np.diagonal(information, axis1=-2, axis2=-1), 0.0))
    seen = root > 0
    root = np.where(seen, root, 1.0)
    scaled = information / root[..., :, None] / root[..., None, :]
    least = np.linalg.eigvalsh(scaled)[..., 0]
    sound = (least > 1e-12) & seen.all(axis=-1)
    scaled = np.where(sound[..., None, None], scaled, np.eye(information.shape[-1]))
    inverse = np.linalg.inv(scaled) / root[..., :, None] / root[..., None, :]
    part = inverse[..., of[:, None], of[None, :]]
    return np.asarray(np.where(sound[..., None, None], part, np.inf))


def information_of(candidates: Candidates, counts: IntArray) -> Array:
    """Information (u, u) of a choice: how often each candidate is read (m,), with what was known before.

    The mean of n readings of a candidate has the variance shared + alone / n; those of one block share its
    scatter besides. Source: Gauss-Markov with compound symmetric blocks, inverse by Woodbury (memory; held
    against the plain inverse in the tests).
    """
    information = np.array(candidates.prior)
    for block in np.unique(candidates.block[counts > 0]):
        information += block_information(candidates, np.flatnonzero(candidates.block == block), counts)
    return information


def block_information(candidates: Candidates, mine: IntArray, counts: IntArray) -> Array:
    """What the readings of one block tell. mine: its candidates"""
    taken = mine[counts[mine] > 0]
    if len(taken) == 0:
        return np.zeros_like(candidates.prior)
    rows = candidates.rows[taken]
    weight = 1.0 / (candidates.shared[taken] + candidates.alone[taken] / counts[taken])
    scatter = candidates.scatter[taken[0]]
    summed = weight @ rows
    told = (rows * weight[:, None]).T @ rows
    told -= np.outer(summed, summed) * scatter / (1.0 + scatter * weight.sum())
    return np.asarray(told)


def expected_covariance(candidates: Candidates, counts: Sequence[int] | IntArray, of: IntArray) -> Array:
    """Covariance (k, k) of some unknowns that a choice of readings would leave, before any is taken.

    Infinite where the readings do not determine them.
    """
    return covariance_of(information_of(candidates, np.asarray(counts)), of)
