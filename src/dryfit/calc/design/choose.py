"""Choosing readings: one after another by what each adds, then exchanged while that helps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.design.problem import Aim, Candidates, block_information, information_of

# Of the prior's place while nothing is known of an unknown yet, relative to what the candidates could tell
# together: it lets the first readings be compared and is left out at the end.
_START = 1e-7
_GAIN = 1e-9  # relative: a smaller one is rounding
_MOST_ROUNDS = 12


@dataclass(frozen=True, slots=True, eq=False)
class Choice:
    """How often each candidate is read (m,), the value of the aim, and the cost of all readings."""

    counts: IntArray
    value: float
    cost: float


def choose_readings(
    candidates: Candidates, aim: Aim, budget: float, step: int = 1, most_of_block: int = 1_000_000
) -> Choice:
    """The readings within a budget that make the aim small: greedy, then by exchange.

    budget : in the unit of the candidates' cost
    step : readings of a candidate that are taken together, such as 2: there and back
    most_of_block : readings of one block, at most
    Not always the best choice of all, but no exchange of one step for another betters it.
    Source: sequential and exchange algorithms of optimal design, Fedorov 1972, Atkinson and Donev 1992 (memory;
    held against brute force in the tests).
    """
    if step < 1 or most_of_block < step:
        raise ValueError("a step is one reading or more, and a block takes at least a step")
    search = _Search(candidates, aim, step, most_of_block)
    search.fill(budget)
    for _ in range(_MOST_ROUNDS):
        if not search.exchange(budget):
            break
    counts = search.counts
    value = float(aim.value(information_of(candidates, counts)))
    return Choice(counts, value, float(candidates.cost @ counts))


class _Search:
    """A choice under way, with the information of each block at hand."""

    def __init__(self, candidates: Candidates, aim: Aim, step: int, most: int) -> None:
        self.candidates, self.aim, self.step, self.most = candidates, aim, step, most
        self.counts: IntArray = np.zeros(len(candidates), dtype=np.int64)
        self.of_block = {int(b): np.flatnonzero(candidates.block == b) for b in np.unique(candidates.block)}
        self.blocks = {block: np.zeros_like(candidates.prior) for block in self.of_block}
        spread = candidates.alone + candidates.shared + candidates.scatter
        could = (candidates.rows**2 / spread[:, None]).sum(axis=0)
        self.total = candidates.prior + _START * np.diag(np.where(could > 0, could, 1.0))

    @property
    def cost(self) -> float:
        return float(self.candidates.cost @ self.counts)

    def fill(self, budget: float) -> bool:
        """Add the step that gains most for its cost, again and again, while the budget lasts."""
        added = False
        while True:
            room = budget - self.cost
            able = [index for index in range(len(self.counts)) if self._can_add(index, room)]
            if not able:
                return added
            totals = np.array([self._after(index, self.step) for index in able])
            values = self.aim.value(totals)
            gains = (float(self.aim.value(self.total)) - values) / self.candidates.cost[able]
            self._change(able[int(np.argmax(gains))], self.step)
            added = True

    def exchange(self, budget: float) -> bool:
        """Take each step out in turn and put the best one in; whether any exchange helped."""
        helped = False
        for index in np.flatnonzero(self.counts):
            before = float(self.aim.value(self.total))
            self._change(int(index), -self.step)
            room = budget - self.cost
            able = [other for other in range(len(self.counts)) if self._can_add(other, room)]
            values = self.aim.value(np.array([self._after(other, self.step) for other in able]))
            best = int(np.argmin(values))
            if values[best] < before - _GAIN * max(abs(before), 1.0) and able[best] != index:
                self._change(able[best], self.step)
                helped = True
            else:
                self._change(int(index), self.step)
        return self.fill(budget) or helped

    def _can_add(self, index: int, room: float) -> bool:
        mine = self.of_block[int(self.candidates.block[index])]
        is_cheap = self.step * self.candidates.cost[index] <= room * (1.0 + 1e-12)
        return bool(is_cheap and self.counts[mine].sum() + self.step <= self.most)

    def _told(self, index: int, more: int) -> tuple[int, Array]:
        block = int(self.candidates.block[index])
        counts = self.counts.copy()
        counts[index] += more
        return block, block_information(self.candidates, self.of_block[block], counts)

    def _after(self, index: int, more: int) -> Array:
        block, told = self._told(index, more)
        after: Array = self.total + told - self.blocks[block]
        return after

    def _change(self, index: int, more: int) -> None:
        block, told = self._told(index, more)
        self.total = self.total + told - self.blocks[block]
        self.blocks[block] = told
        self.counts[index] += more
