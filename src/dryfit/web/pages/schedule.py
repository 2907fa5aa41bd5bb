"""The dimension schedule: a table to filter, the trace of a dimension, the network of the evidence, decisions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.app.live import Snapshot
from dryfit.app.schedule_desk import note_schedule
from dryfit.app.schedule_report import ScheduleReport, SuspectRow
from dryfit.base.errors import DryfitError
from dryfit.view.evidence_network import NETWORK_STYLE, is_part_only, network_blocks, network_svg
from dryfit.view.schedule import (
    agreement_blocks,
    changes_blocks,
    decided_blocks,
    repeated_blocks,
    robust_blocks,
    scale_words,
    suspect_block,
)
from dryfit.view.schedule_page import find_shown, heading_of
from dryfit.web.pages.schedule_decide import DecisionPanel
from dryfit.web.pages.schedule_form import ObservationPanel
from dryfit.web.pages.schedule_next import NextPanel
from dryfit.web.pages.schedule_rows import ChosenRows, DimensionTable
from dryfit.web.pages.schedule_trace import show_trace
from dryfit.web.render import box, button, link, show_blocks, show_refusal, show_scrolling, text
from dryfit.web.shell import STATIC, follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

# A node of the network says which dimension or observation it is.
NETWORK_CLICK = """(e) => { const node = e.target.closest('[data-dimension], [data-observation]');
  if (node) emit(node.dataset.dimension || node.dataset.observation); }"""


class _Chosen:
    """What is set in a tab; it outlives the drawing of another state."""

    def __init__(self, show: str) -> None:
        self.show = show
        self.rows = ChosenRows()
        self.typed: dict[str, str] = {}


def build(bench: Bench, show: str = "") -> None:
    """The page. show: id of a dimension, or of an observation, feature or photograph that is about one."""
    chosen = _Chosen(show)
    ui.add_head_html(f"<style>{NETWORK_STYLE}</style>")
    ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/schedule.css">')
    with sheet(bench, "schedule", "dimension schedule"):

        async def draw(snapshot: Snapshot) -> None:
            _ScheduleSheet(bench, snapshot, chosen).draw()

        follow(bench, draw, with_parts=True)


class _ScheduleSheet:
    """One open sheet over one state of document and ledger."""

    def __init__(self, bench: Bench, snapshot: Snapshot, chosen: _Chosen) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._chosen = chosen

    def draw(self) -> None:
        """Everything; where no schedule comes out of the evidence, why, and what can be mended here."""
        report = self._snapshot.schedule
        if not isinstance(report, ScheduleReport):
            self._draw_refused(report)
            return
        self._report = report
        self._shown = find_shown(report, self._chosen.show) or _first_doubtful(report)
        with box("schedule-head"):
            show_blocks([heading_of(report)])
            with box("machine-links", "nav", "evidence"):
                link("open the document", "/settings?find=observation")
        self._form = ObservationPanel(self._bench, self._snapshot, self._chosen.typed)
        self._draw_suspects()
        with box("panel", "section", "dimensions"):
            text("h2", "Dimensions")
            self._table = DimensionTable(report, self._chosen.rows, self._choose)
            self._table.draw(self._shown)
        self._trace = box("panel", "section", "trace")
        self._draw_trace()
        self._draw_network()
        with box("columns schedule-foot"):
            with box("lane"):
                self._draw_agreement()
                NextPanel(self._bench, self._snapshot).draw()
            with box("lane"):
                self._draw_changes()
                self._draw_decisions()

    def _draw_refused(self, error: DryfitError | None) -> None:
        if error is not None:
            show_refusal(error)
        text("p", "No schedule comes out of the evidence as it stands.", "soft")
        link("open the document", "/settings?find=observation")
        ObservationPanel(self._bench, self._snapshot, self._chosen.typed)

    def _choose(self, name: str) -> None:
        """Show a dimension: by its own id, or by an observation of it."""
        found = find_shown(self._report, name)
        if not found:
            return
        self._shown = self._chosen.show = found
        self._table.mark(found)
        self._draw_trace()
        self._fill_network()
        ui.run_javascript(
            f"history.replaceState(null, '', '/schedule?show=' + encodeURIComponent({_quoted(found)}))"
        )

    def _draw_suspects(self) -> None:
        report = self._report
        if not report.suspects:
            return
        with box("panel", "section", "suspects"):
            text("h2", "In doubt, the gravest first")
            for item in report.suspects:
                show_blocks([suspect_block(report, item)])
                self._suspect_buttons(item)

    def _suspect_buttons(self, item: SuspectRow) -> None:
        panel = DecisionPanel(self._bench, self._snapshot)
        id = item.label.id
        with box("buttons under-item"):
            panel.button("without", id)
            panel.button("restore" if item.decision is not None else "keep", id)
            if item.label.about:
                name = item.label.about[0]
                button("Trace", lambda: self._choose(name), name=f"trace {name}")
        panel.place()

    def _draw_trace(self) -> None:
        self._trace.clear()
        item = next((item for item in self._report.dimensions if item.id == self._shown), None)
        if item is None:
            with self._trace:
                text("p", "Choose a dimension to see what it comes from.", "soft")
            return
        with self._trace:
            show_trace(self._bench, self._snapshot, self._report, item, self._form.change)

    def _draw_network(self) -> None:
        with box("panel", "section", "network of the evidence"):
            text("h2", "Network of the evidence")
            if is_part_only(self._report):
                text(
                    "p",
                    "It is too large for one picture: what the chosen dimension rests on is drawn.",
                    "soft",
                )
            frame = box("network-frame", "div", "the network as a picture").props('role="group" tabindex="0"')
            frame.on("click", self._network_clicked, js_handler=NETWORK_CLICK)
            self._network: Element = frame
            self._fill_network()
            with box("", "details"):
                text("summary", "the same in words")
                show_scrolling(network_blocks(self._report), "the network in words", level=3)

    def _network_clicked(self, event: object) -> None:
        self._choose(str(getattr(event, "args", "")))

    def _fill_network(self) -> None:
        self._network.clear()
        with self._network:
            chosen = self._shown if self._chosen.show or is_part_only(self._report) else ""
            ui.html(network_svg(self._report, chosen), sanitize=False)

    def _draw_agreement(self) -> None:
        report = self._report
        with box("panel", "section", "agreement"):
            text("h2", "How the evidence agrees")
            show_scrolling([*agreement_blocks(report), *robust_blocks(report)], "agreement")
            show_scrolling(list(repeated_blocks(report)), "repeated values")
            text("h2", "Scale")
            text("p", scale_words(report))

    def _draw_changes(self) -> None:
        report = self._report
        with box("panel", "section", "changes"):
            text("h2", "Since the last recorded schedule")
            outcome = box("outcome")
            if report.changes:
                show_scrolling(list(changes_blocks(report)), "changes")
            elif report.since:
                text("p", f"Nothing changed since the schedule of {report.since[:10]}.")
            else:
                text("p", "No schedule was recorded yet.")

            async def note() -> None:
                outcome.clear()
                try:
                    await self._bench.compute(lambda: note_schedule(self._bench.path))
                except DryfitError as error:
                    with outcome:
                        show_refusal(error)
                    return
                await self._bench.look_at_ledger()

            if report.changes or not report.since:
                button(
                    "Record this schedule",
                    note,
                    name="record this schedule: later changes are told against it",
                )

    def _draw_decisions(self) -> None:
        report = self._report
        with box("panel", "section", "decisions"):
            text("h2", "Decisions that hold")
            if not report.decisions:
                text("p", "None: every observation and relation counts.")
            for block, decision in zip(decided_blocks(report), report.decisions, strict=True):
                show_blocks([block])
                panel = DecisionPanel(self._bench, self._snapshot)
                with box("buttons under-item"):
                    panel.button("restore", decision.id)
                panel.place()


def _first_doubtful(report: ScheduleReport) -> str:
    """What is shown before anything is chosen: what the gravest suspect is about, else the first dimension."""
    for item in report.suspects:
        if item.label.about:
            return item.label.about[0]
    return report.dimensions[0].id if report.dimensions else ""


def _quoted(words: str) -> str:
    import json

    return json.dumps(words)
