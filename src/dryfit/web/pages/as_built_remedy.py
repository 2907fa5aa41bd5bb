"""What can be done about a part that is off: remedies by what they leave at risk and cost, and decisions about them."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui.element import Element

from dryfit.app.as_built_page import Board
from dryfit.app.remedies import RemedyReport
from dryfit.app.remedying import Taken, do_remedy, list_remedies, take_remedy, withdraw_remedy
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Block
from dryfit.view.remedies import decided_blocks, remedy_blocks, taken_blocks
from dryfit.web.pages.form_fields import Fields
from dryfit.web.render import box, button, show_blocks, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class RemedyDesk:
    """The panel for one printed part. kept: what was said last, shown when the sheet is drawn anew."""

    def __init__(self, bench: Bench, board: Board, part: str, kept: dict[str, list[Block]]) -> None:
        self._bench = bench
        self._board = board
        self._part = part
        self._kept = kept
        self._typed: dict[str, str] = {}

    def draw(self) -> None:
        """Decisions that hold, and a button that looks for remedies."""
        taken = [item for item in self._board.taken if item.part == self._part]
        with box("panel", "section", "remedies"):
            text("h3", "What can be done about it")
            if taken:
                show_blocks(taken_blocks(self._part, taken)[1:], level=4)
                for item in taken:
                    self._taken_buttons(item)
            self._said = box("outcome").props('role="status"')
            with self._said:
                show_blocks(self._kept.get(self._part, []), level=4)
            with box("buttons"):
                self._key = button("Look for remedies", self._look, name=f"look for remedies of {self._part}")
            self._found = box("contents")

    def _taken_buttons(self, item: Taken) -> None:
        with box("buttons under-item"):
            if not item.is_done and any(step.kind in ("sand", "shim") for step in item.steps):
                button("It is done", partial(self._done, item.record), name=f"remedy {item.record} is done")
            if item.is_done:
                back = partial(self._withdraw, item.handwork)
                button("It was not done", back, name=f"take back the handwork of remedy {item.record}")
            if any(step.change for step in item.steps):
                words = "Write the change to project.toml"
                button(
                    words,
                    partial(self._done, item.record, True),
                    name=f"write the change of remedy {item.record}",
                )
            button("Take back", partial(self._withdraw, item.record), name=f"take back remedy {item.record}")

    async def _look(self) -> None:
        bench, part = self._bench, self._part
        self._found.clear()
        try:
            report = await bench.run_job(
                f"looking for remedies of {part}",
                lambda progress: list_remedies(bench.path, part, progress=progress),
            )
        except DryfitError as error:
            _say(self._found, error)
            return
        if not self._found.is_deleted:
            self._show(report)

    def _show(self, report: RemedyReport) -> None:
        with self._found, box("panel-edge", "section", "remedies found"):
            show_scrolling(remedy_blocks(report), "remedies found", level=4)
            if report.at_risk:
                with box("buttons"):
                    for number in range(1, len(report.remedies) + 1):
                        button(f"Take {number}", partial(self._ask, number), name=f"take remedy {number}")
            self._form = box("contents")

    def _ask(self, number: int) -> None:
        self._typed.clear()
        self._form.clear()
        with self._form, box("panel-edge decision", "section", f"decision for remedy {number}"):
            fields = Fields(self._typed, partial(self._take, number))
            with box("fields"):
                fields.entry("because", f"Remedy {number}, because", "the seam is hidden there", "wide")
                fields.entry("by", "who decides")
            self._outcome = box("outcome").props('role="status"')
            with box("buttons"):
                button("Record it", partial(self._take, number), "main", name="record the decision")
                button("Leave it", self._form.clear, name="leave it: nothing is decided")

    async def _take(self, number: int) -> None:
        bench, part, typed = self._bench, self._part, dict(self._typed)
        try:
            decided = await bench.run_job(
                f"taking remedy {number} of {part}",
                lambda progress: take_remedy(
                    bench.path, part, number, typed.get("because", ""), typed.get("by", ""), progress=progress
                ),
            )
        except DryfitError as error:
            _say(self._outcome, error)
            return
        await self._tell(decided_blocks(decided))

    async def _done(self, record: int, write: bool = False) -> None:
        bench, part = self._bench, self._part
        try:
            async with bench.writing:
                decided = await bench.compute(lambda: do_remedy(bench.path, part, record, write=write))
        except DryfitError as error:
            _say(self._said, error)
            return
        await self._tell(decided_blocks(decided))
        if write:
            await bench.reload()

    async def _withdraw(self, record: int) -> None:
        path = self._bench.path
        try:
            await self._bench.compute(lambda: withdraw_remedy(path, record))
        except DryfitError as error:
            _say(self._said, error)
            return
        await self._tell([])

    async def _tell(self, blocks: list[Block]) -> None:
        """What came of it, also after the sheet was drawn anew."""
        self._kept[self._part] = blocks
        if not self._said.is_deleted:
            self._said.clear()
            with self._said:
                show_blocks(blocks, level=4)
        await self._bench.look_at_ledger()


def _say(place: Element, error: DryfitError) -> None:
    if not place.is_deleted:
        place.clear()
        with place:
            show_refusal(error)
