"""The bench: readings of an artefact or a printed part, one number at a time, and the routine before a long print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import background_tasks, ui

from dryfit.app.as_built_page import gather_board, readable_parts
from dryfit.app.live import Snapshot
from dryfit.app.machine_page import used_machine
from dryfit.base.errors import DryfitError
from dryfit.view.as_built_page import next_heading, next_table
from dryfit.view.machine_ink import CHART_STYLE
from dryfit.web.pages.bench_sheet_preflight import PreflightDesk
from dryfit.web.pages.bench_sheet_readings import Kept, ReadingsDesk
from dryfit.web.pages.bench_sheet_target import MachineTarget, PartTarget
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.render import box, link, show_refusal, show_table, text
from dryfit.web.shell import follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

PREFLIGHT = "preflight"


def build(
    bench: Bench, answers: Answers, machine: str = "", measure: str = "", do: str = "", part: str = ""
) -> None:
    """The page.

    machine, part : id of what is read; measure: number or id of the one to open first; do: "preflight" for the routine
    """
    kept = Kept(measure or None)
    ui.add_head_html(f"<style>{CHART_STYLE}</style>")
    with sheet(bench, "bench", "bench"):

        async def draw(snapshot: Snapshot) -> None:
            try:
                id = used_machine(snapshot.opened.project, machine)
            except DryfitError as error:
                show_refusal(error)
                return
            with box("bench"):
                _head(snapshot, id, do, part)
                if part:
                    await ReadingsDesk(bench, PartTarget(bench, answers, part), kept).draw()
                elif do == PREFLIGHT:
                    await PreflightDesk(bench, answers, snapshot, id).draw()
                else:
                    await ReadingsDesk(bench, MachineTarget(bench, id), kept).draw()
                if do != PREFLIGHT:
                    _Worth(bench, answers, part).draw()

        # A reading of a part changes the forecast: what stands under the hand stays.
        follow(bench, draw, with_learning=False)


def _head(snapshot: Snapshot, machine: str, do: str, part: str) -> None:
    """What is on the bench, and what is done at it."""
    with box("bench-head", "nav", "what is done at the bench"):
        for words, key in (("Readings of the artefact", ""), ("Before a long print", PREFLIGHT)):
            target = f"/bench?machine={machine}" + (f"&do={key}" if key else "")
            entry = link(words, target, "button")
            if not part and (key == do or (not key and do != PREFLIGHT)):
                entry.props["aria-current"] = "page"
        _parts(snapshot, part)
        if not part:
            link(f"sheet of {machine}", f"/machine?show={machine}")
        for other in snapshot.opened.project.machines:
            if other.id != machine:
                link(f"bench of {other.id}", f"/bench?machine={other.id}" + (f"&do={do}" if do else ""))


def _parts(snapshot: Snapshot, part: str) -> None:
    """Printed parts to choose from."""
    ids = readable_parts(snapshot)
    if not ids:
        return
    with box("bench-part", "label"):
        text("span", "printed part", "soft")
        select = box("select", "select", "printed part")
        with select:
            for id in () if part in ids else ("",):
                text("option", part or "choose one").props["value"] = id
            for id in ids:
                option = text("option", id)
                option.props["value"] = id
                if id == part:
                    option.props["selected"] = True
    select.on(
        "change",
        js_handler="(e) => { const id = e.target.value;"
        " if (id) location.href = '/bench?part=' + encodeURIComponent(id); }",
    )


class _Worth:
    """What is worth measuring on printed parts, with the minutes that it takes and what it is expected to spare."""

    def __init__(self, bench: Bench, answers: Answers, part: str) -> None:
        self._bench = bench
        self._answers = answers
        self._part = part
        self._shown: Snapshot | None = None

    def draw(self) -> None:
        """A place for it, drawn anew with each forecast."""
        self._place = box("contents")
        leave = self._bench.subscribe(self._changed)
        ui.context.client.on_delete(leave)
        self._changed()

    def _changed(self) -> None:
        snapshot = self._bench.snapshot
        if (
            snapshot is None
            or snapshot is self._shown
            or self._place.is_deleted
            or not readable_parts(snapshot)
        ):
            return
        self._shown = snapshot
        background_tasks.create(self._fill(snapshot))

    async def _fill(self, snapshot: Snapshot) -> None:
        at_hand = self._bench.at_hand
        board = await self._answers.get(("board",), lambda: gather_board(snapshot, at_hand))
        if self._place.is_deleted or snapshot is not self._shown:
            return
        self._place.clear()
        with self._place, box("panel bench-worth", "section", "worth measuring"):
            text("h3", "Worth measuring on printed parts")
            if isinstance(board, DryfitError):
                show_refusal(board)
                return
            table = next_table(board.parts)
            text("p", next_heading(board))
            if table.rows:
                links = {(row, 0): f"/bench?part={cells[0]}" for row, cells in enumerate(table.rows)}
                with box("scroll", "div", "worth measuring").props('role="group" tabindex="0"'):
                    show_table(table, "next", links)
