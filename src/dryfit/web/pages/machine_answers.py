"""The slow answers of machine sheets, each made once for a state of the document and the ledger."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Hashable
from typing import TYPE_CHECKING, Any, TypeVar

from dryfit.base.errors import DryfitError

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

T = TypeVar("T")


class Answers:
    """Kept for all tabs, and let go as soon as another snapshot or another record is there."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._state: tuple[object, ...] = ()
        self._made: dict[Hashable, asyncio.Task[Any]] = {}

    async def get(self, key: Hashable, work: Callable[[], T]) -> T | DryfitError:
        """The answer of some work, or why it was refused; whoever asks for the same meanwhile waits for it."""
        state = (self._bench.snapshot, self._bench.marks)
        if not self._state or self._state[0] is not state[0] or self._state[1] != state[1]:
            self._state, self._made = state, {}
        if key not in self._made:
            self._made[key] = asyncio.create_task(self._answer(work))
        # One who leaves does not take the answer away from the others.
        found: T | DryfitError = await asyncio.shield(self._made[key])
        return found

    async def _answer(self, work: Callable[[], T]) -> T | DryfitError:
        try:
            return await self._bench.compute(work)
        except DryfitError as error:
            return error
