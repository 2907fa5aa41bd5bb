"""Or mend the meshes: the same figures for a firmware, and corrected copies, their difference shown first."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from dryfit.app.compensating import CopyOptions, firmware_settings
from dryfit.app.machine_page import MachineFacts
from dryfit.app.machine_page_mend import CopiesProposal, propose_copies, write_copies
from dryfit.base.errors import DryfitError
from dryfit.view.compensation import compensation_blocks, firmware_blocks
from dryfit.web.render import box, button, show_diff, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class CopiesPanel:
    """One panel; what was proposed in it is let go with the state that it was made from."""

    def __init__(self, bench: Bench, facts: MachineFacts) -> None:
        self._bench = bench
        self._facts = facts
        self._ticked = {"offset": False, "shrinkage": False}

    def draw(self) -> None:
        """Numbers first, then the button."""
        with box("panel", "section", "or mend the meshes"):
            text("h2", "Or mend the meshes")
            with box("", "details"):
                text("summary", "the figures in numbers for a firmware")
                show_scrolling(firmware_blocks(firmware_settings(self._facts.machine)), "settings")
            with box("ticks"):
                self._tick("offset", "take offset of outlines and flare off as well")
                self._tick("shrinkage", "make up for shrinkage as well")
            with box("buttons"):
                name = "make corrected copies: show the difference first"
                self._make = button("Make corrected copies", self._propose, name=name)
            self._shown = box("copies").props('aria-live="polite"')

    def _tick(self, key: str, words: str) -> None:
        with box("tick-line", "label"):
            tick = box("", "input")
            tick.props["type"] = "checkbox"
            tick.on("change", partial(self._set, key), js_handler="(e) => emit(e.target.checked)")
            text("span", words)

    def _set(self, key: str, event: object) -> None:
        self._ticked[key] = bool(getattr(event, "args", False))
        self._shown.clear()

    async def _propose(self) -> None:
        machine = self._facts.machine.id
        options = CopyOptions(self._ticked["offset"], self._ticked["shrinkage"])
        self._shown.clear()
        with self._shown:
            text("p", "Making the copies and printing them again in the model.", "soft waiting")
        try:
            proposal = await self._bench.run_job(
                f"corrected copies for {machine}",
                lambda progress: propose_copies(self._bench.path, machine, options, progress),
            )
        except DryfitError as error:
            self._refuse(error)
            return
        if self._shown.is_deleted:
            return
        self._shown.clear()
        with self._shown:
            self._show(proposal)

    def _show(self, proposal: CopiesProposal) -> None:
        with box("panel-edge", "section", "difference of the document"):
            show_scrolling(compensation_blocks(proposal.report), "copies", level=3)
            text("h3", "This would change project.toml")
            show_diff(proposal.report.diff)
            with box("buttons"):
                if proposal.report.state != "stop":
                    button("Write them", partial(self._write, proposal), "main", name="write the copies")
                button("Leave it", self._shown.clear, name="leave it: nothing is written")

    async def _write(self, proposal: CopiesProposal) -> None:
        try:
            async with self._bench.writing:
                await self._bench.run_job(
                    f"writing copies for {proposal.machine}",
                    lambda progress: write_copies(self._bench.path, proposal, progress),
                )
        except DryfitError as error:
            self._refuse(error)
            return
        await self._bench.reload()

    def _refuse(self, error: DryfitError) -> None:
        if self._shown.is_deleted:
            return
        self._shown.clear()
        with self._shown:
            show_refusal(error)
