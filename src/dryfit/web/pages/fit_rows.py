"""The rows of the fit sheet, each with its limits picture; the open one shows its causes as bars."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from nicegui import ui
from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.view.blocks import Table
from dryfit.view.contributions import contribution_blocks
from dryfit.view.forecast import main_causes, state_of
from dryfit.web.render import (
    box,
    column_widths,
    limits_svg,
    show_table,
    split_number,
    state_mark,
    text,
)
from dryfit.web.words import bar_lengths, row_words

_HEADS = (
    "state",
    "characteristic",
    "against its limits",
    "predicted (std), limits",
    "outside",
    "largest causes",
)
_BARS_SHOWN = 8


@dataclass(slots=True)
class _Row:
    """The elements of a row that follow a what-if."""

    row: Element
    choose: Element
    state: Element
    picture: ui.html
    predicted: tuple[TextElement, TextElement]
    outside: tuple[TextElement, TextElement]
    causes: Element
    why: Element
    shown: tuple[str, ...] = ()


class Rows:
    """A table of characteristics. choose: told the id of the row that is opened."""

    def __init__(self, report: ForecastReport, choose: Callable[[str], None]) -> None:
        self._choose = choose
        self._rows: dict[str, _Row] = {}
        if not report.characteristics:
            text(
                "p",
                "No characteristic is stated: add [[characteristic]] rows with limits on the settings sheet.",
            )
            return
        cells = [row_words(item) for item in report.characteristics]
        widths = [column_widths([row[column] for row in cells]) for column in (1, 3)]
        with box("scroll"), box("figures rows", "table"):
            with box("", "thead"), box("", "tr"):
                for head in _HEADS:
                    text("th", head).props["scope"] = "col"
            with box("", "tbody"):
                for item in report.characteristics:
                    self._rows[item.id] = self._row(item, widths)
        self.update(report)

    def _row(self, item: CharacteristicForecast, widths: list[tuple[int, int]]) -> _Row:
        with box("", "tr") as row:
            state = box("state-cell", "td")
            with box("id", "td"):
                choose = text("button", item.id, "choose")
                choose.props('type="button" aria-expanded="false"')
                choose.on("click", partial(self._choose, item.id), args=[])
            with box("picture", "td"):
                picture = ui.html("", sanitize=False)
            with box("number", "td"):
                predicted = _number(widths[0])
                text("span", row_words(item)[2], "of-limits")
            with box("number", "td"):
                outside = _number(widths[1])
            causes = box("causes", "td")
        with box("why", "tr"):
            why = box("", "td").props(f'colspan="{len(_HEADS)}"')
        return _Row(row, choose, state, picture, predicted, outside, causes, why)

    def update(self, report: ForecastReport) -> None:
        """Show another forecast of the same characteristics."""
        for item in report.characteristics:
            row = self._rows[item.id]
            words = (state_of(item, report.risk), *row_words(item), limits_svg(item, report.risk))
            if words == row.shown:
                continue
            row.shown = words
            row.state.clear()
            with row.state:
                state_mark(state_of(item, report.risk))
            row.picture.content = words[-1]
            _fill(row.predicted, words[2])
            _fill(row.outside, words[4])
            row.causes.clear()
            with row.causes:
                for cause in main_causes(item):
                    text("span", cause)

    def open(self, id: str, report: ForecastReport) -> None:
        """Open the causes of one row, and close the others."""
        for name, row in self._rows.items():
            is_open = name == id
            row.why.clear()
            row.choose.props["aria-expanded"] = "true" if is_open else "false"
            row.choose.update()
            for element in (row.row, row.why.parent_slot.parent if row.why.parent_slot else row.why):
                element.classes(add="chosen" if is_open else "", remove="" if is_open else "chosen")
            if is_open:
                with row.why:
                    _causes(report, id)


def _number(widths: tuple[int, int]) -> tuple[TextElement, TextElement]:
    with box("point", "span"):
        before, after = text("span", "", "before"), text("span", "", "after")
        before.style(f"min-width: {widths[0]}ch")
        after.style(f"min-width: {widths[1]}ch")
    return before, after


def _fill(pair: tuple[TextElement, TextElement], words: str) -> None:
    for element, piece in zip(pair, split_number(words), strict=True):
        element.text = piece


def _causes(report: ForecastReport, id: str) -> None:
    item = next(entry for entry in report.characteristics if entry.id == id)
    _, facts, causes = contribution_blocks(report, id)
    with box("causes-open"):
        if isinstance(causes, Table):
            _bars(item, causes)
        if isinstance(facts, Table):
            show_table(facts, "facts")


def _bars(item: CharacteristicForecast, causes: Table) -> None:
    """Two bars for each cause: by how much it moves the value, and its share of the variance."""
    with box("bars"):
        for head in ("cause", "moves it by", "", "of variance", ""):
            text("span", head, "head")
        for row, lengths in list(zip(causes.rows, bar_lengths(item), strict=True))[:_BARS_SHOWN]:
            words, source, share, shift = row
            text("span", words).props["title"] = source
            _bar(lengths[0], "shift")
            text("span", shift, "right")
            _bar(lengths[1], "")
            text("span", share, "right")
    more = len(causes.rows) - _BARS_SHOWN
    if more > 0:
        with box("", "details"):
            text("summary", f"all {len(causes.rows)} causes")
            show_table(causes)


def _bar(length: float, classes: str) -> None:
    with box(f"bar {classes}").props('aria-hidden="true"'):
        text("span", "").style(f"width: calc(100% * {length:.4f})")
