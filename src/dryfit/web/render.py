"""Blocks and small things of a sheet as page elements: the same words and digits as the command line."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from html import escape
from types import MappingProxyType
from typing import Any

from nicegui import ui
from nicegui.element import Element
from nicegui.elements.mixins.text_element import TextElement

from dryfit.base.errors import DocumentRefused, DryfitError
from dryfit.model.forecast import CharacteristicForecast
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.sheet_limits import limits_picture

_NAMES: dict[State, str] = {
    "pass": "pass",
    "caution": "caution",
    "stop": "stop",
    "not checked": "unchecked",
}
# Each shape twice: a hairline of ink outside, the colour inside, so that it stands out on paper and slate.
_SHAPES: dict[State, str] = {
    "pass": '<circle cx="6" cy="6" r="4.4"/>',
    "caution": '<path d="M6 1.6 11 10.4H1Z"/>',
    "stop": '<rect x="1.8" y="1.8" width="8.4" height="8.4"/>',
    "not checked": '<circle cx="6" cy="6" r="4"/>',
}
_NUMBER = re.compile(r"(?:[<>] |at most |at least )?[+-]?\d+")
LIMITS_WIDTH, LIMITS_HEIGHT = 52.0, 13.0


def text(tag: str, words: str, classes: str = "") -> TextElement:
    """One element with plain words in it."""
    return TextElement(tag=tag, text=words).classes(classes)


def box(classes: str, tag: str = "div", name: str = "") -> Element:
    """An element that holds others; name: what a screen reader calls it."""
    element = ui.element(tag).classes(classes)
    if name:
        element.props["aria-label"] = name
    return element


def state_mark(state: State, with_word: bool = True) -> None:
    """The shape of a state and, unless it stands beside it already, its word."""
    with box("state", "span"):
        ui.html(mark_svg(state), sanitize=False, tag="span")
        text("span", state, "" if with_word else "unseen")


def mark_svg(state: State) -> str:
    """The shape of a state as SVG."""
    shape = _SHAPES[state]
    return (
        f'<svg class="mark {_NAMES[state]}" viewBox="0 0 12 12" aria-hidden="true">'
        f'<g class="case">{shape}</g><g class="colour">{shape}</g></svg>'
    )


def button(
    words: str, handler: Callable[..., Any] | None = None, classes: str = "", name: str = ""
) -> Element:
    """A plain button; name: what it does, where its words alone do not say so."""
    element = text("button", words, f"button {classes}")
    element.props["type"] = "button"
    if name:
        element.props["aria-label"] = name
    if handler is not None:
        # The mouse event itself does not travel to the server.
        element.on("click", handler, args=[])
    return element


def link(words: str, target: str, classes: str = "") -> Element:
    """A link to another sheet."""
    element = text("a", words, classes)
    element.props["href"] = target
    return element


def show_blocks(blocks: Sequence[Block], level: int = 2) -> None:
    """Headings, sentences and tables in their order; level of the headings."""
    for block in blocks:
        if isinstance(block, Heading):
            _heading(block, level)
        elif isinstance(block, Sentence):
            _sentence(block)
        else:
            show_table(block)


def show_scrolling(blocks: Sequence[Block], name: str, level: int = 2) -> None:
    """The same, its tables in frames that are scrolled, by the keyboard as well, where they are too wide."""
    for block in blocks:
        if isinstance(block, Table):
            with box("scroll", "div", name).props('role="group" tabindex="0"'):
                show_table(block)
        else:
            show_blocks([block], level)


def _heading(block: Heading, level: int) -> None:
    with box("heading", f"h{level}"):
        if block.state:
            state_mark(block.state, with_word=False)
        text("span", block.text)


def _sentence(block: Sentence) -> None:
    with box("sentence" + (" item" if block.mark else ""), "p"):
        if block.state:
            state_mark(block.state, with_word=False)
        text("span", block.text)


def show_table(
    table: Table, classes: str = "", links: Mapping[tuple[int, int], str] = MappingProxyType({})
) -> None:
    """A table whose numbers stand below one another at the decimal point.

    links : by row and column, the sheets that cells lead to
    """
    widths = {column: _split_widths(table, column) for column in table.right}
    with box(f"figures {classes}", "table"):
        if any(table.heads):
            with box("", "thead"), box("", "tr"):
                if table.states:
                    text("th", "state", "of-states").props["scope"] = "col"
                for column, head in enumerate(table.heads):
                    cell = text("th", head, "right" if column in table.right else "")
                    cell.props["scope"] = "col"
        with box("", "tbody"):
            for number, row in enumerate(table.rows):
                with box("", "tr"):
                    if table.states:
                        with box("state-cell", "td"):
                            state_mark(table.states[number])
                    for column, cell_text in enumerate(row):
                        if (number, column) in links:
                            with box("id" if column == 0 else "", "td"):
                                link(cell_text, links[number, column])
                            continue
                        show_cell(cell_text, widths.get(column), "id" if column == 0 else "")


def show_cell(words: str, widths: tuple[int, int] | None = None, classes: str = "") -> None:
    """A cell; widths: letters before and after the decimal point over the whole column."""
    if widths is None:
        text("td", words, classes)
        return
    before, after = split_number(words)
    with box(f"number {classes}", "td"), box("point", "span"):
        text("span", before, "before").style(f"min-width: {widths[0]}ch")
        text("span", after, "after").style(f"min-width: {widths[1]}ch")


def split_number(words: str) -> tuple[str, str]:
    """A figure cut before its decimal point; words without a figure stay whole, before it."""
    match = _NUMBER.match(words)
    return (words, "") if match is None else (words[: match.end()], words[match.end() :])


def column_widths(cells: Sequence[str]) -> tuple[int, int]:
    """Letters before and after the decimal point that the longest cells take."""
    pairs = [split_number(cell) for cell in cells] or [("", "")]
    return max(len(pair[0]) for pair in pairs), max(len(pair[1]) for pair in pairs)


def _split_widths(table: Table, column: int) -> tuple[int, int]:
    return column_widths([row[column] for row in table.rows])


def limits_svg(
    item: CharacteristicForecast,
    risk: float,
    classes: str = "",
    beside: CharacteristicForecast | None = None,
    said: str = "",
) -> str:
    """The limits picture of a characteristic as SVG.

    beside : drawn to the same scale in another one
    said : what it says to those who do not see it, where that is not the forecast
    """
    inner = limits_picture(item, risk, LIMITS_WIDTH, LIMITS_HEIGHT, beside, said)
    view = f"0 0 {LIMITS_WIDTH:g} {LIMITS_HEIGHT:g}"
    return f'<svg class="limits {classes}" viewBox="{view}">{inner}</svg>'


def show_limits(item: CharacteristicForecast, risk: float, classes: str = "") -> None:
    """The limits picture of a characteristic."""
    ui.html(limits_svg(item, risk, classes), sanitize=False)


def show_refusal(error: DryfitError, classes: str = "") -> None:
    """What is wrong, where, and what to do, where it happened."""
    with box(f"refusal {classes}").props('role="alert"'):
        with box("heading", "p"):
            state_mark("stop", with_word=False)
            text("strong", error.what)
        if isinstance(error, DocumentRefused):
            for fault in error.faults:
                _three_parts(fault.where, f"{fault.what}; {fault.do}")
        else:
            _three_parts("where", error.where)
            _three_parts("do", error.do)


def _three_parts(head: str, words: str) -> None:
    with box("part-of-refusal", "p"):
        text("span", head, "soft")
        text("span", words)


def show_diff(diff: str) -> None:
    """A unified diff as text, its lines marked by their first letter and by weight."""
    lines = []
    for words in diff.splitlines():
        kind = {"+": "added", "-": "removed", "@": "place"}.get(words[:1], "")
        if words.startswith(("+++", "---")):
            kind = "place"
        lines.append(f'<span class="{kind}">{escape(words)}\n</span>')
    ui.html("".join(lines), sanitize=False, tag="pre").classes("diff")
