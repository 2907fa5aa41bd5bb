"""The forecast: characteristics as rows, the causes of one of them, and what-ifs that forecast while dragging."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

from dryfit.app.applying import Edit, apply_edit, propose_edit
from dryfit.app.links import chain_of_contacts, worst_of
from dryfit.app.live import Snapshot
from dryfit.app.view_meshes import ViewMotion
from dryfit.base.errors import DryfitError
from dryfit.model.forecast import ForecastReport
from dryfit.view.blocks import Sentence
from dryfit.view.forecast import forecast_blocks
from dryfit.web.live_words import LiveWords
from dryfit.web.model_view import ModelView
from dryfit.web.pages.fit_levers import Levers
from dryfit.web.pages.fit_rows import Rows
from dryfit.web.pages.fit_trial import Trial
from dryfit.web.pages.model import show_model
from dryfit.web.render import box, button, link, show_blocks, show_diff, show_refusal, text
from dryfit.web.shell import follow, sheet
from dryfit.web.words import latency_words

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


def build(bench: Bench, show: str = "") -> None:
    """The page. show: id of the characteristic that is opened first."""
    chosen = {"id": show}
    with sheet(bench, "fit", "fit: the forecast"):

        async def draw(snapshot: Snapshot) -> None:
            fit = _Fit(bench, snapshot, chosen)
            await fit.draw()

        follow(bench, draw)


class _Fit:
    """One open fit sheet over one snapshot. chosen outlives it, so that a reload keeps the row open."""

    def __init__(self, bench: Bench, snapshot: Snapshot, chosen: dict[str, str]) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._chosen = chosen
        self._report = snapshot.report
        self._view: ModelView | None = None
        self._is_refused = False  # what stands under the sliders is a refusal, not a difference to decide on
        self._trial = Trial(bench, snapshot, self._show_answer, self._show_trouble)

    async def draw(self) -> None:
        report = self._snapshot.report
        with box("fit"):
            with box("lane"):
                self._rows = Rows(report, self._choose)
                with box("", "details"):
                    text("summary", f"{len(report.assumptions)} assumptions")
                    show_blocks([block for block in forecast_blocks(report) if _is_assumption(block)])
            with box("lane beside"):
                self._view = await show_model(self._bench, self._snapshot, is_small=True)
                link(f"{len(self._snapshot.opened.project.joints)} joints", "/joints")
                self._draw_what_if()
        self._choose_first()

    def _draw_what_if(self) -> None:
        with box("what-if", "section", "what if"):
            with box("heading", "h2"):
                text("span", "What if")
                self._latency = LiveWords("", "latency").props('aria-live="polite"')
            self._levers = Levers(self._snapshot.opened.project, self._move)
            with box("buttons"):
                self._apply = button("Apply", self._propose, "main", name="apply: show the difference first")
                self._reset = button("Reset", self._put_back, name="reset every what-if")
            self._trouble = box("trouble").props('role="status"')
        self._enable(False)

    def _choose_first(self) -> None:
        known = {item.id for item in self._report.characteristics}
        if self._chosen["id"] not in known:
            worst = worst_of(self._report)
            self._chosen["id"] = worst.id if worst is not None else ""
        if self._chosen["id"]:
            self._open(self._chosen["id"])

    def _choose(self, id: str) -> None:
        self._chosen["id"] = id
        self._open(id)

    def _open(self, id: str) -> None:
        self._rows.open(id, self._report)
        item = next(item for item in self._snapshot.report.characteristics if item.id == id)
        parts, joints = chain_of_contacts(self._snapshot.opened, self._snapshot.report, id)
        self._levers.draw([cause.source for cause in item.contributions], parts)
        if self._view is not None:
            self._view.highlight(parts, joints)

    async def _move(self) -> None:
        # A difference that was shown is no longer the one of these sliders.
        self._clear_trouble()
        self._enable(bool(self._levers.changes))
        await self._trial.ask(self._levers.changes)

    def _show_answer(
        self, report: ForecastReport, motion: ViewMotion, seconds: float, is_settled: bool
    ) -> None:
        self._report = report
        # An answer that comes after Apply must not take the difference away from under the hand.
        if self._is_refused:
            self._clear_trouble()
        self._rows.follow(report, is_settled)
        # The first answers of a drag count; the settled one takes its time over every cause.
        if not is_settled:
            self._latency.say(latency_words(seconds))
        elif self._chosen["id"]:
            self._rows.open(self._chosen["id"], report)
        if self._view is not None:
            self._view.follow(motion)

    def _clear_trouble(self) -> None:
        """Only where something stands there: each drawing anew of the page costs a part of the drag."""
        self._is_refused = False
        if any(self._trouble):
            self._trouble.clear()

    def _show_trouble(self, error: DryfitError) -> None:
        self._is_refused = True
        self._trouble.clear()
        with self._trouble:
            show_refusal(error)

    def _enable(self, is_moved: bool) -> None:
        for control in (self._apply, self._reset):
            if control.props.get("disabled") != (not is_moved):
                control.props["disabled"] = not is_moved

    async def _put_back(self) -> None:
        self._levers.reset()
        self._open(self._chosen["id"])
        await self._move()

    async def _propose(self) -> None:
        changes = self._levers.changes
        try:
            edit = await self._bench.compute(lambda: propose_edit(self._bench.path, changes))
        except DryfitError as error:
            self._show_trouble(error)
            return
        self._clear_trouble()
        with self._trouble:
            self._show_edit(edit)
            ui.run_javascript(f"getHtmlElement({self._trouble.id}).scrollIntoView({{block: 'nearest'}})")

    def _show_edit(self, edit: Edit) -> None:
        async def write() -> None:
            try:
                async with self._bench.writing:
                    await self._bench.compute(lambda: apply_edit(self._bench.path, edit))
            except DryfitError as error:
                self._show_trouble(error)
                return
            await self._bench.reload()

        with box("panel-edge", "section", "difference of the document"):
            text("h3", "This would change project.toml")
            show_blocks([Sentence(words, mark=True) for words in edit.words])
            show_diff(edit.diff)
            with box("buttons"):
                button("Write it", write, "main", name="write it to project.toml")
                button("Leave it", self._trouble.clear, name="leave it: the document stays as it is")


def _is_assumption(block: object) -> bool:
    return isinstance(block, Sentence) and block.mark
