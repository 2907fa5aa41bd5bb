"""The trace of a dimension: each source with its weight and its test, and what hangs on the dimension."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING
from urllib.parse import quote

from dryfit.app.live import Snapshot
from dryfit.app.schedule_report import Scheduled, ScheduleReport
from dryfit.view.blocks import Heading
from dryfit.view.schedule import dimension_state, printed_words, tests_words
from dryfit.view.schedule_page import TraceRow, hanging, model_blocks, shorten_trace, size_words, trace_rows
from dryfit.web.pages.schedule_decide import DecisionPanel
from dryfit.web.render import box, button, link, show_blocks, show_cell, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_HEADS = ("state", "source", "stated", "share of variance", "weight", "residual", "test value")
_MORE_HEADS = ("redundancy", "noticed from", "")
_FIGURES = frozenset({"weight", "residual", "test value", "redundancy", "noticed from"})
_SHEETS = {"features": "/parts?show=", "parts": "/parts?show=", "joints": "", "characteristics": "/fit?show="}


def show_trace(
    bench: Bench,
    snapshot: Snapshot,
    report: ScheduleReport,
    item: Scheduled,
    change: Callable[[str], object],
) -> None:
    """All of it. change: is called with the id of an observation that the user wants to change."""
    show_blocks([Heading(f"Trace of {item.id}", dimension_state(report, item))])
    text("p", size_words(report, item))
    rows, more = shorten_trace(trace_rows(report, item))
    panels = box("contents")
    if rows:
        with (
            box("scroll", "div", "sources").props('role="group" tabindex="0"'),
            box("figures trace", "table"),
        ):
            with box("", "thead"), box("", "tr"):
                for head in (*_HEADS, *_MORE_HEADS):
                    text("th", head, "right" if head in _FIGURES else "").props["scope"] = "col"
            with box("", "tbody"):
                for row in rows:
                    _row(bench, snapshot, row, change, panels)
        if more:
            text("p", more)
        text("p", tests_words(report), "soft")
    panels.move(target_index=-1)
    _hanging(item)
    parts = bench.parts_report
    show_blocks(list(model_blocks(item, None if parts is None else parts.features)))
    if item.features and parts is None:
        link("check the parts", "/parts")


def _row(
    bench: Bench, snapshot: Snapshot, row: TraceRow, change: Callable[[str], object], panels: object
) -> None:
    panel = DecisionPanel(bench, snapshot, panels)
    with box("left-out" if row.left_out else "", "tr"):
        with box("state-cell", "td"):
            state_mark(row.state)
        with box("from", "td"):
            text("strong", row.id)
            for photo in row.photos:
                link(f"see {photo}", f"/evidence?show={quote(photo, safe='')}")
            whence = row.source[-1]
            text("span", row.words if row.is_relation else f"of {row.words}", "of-limits")
            text("span", whence, "of-limits")
        text("td", row.source[2])
        with box("share", "td"):
            if row.share is not None:
                with box("bar"):
                    box("", "span").style(f"width: {row.bar}")
                text("span", "left out" if row.left_out else row.source[4])
            else:
                text("span", "exact relation" if row.is_relation else "exact")
        show_cell(row.source[3], (7, 4))
        for words in row.tested:
            show_cell(words, (6, 4))
        with box("", "td"), box("buttons"):
            if row.left_out:
                panel.button("restore", row.id)
            else:
                panel.button("without", row.id)
                if row.kept:
                    panel.button("restore", row.id)
            if row.is_typed:
                button("Change", partial(change, row.id), name=f"change {row.id}: in a form")


def _hanging(item: Scheduled) -> None:
    """Features, parts and characteristics that rest on it, each with its sheet."""
    text("h3", "What hangs on it")
    if not item.features:
        text("p", "No feature of a part takes its nominal from it.")
        return
    with box("hanging", "dl"):
        for kind, names in hanging(item):
            if not names:
                continue
            text("dt", kind)
            with box("", "dd"):
                for name in names:
                    sheet = _SHEETS[kind]
                    if sheet:
                        link(name, f"{sheet}{quote(name, safe='')}")
                    else:
                        text("span", name)
    text("p", f"Of these parts, {printed_words(item.printed)}.", "soft")
