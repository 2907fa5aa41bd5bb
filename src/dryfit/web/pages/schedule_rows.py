"""The table of dimensions with its filter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from nicegui.element import Element

from dryfit.app.schedule_report import ScheduleReport
from dryfit.view.blocks import SHAPES
from dryfit.view.schedule_page import (
    ROW_HEADS,
    ROW_RIGHT,
    PageRow,
    filter_rows,
    filter_words,
    list_page_rows,
    list_sources,
)
from dryfit.web.pages.form_fields import select_field
from dryfit.web.render import box, column_widths, show_cell, state_mark, text

MOST_ROWS = 200


@dataclass
class ChosenRows:
    """What the filter of a tab is set to."""

    words: str = ""
    state: str = ""
    source: str = ""


class DimensionTable:
    """Rows; choosing one calls back with its id."""

    def __init__(self, report: ScheduleReport, chosen: ChosenRows, choose: Callable[[str], None]) -> None:
        self._rows = list_page_rows(report)
        self._chosen = chosen
        self._choose = choose
        self._drawn: dict[str, tuple[Element, Element]] = {}

    def draw(self, shown: str) -> None:
        """Filter and rows."""
        self._shown = shown
        with box("fields filter", "div", "filter").props('role="search"'):
            self._entry()
            states = {"": "any state"} | {state: state for state in SHAPES}
            self._select("state", "state", states)
            sources = {"": "any source"} | {name: name for name in list_sources(self._rows)}
            self._select("source", "source or photograph", sources)
            self._count = text("p", "", "soft").props('role="status"')
        self._frame = box("scroll rows-frame", "div", "dimensions").props('role="group" tabindex="0"')
        self._fill()

    def mark(self, shown: str) -> None:
        """Bring out the row of a dimension."""
        before, self._shown = self._shown, shown
        for id in {before, shown} & set(self._drawn):
            row, entry = self._drawn[id]
            row.classes(add="chosen" if id == shown else None, remove=None if id == shown else "chosen")
            entry.props["aria-pressed"] = "true" if id == shown else "false"
            entry.update()

    def _entry(self) -> None:
        with box("field", "label"):
            text("span", "find", "soft")
            element = box("entry", "input").props('type="search" autocomplete="off" spellcheck="false"')
            element.props["placeholder"] = "dimension, source, part ..."
            # Not its value, which would be put back at each drawing, over what is typed.
            element.props["defaultValue"] = self._chosen.words
        element.on(
            "input",
            partial(self._set, "words"),
            js_handler="(e) => emit(e.target.value)",
            throttle=0.15,
            leading_events=False,
        )

    def _select(self, key: str, words: str, choices: dict[str, str]) -> None:
        now = getattr(self._chosen, key)
        if now not in choices:
            setattr(self._chosen, key, "")
        select_field(words, choices, getattr(self._chosen, key), partial(self._set, key))

    def _set(self, key: str, event: object) -> None:
        setattr(self._chosen, key, str(getattr(event, "args", "")))
        self._fill()

    def _fill(self) -> None:
        chosen = self._chosen
        found = filter_rows(self._rows, chosen.words, chosen.state, chosen.source)
        said = filter_words(len(found), len(self._rows))
        if len(found) > MOST_ROWS:
            said += f"; the first {MOST_ROWS} are shown"
        self._count.set_text(said)
        self._drawn.clear()
        self._frame.clear()
        with self._frame:
            if found:
                self._table(found[:MOST_ROWS])
            else:
                text("p", "No dimension is like that.", "soft")

    def _table(self, rows: list[PageRow]) -> None:
        widths = {place: column_widths([row.cells[place] for row in rows]) for place in ROW_RIGHT}
        with box("figures dimensions", "table"):
            with box("", "thead"), box("", "tr"):
                text("th", "state", "of-states").props["scope"] = "col"
                for place, head in enumerate(ROW_HEADS):
                    text("th", head, "right" if place in ROW_RIGHT else "").props["scope"] = "col"
            with box("", "tbody"):
                for row in rows:
                    self._row(row, widths)

    def _row(self, row: PageRow, widths: dict[int, tuple[int, int]]) -> None:
        is_shown = row.id == self._shown
        with box("chosen" if is_shown else "", "tr") as line:
            with box("state-cell", "td"):
                state_mark(row.state)
            with box("id", "td"):
                entry = text("button", row.id, "choose").props('type="button"')
                entry.props["aria-pressed"] = "true" if is_shown else "false"
                entry.on("click", partial(self._choose, row.id), args=[])
            for place, words in enumerate(row.cells[1:], start=1):
                show_cell(words, widths.get(place), "causes" if place == len(row.cells) - 1 else "")
        self._drawn[row.id] = (line, entry)
