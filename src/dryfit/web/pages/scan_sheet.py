"""A scan of a part: dropped, laid on the part, and shown as a map of deviations with what was measured on it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING
from urllib.parse import quote

from nicegui import background_tasks, ui
from nicegui.element import Element

from dryfit.app.live import Snapshot
from dryfit.app.scan_page import ScanLine, ShownScan, scans_of
from dryfit.app.scan_request import read_scan_form
from dryfit.app.view_meshes import ViewPlacing
from dryfit.base.errors import DryfitError, ReferenceUnknown
from dryfit.view.scan import scan_blocks
from dryfit.view.scan_page import map_of_scan, scans_table
from dryfit.web.drop_area import drop_area
from dryfit.web.model_view import ModelView, describe_parts
from dryfit.web.pages.form_fields import Fields, select_field
from dryfit.web.render import box, button, link, show_blocks, show_refusal, show_scrolling, show_table, text
from dryfit.web.scan_desk import SCAN_UPLOAD_PATH, ScanItem
from dryfit.web.shell import STATIC, follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_UNITS = {"": "as the file states", "mm": "mm", "cm": "cm", "m": "m", "in": "inches"}


def build(bench: Bench, show: str = "") -> None:
    """The page. show: id of the part."""
    ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/as_built.css">')
    typed: dict[str, str] = {}
    with sheet(bench, "as built", "scan of a part"):

        async def draw(snapshot: Snapshot) -> None:
            parts = list(snapshot.opened.shapes)
            if not parts:
                text("p", "No part is in the project yet: drop mesh files on the parts sheet.", "soft")
                return
            part = show or parts[0]
            if part not in parts:
                show_refusal(ReferenceUnknown(f"there is no part {part}", "the address", "choose one here"))
                _choose_part(parts, part)
                return
            try:
                lines = await bench.compute(lambda: scans_of(snapshot.opened, part))
            except DryfitError as error:
                show_refusal(error)
                return
            _ScanSheet(bench, snapshot, part, typed).draw(lines)

        follow(bench, draw, with_learning=False)


class _ScanSheet:
    """One open sheet over one state of document and meshes."""

    def __init__(self, bench: Bench, snapshot: Snapshot, part: str, typed: dict[str, str]) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._part = part
        self._typed = typed
        self._seen: object = None

    def draw(self, lines: tuple[ScanLine, ...]) -> None:
        """Everything; what the desk holds follows it."""
        with box("machine-head"):
            text("h2", f"Scan of {self._part}")
            with box("machine-links", "nav", "what belongs to it"):
                _choose_part(list(self._snapshot.opened.shapes), self._part)
                link(f"{self._part} as built", f"/as-built?show={self._part}")
        with box("columns"):
            with box("lane"):
                self._drop_area()
                self._form = box("contents")
                with box("panel", "section", "recorded scans"):
                    text("h3", "Recorded scans")
                    self._lines = box("contents")
                    self._outcome = box("outcome").props('role="status"')
            with box("lane"):
                self._view = box("contents")
        self._found = box("contents")
        self._show_lines(lines)
        self._stop = self._bench.subscribe(self._follow)
        ui.context.client.on_delete(self._stop)
        self._follow()

    def _drop_area(self) -> None:
        drop_area(
            f"a scan of {self._part}",
            f"Drop a scan of {self._part} here",
            "PLY, OBJ, STL, 3MF, glTF, or text with x y z; or choose it:",
            f"choose a scan of {self._part}",
            f"{SCAN_UPLOAD_PATH}?part={quote(self._part, safe='')}",
            several=False,
        )

    def _follow(self) -> None:
        """Draw what the desk holds for this part, where it is another than what is drawn."""
        if self._form.is_deleted:
            self._stop()
            return
        item = self._bench.scans.item(self._part)
        if item is self._seen and self._seen is not None:
            return
        self._seen = item
        self._form.clear()
        with self._form:
            self._draw_form(item)
        self._view.clear()
        self._found.clear()
        shown = None if item is None else item.shown
        with self._view:
            self._draw_view(shown)
        if shown is None:
            return
        with self._found, box("panel", "section", "what the scan says"):
            heading, *blocks = scan_blocks(shown.report)
            show_blocks([heading])
            show_scrolling(blocks, "what the scan says", level=3)
        self._renew_lines()

    def _draw_form(self, item: ScanItem | None) -> None:
        if item is None:
            text(
                "p", "What it is laid on is the mesh of the part; the file itself is kept in scans/.", "soft"
            )
            return
        with box("panel", "section", "the scan"):
            text("h3", item.name)
            if item.state == "being laid":
                text(
                    "p",
                    "It is being laid on the part; the bar above says how far, and cancels it.",
                    "soft waiting",
                )
                return
            if item.error is not None:
                show_refusal(item.error)
            fields = Fields(self._typed, self._lay)
            with box("fields"):
                fields.select("unit", "unit of its numbers", _UNITS)
                fields.entry("std", "std of the scanner, mm", "0.05")
                fields.entry("reach", "outliers lie farther off than, mm", "by rule")
            with box("fields"):
                fields.entry("datums", "lay it on these features, in this order", "best fit", "wide")
                fields.entry(
                    "marks",
                    "spots that tell ways apart: on the scan = on the part",
                    "12,4.5,80=0,150,515",
                    "wide",
                )
            with box("fields"):
                fields.tick("patch", "it shows a small piece of the part")
            with box("buttons"):
                words = "Lay it on the part" if item.shown is None else "Lay it again"
                button(words, self._lay, "main", name=f"lay the scan on {self._part}")
                button("Put away", self._put_away, name=f"put the scan away: {item.name}")
            self._trouble = box("trouble").props('role="status"')

    def _draw_view(self, shown: ShownScan | None) -> None:
        with box("model"):
            view = ModelView(self._bench, f"{self._part}, and how far the scan lies off it", alone=True)
            view.set_parts([row for row in describe_parts(self._snapshot) if row["id"] == self._part])
            view.set_placing(ViewPlacing({}, ()))
            if shown is not None:
                view.set_walls(map_of_scan(shown, self._bench.overlays.keep(shown.map)))
                view.set_colouring("wall")

    async def _lay(self) -> None:
        item = self._bench.scans.item(self._part)
        if item is None:
            return
        try:
            request = read_scan_form(self._part, item.file, self._typed)
        except DryfitError as error:
            self._trouble.clear()
            with self._trouble:
                show_refusal(error)
            return
        await self._bench.scans.lay(self._part, request)

    def _put_away(self) -> None:
        if not self._done(lambda: self._bench.scans.put_away(self._part)):
            return
        if not self._form.is_deleted:
            self._seen = None
            self._follow()

    def _renew_lines(self) -> None:
        async def renew() -> None:
            lines = await self._bench.compute(lambda: scans_of(self._snapshot.opened, self._part))
            if not self._lines.is_deleted:
                self._show_lines(lines)

        background_tasks.create(renew())

    def _show_lines(self, lines: tuple[ScanLine, ...]) -> None:
        self._lines.clear()
        with self._lines:
            if not lines:
                text("p", "None yet.", "soft")
                return
            with box("scroll", "div", "recorded scans").props('role="group" tabindex="0"'):
                show_table(scans_table(lines))
            newest = [line for line in lines if line.is_kept]
            with box("buttons"):
                for line in {line.file: line for line in reversed(newest)}.values():
                    self._again(line)

    def _again(self, line: ScanLine) -> Element:
        return button(
            f"Take {line.file} again", partial(self._take, line), name=f"take the scan {line.file} again"
        )

    def _take(self, line: ScanLine) -> None:
        self._typed["unit"] = line.unit
        if line.scanner_std_mm:
            self._typed["std"] = f"{line.scanner_std_mm:g}"
        self._done(lambda: self._bench.scans.take_kept(self._part, line))

    def _done(self, work: Callable[[], object]) -> bool:
        """Whether it could be done; else it is said why, such as that another tab has the scan being laid."""
        self._outcome.clear()
        try:
            work()
        except DryfitError as error:
            with self._outcome:
                show_refusal(error)
            return False
        return True


def _choose_part(parts: Sequence[str], chosen: str) -> None:
    def go(event: object) -> None:
        ui.navigate.to(f"/scan?show={quote(str(getattr(event, 'args', chosen)), safe='')}")

    choices = {"": "choose"} if chosen not in parts else {}
    select_field("part", {**choices, **{part: part for part in parts}}, chosen, go)
