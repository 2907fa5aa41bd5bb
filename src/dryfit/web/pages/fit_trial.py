"""Forecasts while a slider moves: outside the event loop, the newest wins, the settled one is exact."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from nicegui import background_tasks

from dryfit.app.live import Snapshot, try_what_if
from dryfit.app.view_meshes import ViewMotion, view_motion
from dryfit.base.errors import DryfitError
from dryfit.model.forecast import ForecastReport

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

# A pause of this length ends a drag; the full number of draws is then taken.
SETTLED_S = 0.35

Show = Callable[[ForecastReport, ViewMotion, float, bool], None]


class Trial:
    """Answers what-ifs one at a time; those that came meanwhile give way to the last of them."""

    def __init__(
        self, bench: Bench, snapshot: Snapshot, show: Show, refuse: Callable[[DryfitError], None]
    ) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._show = show
        self._refuse = refuse
        self._waiting: tuple[str, ...] | None = None
        self._is_running = False
        self._asked = 0

    async def ask(self, changes: Sequence[str]) -> None:
        """Forecast these changes soon."""
        self._waiting = tuple(changes)
        self._asked += 1
        if self._is_running:
            return
        self._is_running = True
        try:
            while self._waiting is not None:
                now, self._waiting = self._waiting, None
                await self._answer(now, quick=True)
        finally:
            self._is_running = False
        background_tasks.create(self._settle(now, self._asked))

    async def _settle(self, changes: tuple[str, ...], asked: int) -> None:
        await asyncio.sleep(SETTLED_S)
        if asked == self._asked:
            await self._answer(changes, quick=False)

    async def _answer(self, changes: tuple[str, ...], quick: bool) -> None:
        asked = self._asked
        start = time.perf_counter()
        try:
            report, motion = await self._bench.compute(lambda: self._forecast(changes, quick))
        except DryfitError as error:
            self._refuse(error)
            return
        # A settled answer that comes after the next move is no longer wanted.
        if quick or asked == self._asked:
            self._show(report, motion, time.perf_counter() - start, not quick)

    def _forecast(self, changes: tuple[str, ...], quick: bool) -> tuple[ForecastReport, ViewMotion]:
        if not changes and not quick:
            return self._snapshot.report, view_motion(self._snapshot.chain, self._snapshot.report)
        chain, report = try_what_if(self._snapshot, changes, quick)
        return report, view_motion(chain, report)
