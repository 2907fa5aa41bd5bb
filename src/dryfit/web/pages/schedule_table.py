"""A table of observations, pasted or out of a file: checked, shown as a difference, then written."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from dryfit.app.observation_csv import (
    OPTIONAL,
    REQUIRED,
    ObservationPlan,
    ObservationsTaken,
    plan_observations,
    write_observations,
)
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Table
from dryfit.view.observations import taken_blocks
from dryfit.web.render import box, button, show_diff, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

# A chosen file is read into the text, where it can be looked at; nothing is sent before it is checked.
_READ_FILE = """(e) => { const file = e.target.files[0]; if (!file) return;
  file.text().then(words => { const area = document.getElementById('observation-table');
  area.value = words; area.dispatchEvent(new Event('input', { bubbles: true })); }); }"""


class TablePanel:
    """The panel. close: takes it away again."""

    def __init__(self, bench: Bench, close: Callable[[], object]) -> None:
        self._bench = bench
        self._close = close
        self._words = ""
        self._adds = False

    def draw(self) -> None:
        """Text, file, and what they are understood as."""
        text("h2", "A table of observations")
        columns = f"Columns: {', '.join(REQUIRED)}; and as they are needed {', '.join(OPTIONAL)}."
        text("p", f"{columns} of / over is a ratio; low and high are limits instead of a value.", "soft")
        area = box("text pasted", "textarea", "the table, as CSV").props(
            'id="observation-table" rows="7" spellcheck="false" autocomplete="off" wrap="off"'
        )
        area.on("input", self._typed, js_handler="(e) => emit(e.target.value)")
        with box("fields"):
            with box("field", "label"):
                text("span", "or a file", "soft")
                box("entry", "input").props('type="file" accept=".csv,.txt"').on(
                    "change", js_handler=_READ_FILE
                )
            with box("field check", "label"):
                tick = box("", "input").props('type="checkbox"')
                text("span", "add dimensions that are not there yet")
        tick.on("change", self._ticked, js_handler="(e) => emit(e.target.checked)")
        with box("buttons"):
            button("Check", self._check, "main", name="check the table: show the difference first")
            button("Close", self._close, name="close the table: nothing is written")
        self._outcome = box("outcome").props('role="status"')

    def _typed(self, event: object) -> None:
        self._words = str(getattr(event, "args", ""))

    def _ticked(self, event: object) -> None:
        self._adds = bool(getattr(event, "args", False))

    async def _check(self) -> None:
        words, adds = self._words, self._adds
        self._outcome.clear()
        try:
            plan = await self._bench.compute(lambda: plan_observations(words, self._bench.path, adds))
        except DryfitError as error:
            with self._outcome:
                show_refusal(error)
            return
        with self._outcome:
            self._show(plan)

    def _show(self, plan: ObservationPlan) -> None:
        async def write() -> None:
            try:
                async with self._bench.writing:
                    await self._bench.compute(lambda: write_observations(plan))
            except DryfitError as error:
                self._outcome.clear()
                with self._outcome:
                    show_refusal(error)
                return
            self._close()
            await self._bench.reload()

        blocks = taken_blocks(ObservationsTaken(plan, is_written=False))
        show_scrolling([block for block in blocks if isinstance(block, Table)], "as understood", level=3)
        show_diff(plan.diff)
        with box("buttons"):
            button("Write them", write, "main", name="write them to project.toml")
            button("Leave them", self._outcome.clear, name="leave them: the document stays as it is")
