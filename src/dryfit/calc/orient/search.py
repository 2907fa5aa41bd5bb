"""Coordinate descent over candidates, with moves of two parts at a time, from several starts.

One part at a time cannot cross from "every part the same" to "every second one turned": the first turn
alone may make things worse. Moves of a pair can, and so can a start that already alternates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.orient.choices import Choices, Picks, added_up, total_loss, without_idle_columns

Tick = Callable[[], None]
_GAIN = 1e-10  # relative: a move that gains less has gained nothing but rounding
_MOST_PAIRS = 2000  # pairs looked at in one pass; among more, a fixed random choice for each pass
_MOST_PASSES = 12
_PAIRED = 3  # starts that go on to moves of pairs
_KICKED = 3  # parts that one kick sets at random
_PAIRS_KICKED = 6000  # pairs looked at over all kicks, so that many parts get few


def neutral_start(choices: Choices) -> Picks:
    """Each part's candidate that on its own adds least."""
    return np.array([int((vectors**2).sum(axis=1).argmin()) for vectors in choices.vectors], dtype=np.int64)


def alternate_start(stated: Picks, turned: Picks, order: Sequence[int]) -> Picks:
    """Every second part of the order as in turned, the others as stated."""
    picks = stated.copy()
    every_second = list(order)[1::2]
    picks[every_second] = turned[every_second]
    return picks


def search_choices(
    choices: Choices,
    starts: Sequence[Picks],
    seed: int,
    keep: int,
    tick: Tick | None = None,
    is_kicked: bool = True,
) -> list[tuple[Picks, float]]:
    """The best distinct choices found, least loss first; at most keep of them.

    is_kicked : whether the best is disturbed at random and descended from again, several times
    tick : called once per start and once per pass of pairs; it may raise to stop the search
    """
    reduced, idle = without_idle_columns(choices)
    generator = np.random.Generator(np.random.PCG64(seed))
    call = tick or (lambda: None)
    singles: list[tuple[Picks, float]] = []
    for start in starts:
        singles.append(_descend_singles(reduced, start))
        call()
    found = []
    for picks, _ in _distinct(singles)[:_PAIRED]:
        found.append(_descend_pairs(reduced, picks, generator, call))
    if is_kicked and len(choices.vectors) > 2:
        found += _kick(reduced, _distinct(found)[0], generator, call)
    return [(picks, loss + idle) for picks, loss in _distinct([*found, *singles])[:keep]]


def _kick(
    choices: Choices, best: tuple[Picks, float], generator: np.random.Generator, call: Tick
) -> list[tuple[Picks, float]]:
    """Descents from the best with a few parts set at random; each better one becomes the best."""
    parts = len(choices.vectors)
    kicks = max(3, min(60, _PAIRS_KICKED // (parts * (parts - 1) // 2)))
    found = []
    for _ in range(kicks):
        start = best[0].copy()
        for part in generator.permutation(parts)[:_KICKED]:
            start[part] = generator.integers(len(choices.costs[part]))
        picks, _ = _descend_singles(choices, start)
        reached = _descend_pairs(choices, picks, generator, lambda: None)
        found.append(reached)
        if reached[1] < best[1]:
            best = reached
    call()
    return found


def _distinct(found: Sequence[tuple[Picks, float]]) -> list[tuple[Picks, float]]:
    by_picks = {tuple(picks.tolist()): (picks, loss) for picks, loss in found}
    return sorted(by_picks.values(), key=lambda item: (item[1], tuple(item[0].tolist())))


def _descend_singles(choices: Choices, start: Picks) -> tuple[Picks, float]:
    """One part at a time until no part gains."""
    picks = start.copy()
    total = added_up(choices, picks)
    squares = [(vectors**2).sum(axis=1) for vectors in choices.vectors]
    for _ in range(100):
        changed = False
        for part, (vectors, costs) in enumerate(zip(choices.vectors, choices.costs, strict=True)):
            rest = total - vectors[picks[part]]
            loss = 2.0 * (vectors @ rest) + squares[part] + costs
            best = int(loss.argmin())
            if loss[best] < loss[picks[part]] - _GAIN * (1.0 + float(rest @ rest)):
                picks[part], total, changed = best, rest + vectors[best], True
        if not changed:
            break
    return picks, total_loss(choices, picks)


def _descend_pairs(
    choices: Choices, start: Picks, generator: np.random.Generator, call: Tick
) -> tuple[Picks, float]:
    """Pairs of parts, and single parts after each pass that gained, until no pair gains."""
    picks = start.copy()
    pairs = np.array(np.triu_indices(len(picks), 1)).T
    for _ in range(_MOST_PASSES):
        looked_at = pairs
        if len(pairs) > _MOST_PAIRS:
            looked_at = pairs[generator.permutation(len(pairs))[:_MOST_PAIRS]]
        gained = _pass_of_pairs(choices, picks, looked_at)
        call()
        if not gained:
            break
        picks, _ = _descend_singles(choices, picks)
    return picks, total_loss(choices, picks)


def _pass_of_pairs(choices: Choices, picks: Picks, pairs: IntArray) -> bool:
    """Changes picks in place; whether any pair gained."""
    total = added_up(choices, picks)
    squares = [(vectors**2).sum(axis=1) for vectors in choices.vectors]
    gained = False
    for one, two in pairs.tolist():
        a, b = choices.vectors[one], choices.vectors[two]
        rest = total - a[picks[one]] - b[picks[two]]
        loss = 2.0 * (a @ b.T)
        loss += (2.0 * (a @ rest) + squares[one] + choices.costs[one])[:, None]
        loss += (2.0 * (b @ rest) + squares[two] + choices.costs[two])[None, :]
        best = int(loss.argmin())
        i, j = divmod(best, len(b))
        if loss[i, j] < loss[picks[one], picks[two]] - _GAIN * (1.0 + float(rest @ rest)):
            picks[one], picks[two] = i, j
            total, gained = _sum(rest, a[i], b[j]), True
    return gained


def _sum(rest: Array, first: Array, second: Array) -> Array:
    summed: Array = rest + first + second
    return summed
