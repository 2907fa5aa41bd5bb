"""The drawing sheet round every page: the chain across the top, the title block and command box at the foot."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING

from nicegui import background_tasks, ui
from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from dryfit.app.as_built_page import built_link
from dryfit.app.links import LINKS, Link, LinkName, evidence_link, report_links
from dryfit.app.live import Snapshot
from dryfit.base.errors import DryfitError
from dryfit.web.command_box import command_box
from dryfit.web.figures import make_hold_point
from dryfit.web.render import box, button, link, show_refusal, state_mark, text
from dryfit.web.words import WILL_NEED, link_figure, without_sheet, write_moment, write_scale

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

STATIC = "/bench/static"
_TARGETS: dict[LinkName, str] = {
    "evidence": "/evidence",
    "schedule": "/schedule",
    "parts": "/parts",
    "machine": "/machine",
    "fit": "/fit",
    "as built": "/as-built",
}
_DOUBT = ("stop", "not checked")
_HEAD = f"""
<script src="{STATIC}/sheet.js"></script>
<link rel="stylesheet" href="{STATIC}/sheet.css">
"""

Draw = Callable[[Snapshot], Awaitable[None]]
_Bars = dict[int, tuple[Element, TextElement]]  # of running jobs: how far they are, as a bar and in words


@contextmanager
def sheet(bench: Bench, here: str, title: str) -> Iterator[None]:
    """A page of the workbench; what is made inside lies on its main area.

    here : name of the link or of the sheet, which is marked as the one shown
    """
    ui.add_head_html(_HEAD)
    ui.page_title(f"dryfit: {title}")
    ui.query(".nicegui-content").classes("desk")
    ui.query(".q-page").props('role="presentation"')  # the main area is the one within it
    with box("sheet"), box("frame"):
        link("to the content", "#work", "skip")
        with box("top", "header"):
            redraw(bench, lambda: _top(bench, here))
        bars: _Bars = {}
        redraw(bench, lambda: _offers(bench, bars), "offers")
        _listen(bench, lambda: _advance(bench, bars))
        with box("work", "main") as main:
            main.props('id="work" tabindex="-1"')
            text("h1", title, "unseen")
            yield
        with box("foot", "footer"):
            command_box(bench)
            redraw(bench, lambda: _title_block(bench, here), "title-block")


def redraw(bench: Bench, draw: Callable[[], None], classes: str = "contents") -> Element:
    """An element that is drawn anew whenever the bench says that something changed.

    While work only goes on nothing is: what is replaced between the press and the release of a button, or
    before its message has arrived, was never pressed.
    """
    holder = box(classes)
    drawn = [-1]

    def update() -> None:
        # A page that was left may still be told once.
        if drawn[0] == bench.changes or holder.is_deleted:
            return
        drawn[0] = bench.changes
        holder.clear()
        with holder:
            draw()

    update()
    _listen(bench, update)
    return holder


def follow(
    bench: Bench,
    draw: Draw,
    classes: str = "contents",
    with_parts: bool = False,
    with_records: bool = False,
    with_learning: bool = True,
    otherwise: Callable[[], Awaitable[None]] | None = None,
) -> None:
    """Draw a snapshot, and again when there is another; until there is one, say why not.

    with_parts : draw again as well when its parts were checked
    with_records : draw again as well when something was recorded in the ledger
    with_learning : draw again as well when readings of parts changed the forecast, of the same document and meshes
    otherwise : what can be drawn all the same of a project that could never be read
    """
    holder = box(classes)
    lock = asyncio.Lock()
    shown: list[object] = []

    async def update() -> None:
        async with lock:
            snapshot, refusal = bench.snapshot, bench.refusal
            parts = bench.parts_report if with_parts else None
            marks = bench.marks if with_records else None
            state = snapshot if with_learning or snapshot is None else snapshot.opened
            if shown == [state, refusal, parts, marks]:
                return
            shown[:] = [state, refusal, parts, marks]
            holder.clear()
            with holder:
                await _draw_or_say_why(snapshot, refusal, draw)
                if snapshot is None and refusal is not None and otherwise is not None:
                    await otherwise()

    def start() -> None:
        background_tasks.create(update())

    _listen(bench, start)
    if bench.snapshot is None and bench.refusal is None:
        with holder:
            text("p", "Reading the project and its meshes.", "soft waiting")
    start()


async def _draw_or_say_why(snapshot: Snapshot | None, refusal: DryfitError | None, draw: Draw) -> None:
    if refusal is not None:
        show_refusal(refusal)
        if snapshot is None:
            link("Open the document on the settings sheet", "/settings")
        else:
            text("p", "Below is the last state that could be read.", "soft")
    if snapshot is not None:
        await draw(snapshot)
    elif refusal is None:
        text("p", "Reading the project and its meshes.", "soft waiting")


def _listen(bench: Bench, update: Callable[[], None]) -> None:
    """Call update on each change of the bench for as long as the page is open."""
    unsubscribe = bench.subscribe(update)
    ui.context.client.on_delete(unsubscribe)


def _top(bench: Bench, here: str) -> None:
    snapshot = bench.snapshot
    name = snapshot.opened.project.name if snapshot else bench.path.name
    with box("project-name"):
        entry = link(name, "/", "name")
        _mark_here(entry, here == "overview")
        text("span", "overview", "figure")
    links = tuple(map(Link, LINKS))
    if snapshot is not None:
        links = report_links(snapshot.opened, snapshot.report, bench.parts_report, snapshot.schedule).links
    built = built_link(snapshot)
    links = tuple(built if entry.name == built.name else entry for entry in links)
    links = (evidence_link(bench.evidence_count), *links[1:])
    with box("chain", "nav", "the chain"), box("", "ol"):
        for entry_link in links:
            _link(entry_link, here)
    with box("hold-point"):
        _hold_point(bench, snapshot, here)


def _hold_point(bench: Bench, snapshot: Snapshot | None, here: str) -> None:
    """Its state comes when it is known, without holding up the page."""
    state = box("over", "span")

    async def show_state(known: Snapshot) -> None:
        hold = await make_hold_point(known, bench.parts_report)
        # Another state may have taken its place meanwhile.
        if not state.is_deleted:
            with state:
                state_mark(hold.state)

    if snapshot is not None:
        background_tasks.create(show_state(snapshot))
    _mark_here(link("hold point", "/hold", "name"), here == "hold point")
    text("span", "before printing", "figure")


def _link(entry: Link, here: str) -> None:
    kinds = ["link"]
    if entry.state in _DOUBT:
        kinds.append("open")
    if entry.state is None:
        kinds.append("not-begun")
    # Photographs are where a project begins, prints where building does: their sheets are there before anything is.
    is_there = entry.state is not None or entry.name in ("evidence", "as built")
    target = _TARGETS.get(entry.name) if is_there else None
    with box(" ".join(kinds), "li"):
        with box("over", "span"):
            if entry.state is None:
                text("span", without_sheet(entry.name), "soft")
            else:
                state_mark(entry.state)
        box("tick", "span").props('aria-hidden="true"')
        if target is None:
            text("span", entry.name, "name")
        else:
            _mark_here(link(entry.name, target, "name"), entry.name == here)
        text("span", link_figure(entry) if entry.state else WILL_NEED.get(entry.name, ""), "figure")


def _mark_here(entry: Element, is_here: bool) -> None:
    if is_here:
        entry.props["aria-current"] = "page"


def _offers(bench: Bench, bars: _Bars) -> None:
    """What happened outside this page: a document changed on disk, work that is running.

    bars : is filled with what shows how far each job is
    """
    bars.clear()
    # While this workbench writes and reads again, the change on disk is its own.
    if bench.on_disk_changed and not any(job.state == "running" for job in bench.jobs):
        with box("offer").props('role="status"'):
            text("span", "project.toml changed on disk. The figures here are those of the document before.")
            button("Load it", bench.reload)
    for job in bench.jobs:
        if job.state != "running":
            continue
        with box("offer job").props('role="status"'):
            text("span", job.words)
            bars[job.id] = (box("", "progress", job.words), text("span", "", "soft"))
            button("Cancel", partial(bench.cancel, job.id), name=f"cancel {job.words}")
    _advance(bench, bars)


def _advance(bench: Bench, bars: _Bars) -> None:
    """Show how far the work is, in the bars that are there."""
    for job in bench.jobs:
        if not job.total or job.id not in bars:
            continue
        progress, words = bars[job.id]
        if progress.is_deleted:
            continue
        progress.props["max"], progress.props["value"] = job.total, job.done
        progress.update()
        words.set_text(f"{job.done} of {job.total}")


def _title_block(bench: Bench, here: str) -> None:
    snapshot = bench.snapshot
    project = snapshot.opened.project if snapshot else None
    state = "changed on disk" if bench.on_disk_changed else "saved" if snapshot else "not read"
    cells = (
        ("project", project.name if project else bench.path.name, "wide"),
        ("scale", write_scale(project) if project else "-", ""),
        ("revision", "-", ""),
        ("figures of", write_moment(bench.loaded_at), ""),
        ("units", "mm, degrees", ""),
    )
    with box("cells", "dl"):
        for head, words, classes in cells:
            with box(f"cell {classes}"):
                text("dt", head)
                text("dd", words)
        with box("cell"):
            text("dt", "document")
            with box("", "dd"):
                _mark_here(link(state, "/settings", ""), here == "settings")
        with box("cell"):
            text("dt", "joints")
            with box("", "dd"):
                words = "-" if project is None else str(len(project.joints))
                _mark_here(link(words, "/joints", ""), here == "joints")
        with box("cell"):
            text("dt", "paper")
            with box("", "dd"):
                theme = button("as the system", name="light, dark or as the system", classes="plain theme")
                theme.on("click", js_handler="() => dryfitSheet.turnTheme()")
