"""What to measure next: worked out on demand, with progress."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryfit.app.live import Snapshot
from dryfit.app.schedule_desk import rank_measurements
from dryfit.base.errors import DryfitError
from dryfit.view.schedule_next import next_blocks
from dryfit.web.render import box, button, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class NextPanel:
    """A standard uncertainty to type, and the ranking."""

    def __init__(self, bench: Bench, snapshot: Snapshot) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._std = ""

    def draw(self) -> None:
        """The panel."""
        with box("panel", "section", "what to measure next"):
            text("h2", "What to measure next")
            with box("fields"):
                with box("field", "label"):
                    text("span", "std of a new measurement, at full size", "soft")
                    entry = box("entry", "input").props('type="text" autocomplete="off" spellcheck="false"')
                    entry.props["placeholder"] = "5 mm; empty: as the others"
                entry.on("input", self._typed, js_handler="(e) => emit(e.target.value)")
                entry.on("keydown.enter", self._rank, args=[])
            with box("buttons"):
                button("Rank", self._rank, name="rank new measurements by what they are worth")
            self._outcome = box("outcome").props('role="status"')

    def _typed(self, event: object) -> None:
        self._std = str(getattr(event, "args", ""))

    async def _rank(self) -> None:
        std = self._std
        self._outcome.clear()
        with self._outcome:
            text("p", "Working it out.", "soft")
        try:
            worth = await self._bench.run_job(
                "what to measure next", lambda progress: rank_measurements(self._snapshot, std, progress)
            )
        except DryfitError as error:
            if not self._outcome.is_deleted:
                self._outcome.clear()
                with self._outcome:
                    show_refusal(error)
            return
        if not self._outcome.is_deleted:
            self._outcome.clear()
            with self._outcome:
                show_scrolling(list(next_blocks(worth)), "new measurements, the best first", level=3)
