"""The sheet over one snapshot: the model with what is looked at, and beside it the checks, part by part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from nicegui import background_tasks

from dryfit.app.checking import PartsReport
from dryfit.app.links import report_links
from dryfit.app.live import Snapshot
from dryfit.base.errors import DryfitError
from dryfit.model.finding import Finding
from dryfit.view.blocks import Heading, Sentence
from dryfit.view.parts import parts_plain, parts_verdict
from dryfit.view.weights import weight_blocks
from dryfit.web.found import describe_walls, scale_of
from dryfit.web.model_view import ModelView, Picked
from dryfit.web.pages.model import show_model
from dryfit.web.pages.parts_found import FoundBar
from dryfit.web.pages.parts_new import NewFeature
from dryfit.web.pages.parts_rows import (
    OpenRows,
    feature_rows,
    fill_feature,
    finding_buttons,
    part_rows,
    unchecked_rows,
)
from dryfit.web.pages.parts_walls import WallsPanel
from dryfit.web.render import box, button, link, show_blocks, show_refusal, text
from dryfit.web.words import parts_heading

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


@dataclass(slots=True)
class Chosen:
    """What is open in a tab; it outlives the drawing of another snapshot. first: to be opened at first."""

    first: str = ""
    part: str = ""
    feature: str = ""


class PartsSheet:
    """One open sheet. refresh() follows the checks while the model stays as it is."""

    def __init__(self, bench: Bench, snapshot: Snapshot, chosen: Chosen) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._chosen = chosen
        self._shown: tuple[PartsReport | None, bool] | None = None
        self._refusal: DryfitError | None = None  # of the check that was last asked for here
        self._view: ModelView | None = None
        self._parts: OpenRows | None = None
        self._features: OpenRows | None = None

    async def draw(self) -> None:
        """Everything, for the first time."""
        with box("parts-sheet checked"):
            self._head = box("checks-head")
            with box("lane view-lane"):
                self._bar = FoundBar(self._bench, self._snapshot, self._leave)
                self._view = await show_model(self._bench, self._snapshot)
                self._bar.view = self._view
                self._new = NewFeature(self._bench, self._snapshot, self._view)
                self._walls = WallsPanel(self._snapshot, self._view)
            self._lists = box("lane lists")
        if self._view is not None:
            self._view.on_pick(self._pick)
        self.refresh()
        self._open_first()

    def refresh(self) -> None:
        """Draw anew what hangs on the checks, where they have changed."""
        report, is_checking = self._bench.parts_report, self._bench.is_checking
        if self._shown == (report, is_checking) or self._head.is_deleted:
            return
        is_same = self._shown is not None and _say_the_same(self._shown[0], report)
        self._shown = (report, is_checking)
        self._redraw_head(report, is_checking)
        if is_same:
            return
        self._tell_walls(report)
        self._lists.clear()
        with self._lists:
            self._draw_lists(report)
        self._reopen()

    def _redraw_head(self, report: PartsReport | None, is_checking: bool) -> None:
        self._head.clear()
        with self._head:
            self._draw_head(report, is_checking)
            if self._refusal is not None and not is_checking:
                show_refusal(self._refusal)

    def _draw_head(self, report: PartsReport | None, is_checking: bool) -> None:
        opened = self._snapshot.opened
        if report is None:
            links = report_links(opened, self._snapshot.report)
            show_blocks([Heading(parts_heading(links), "not checked" if links.parts else None)])
            if links.parts and not is_checking:
                text("p", "Not checked yet, or not since something changed.", "soft")
        else:
            show_blocks([Heading(f"{report.project}: {parts_verdict(report)}", report.state)])

        async def check() -> None:
            self._refusal = None
            try:
                await self._bench.check_parts()
            except DryfitError as error:
                # What the end of the work makes of the page comes after this, and must not wipe it away.
                self._refusal = error
                if not self._head.is_deleted:
                    self._redraw_head(self._bench.parts_report, self._bench.is_checking)

        if opened.project.parts:
            with box("buttons"):
                words = "Check the parts" if report is None else "Check again"
                start = button(words, check, "main" if report is None else "")
                start.props["disabled"] = is_checking
                if is_checking:
                    text("span", "The parts are being checked.", "soft").props('role="status"')
                link(f"{len(opened.project.joints)} joints between them", "/joints")
                link("changes and releases", "/changes")

    def _draw_lists(self, report: PartsReport | None) -> None:
        self._parts = self._features = None
        if report is None:
            rows = report_links(self._snapshot.opened, self._snapshot.report).parts
            if rows:
                with box("scroll"):
                    self._parts = unchecked_rows(rows, self._choose_part)
            return
        if report.features:
            with box("group", "section", "features"):
                text("h3", "Features: what the meshes measure against what they should")
                with box("scroll"):
                    self._features = feature_rows(report.features, self._choose_feature)
        with box("group", "section", "parts"):
            text("h3", "Parts: choose one to see what was found")
            with box("scroll"):
                self._parts = part_rows(report, self._choose_part)
        with box("group", "section", "between the parts"):
            text("h3", "Between the parts")
            finding_buttons(report.assembly, self._bar.show_finding, "Nothing to report between the parts.")
        with box("group", "details"):
            text("summary", "weights, and what was assumed")
            show_blocks(weight_blocks(report.weights))
            show_blocks([Sentence(f"assumed: {note}", mark=True) for note in report.notes])

    def _tell_walls(self, report: PartsReport | None) -> None:
        scale = None if report is None else scale_of(self._snapshot, report)
        part = self._chosen.part or None
        if self._view is not None:
            known = report is not None and scale is not None
            self._view.set_walls(
                describe_walls(self._snapshot, report, scale, part) if known and report and scale else None
            )
        self._walls.show(report, scale, part)

    def _open_first(self) -> None:
        first, self._chosen.first = self._chosen.first, ""
        if first in {part.id for part in self._snapshot.opened.project.parts}:
            self._choose_part(first)
        elif first in {feature.id for feature in self._snapshot.opened.project.features}:
            self._choose_feature(first)

    def _reopen(self) -> None:
        """Open again, after drawing, what was open before; the view is left as it is."""
        if self._chosen.part:
            self._open_part(self._chosen.part)
        if self._chosen.feature:
            self._open_feature(self._chosen.feature)

    def _choose_part(self, id: str) -> None:
        self._chosen.part = id
        self._open_part(id)
        self._bar.clear()
        if self._view is not None:
            self._view.show_found(None)
            self._view.highlight([id] if id else [])
            if id:
                self._view.see_parts([id])
        self._tell_walls(self._bench.parts_report)

    def _open_part(self, id: str) -> None:
        if self._parts is not None:
            self._parts.open(id, lambda: self._fill_part(id))

    def _fill_part(self, id: str) -> None:
        report = self._bench.parts_report
        if report is None:
            text("p", "Check the parts to see what there is to say of it.", "soft")
            return
        findings: list[Finding] = [*report.part(id).findings]
        findings += [item for item in report.assembly if id in item.parts and item.state != "pass"]
        finding_buttons(findings, self._bar.show_finding, "Every check of this part is clear.")

    def _choose_feature(self, id: str) -> None:
        self._chosen.feature = id
        self._open_feature(id)
        report = self._bench.parts_report
        found = [] if report is None else [item for item in report.features if item.id == id]
        if found:
            background_tasks.create(self._bar.show_feature(found[0]))
        else:
            self._leave()

    def _open_feature(self, id: str) -> None:
        report = self._bench.parts_report
        found = [] if report is None else [item for item in report.features if item.id == id]
        if self._features is not None:
            self._features.open(id, (lambda: fill_feature(found[0])) if found else None)

    def _leave(self) -> None:
        """Back to the whole model."""
        self._bar.clear()
        if self._view is not None:
            self._view.highlight([])
            self._view.show_found(None)
            self._view.see_parts([])

    def _pick(self, found: Picked) -> None:
        if self._new.is_open:
            background_tasks.create(self._new.pick(found))
        elif found.part is not None and found.part != self._chosen.part:
            self._chosen.part = found.part
            self._open_part(found.part)
            if self._view is not None:
                self._view.highlight([found.part])
            self._tell_walls(self._bench.parts_report)


def _say_the_same(one: PartsReport | None, other: PartsReport | None) -> bool:
    """Whether two reports would be drawn alike: a check that finds nothing new disturbs nobody's reading."""
    if one is None or other is None:
        return one is other
    return one is other or parts_plain(one) == parts_plain(other)
