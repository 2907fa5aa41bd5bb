"""The choice of one candidate per part so that what the parts add up to comes near zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray

Picks = IntArray  # (parts,) the candidate chosen of each part


@dataclass(frozen=True, slots=True, eq=False)
class Choices:
    """Candidates of every part: loss = |base + sum of the chosen vectors|^2 + sum of the chosen costs.

    base     (d,)  what no choice changes
    vectors  per part (c, d): what each of its c candidates adds
    costs    per part (c,): a small price by which ties are decided
    """

    base: Array
    vectors: tuple[Array, ...]
    costs: tuple[Array, ...]

    def __post_init__(self) -> None:
        for vectors, costs in zip(self.vectors, self.costs, strict=True):
            if vectors.shape != (len(costs), len(self.base)) or len(costs) == 0:
                raise ValueError(f"candidates of shape {vectors.shape} for {len(costs)} costs")


def added_up(choices: Choices, picks: Picks) -> Array:
    """(d,) base and chosen vectors together."""
    total = choices.base.copy()
    for vectors, pick in zip(choices.vectors, picks, strict=True):
        total += vectors[pick]
    return total


def total_loss(choices: Choices, picks: Picks) -> float:
    """Loss of a choice, costs included."""
    total = added_up(choices, picks)
    price = sum(float(costs[pick]) for costs, pick in zip(choices.costs, picks, strict=True))
    return float(total @ total) + price


def without_idle_columns(choices: Choices) -> tuple[Choices, float]:
    """The same without the columns that no candidate touches, and the loss of those columns.

    Most columns are idle where parts of several machines share few characteristics.
    """
    used = np.zeros(len(choices.base), dtype=np.bool_)
    for vectors in choices.vectors:
        used |= vectors.any(axis=0)
    idle = choices.base[~used]
    kept = Choices(choices.base[used], tuple(v[:, used] for v in choices.vectors), choices.costs)
    return kept, float(idle @ idle)
