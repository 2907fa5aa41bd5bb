"""The rows of the parts sheet: parts, what was found between them, and features; each opens what it holds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from nicegui import ui
from nicegui.element import Element

from dryfit.app.checking import PartCheck, PartsReport
from dryfit.app.links import PartRow
from dryfit.model.finding import GRAVITY, Finding, MeasuredFeature
from dryfit.view.digits import NONE, write_vector
from dryfit.view.feature_limits import feature_picture
from dryfit.view.parts import (
    as_words,
    deviation_words,
    feature_words,
    finding_words,
    least_wall_words,
    measured_words,
    nominal_words,
)
from dryfit.web.render import LIMITS_HEIGHT, LIMITS_WIDTH, box, column_widths, show_cell, state_mark, text

_PART_HEADS = ("state", "part", "size in mm", "thinnest wall in mm", "found")
_FEATURE_HEADS = ("state", "feature", "in the mesh", "nominal", "deviation", "against its limits")

# The finding, the element that stands for it, and whether a key was pressed rather than a pointer.
ChooseFinding = Callable[[Finding, Element, bool], None]


@dataclass(slots=True)
class _Row:
    row: Element
    choose: Element
    why: Element
    held: Element


class OpenRows:
    """Rows of which one at a time is open. choose: told the id that is asked for; "" where it was open."""

    def __init__(self, choose: Callable[[str], None]) -> None:
        self._choose = choose
        self._rows: dict[str, _Row] = {}
        self._open = ""

    def add(self, id: str, cells: Callable[[], None], name: str, below: str, columns: int) -> None:
        """One row: its state cell and others by cells, which is called between the two parts of the name cell."""
        with box("", "tr") as row:
            holder = box("state-cell", "td")
            with box("id", "td"):
                choose = text("button", name, "choose").props('type="button" aria-expanded="false"')
                choose.props["data-row"] = id
                choose.on("click", partial(self._ask, id), args=[])
                if below:
                    text("span", below, "of-limits")
            cells()
        with box("why", "tr") as why:
            held = box("", "td").props(f'colspan="{columns}"')
        self._rows[id] = _Row(row, choose, why, held)
        self._holder = holder

    @property
    def state_cell(self) -> Element:
        """Of the row that was added last."""
        return self._holder

    def _ask(self, id: str) -> None:
        self._choose("" if id == self._open else id)

    def open(self, id: str, fill: Callable[[], None] | None = None) -> None:
        """Open one row and fill it, and close the one that was open."""
        for name in {self._open, id} & self._rows.keys():
            row, is_open = self._rows[name], name == id
            row.held.clear()
            row.choose.props["aria-expanded"] = "true" if is_open else "false"
            row.choose.update()
            for element in (row.row, row.why):
                element.classes(add="chosen" if is_open else "", remove="" if is_open else "chosen")
        self._open = id
        if id in self._rows and fill is not None:
            with self._rows[id].held:
                fill()


def part_rows(report: PartsReport, choose: Callable[[str], None]) -> OpenRows:
    """A row for every part that was checked."""
    rows = OpenRows(choose)
    widths = column_widths([least_wall_words(part) for part in report.parts])
    with _table("checked-parts", _PART_HEADS):
        for part in report.parts:
            with_parts = [item for item in report.assembly if part.id in item.parts and item.state != "pass"]
            _part_row(rows, part, [*part.findings, *with_parts], widths)
    return rows


def _part_row(rows: OpenRows, part: PartCheck, findings: Sequence[Finding], widths: tuple[int, int]) -> None:
    def cells() -> None:
        text("td", write_vector(part.size_mm), "size")
        show_cell(least_wall_words(part), widths)
        text("td", count_words(findings), "found")

    told = ", ".join(words for words in (part.machine, part.material, as_words(part)) if words)
    rows.add(part.id, cells, part.id, told, len(_PART_HEADS))
    with rows.state_cell:
        state_mark(next((state for state in GRAVITY if any(f.state == state for f in findings)), "pass"))


def unchecked_rows(parts: Sequence[PartRow], choose: Callable[[str], None]) -> OpenRows:
    """A row for every part as it was read, before anything was checked."""
    rows = OpenRows(choose)
    with _table("checked-parts", _PART_HEADS):
        for part in parts:
            rows.add(part.id, partial(_read_cells, part), part.id, f"{part.machine}, {part.material}", 5)
            with rows.state_cell:
                state_mark("caution" if part.cautions else "not checked")
    return rows


def _read_cells(part: PartRow) -> None:
    text("td", write_vector(part.size_mm), "size")
    text("td", NONE, "number")
    text("td", "; ".join(part.cautions) or "not checked", "found")


def feature_rows(features: Sequence[MeasuredFeature], choose: Callable[[str], None]) -> OpenRows:
    """A row for every feature, with its limits picture where there are limits."""
    rows = OpenRows(choose)
    columns = [
        [words(item) for item in features] for words in (measured_words, nominal_words, deviation_words)
    ]
    widths = [column_widths(column) for column in columns]
    widths[2] = (widths[2][0] + 1, widths[2][1])  # a sign is wider than a figure
    with _table("features", _FEATURE_HEADS):
        for item in features:
            rows.add(item.id, partial(_feature_cells, item, widths), item.id, item.kind, len(_FEATURE_HEADS))
            with rows.state_cell:
                state_mark(item.state)
    return rows


def _feature_cells(item: MeasuredFeature, widths: Sequence[tuple[int, int]]) -> None:
    for words, width in zip((measured_words, nominal_words, deviation_words), widths, strict=True):
        show_cell(words(item), width)
    with box("picture", "td"):
        inner = feature_picture(item, LIMITS_WIDTH, LIMITS_HEIGHT)
        if inner:
            view = f"0 0 {LIMITS_WIDTH:g} {LIMITS_HEIGHT:g}"
            ui.html(f'<svg class="limits" viewBox="{view}">{inner}</svg>', sanitize=False)
        else:
            text("span", "no limits" if item.measured is not None else "not measured", "soft")


def fill_feature(item: MeasuredFeature) -> None:
    """What an open feature says."""
    with box("sentence", "p"):
        state_mark(item.state, with_word=False)
        text("span", feature_words(item))
    if item.nominal_from:
        text("p", f"Nominal: {item.nominal_from}.", "soft")
    if item.limits_from:
        text("p", f"Limits: {item.limits_from}.", "soft")
    for note in item.notes:
        text("p", f"Note: {note}.", "soft")


def finding_buttons(findings: Sequence[Finding], choose: ChooseFinding, nothing: str) -> None:
    """A button for each finding, gravest first; what is clear is folded away."""
    grave = sorted((f for f in findings if f.state != "pass"), key=lambda f: GRAVITY.index(f.state))
    clear = [f for f in findings if f.state == "pass"]
    if not grave:
        text("p", nothing, "soft")
    for finding in grave:
        _finding_button(finding, choose)
    if clear:
        with box("clear", "details"):
            text("summary", f"{len(clear)} check{'' if len(clear) == 1 else 's'} clear")
            for finding in clear:
                _finding_button(finding, choose)


def _finding_button(finding: Finding, choose: ChooseFinding) -> None:
    with box("finding", "button") as element:
        element.props["type"] = "button"
        with box("head", "span"):
            state_mark(finding.state)
            text("strong", finding.topic)
            if len(finding.parts) > 1:
                text("span", some_names(finding.parts))
            if len(finding.places_mm) > 1 and finding.topic != "clearance":
                text("span", f"{len(finding.places_mm)} places", "soft")
        text("span", finding_words(finding))

    def chosen(event: object) -> None:
        choose(finding, element, getattr(event, "args", 1) == 0)

    element.props["aria-pressed"] = "false"
    element.on("click", chosen, js_handler="(e) => emit(e.detail)")


def some_names(names: Sequence[str], most: int = 4) -> str:
    """Names in a row; of many only the first."""
    if len(names) <= most:
        return " and ".join(names) if len(names) == 2 else ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"


def count_words(findings: Sequence[Finding]) -> str:
    """How many of each state that is not a pass, gravest first."""
    states = [item.state for item in findings]
    counted = [f"{states.count(state)} {state}" for state in GRAVITY[:3] if state in states]
    return ", ".join(counted) or "clear"


def _table(classes: str, heads: Sequence[str]) -> Element:
    """The body of a table with heads, to be filled."""
    with box(f"figures rows {classes}", "table"):
        with box("", "thead"), box("", "tr"):
            for head in heads:
                text("th", head).props["scope"] = "col"
        return box("", "tbody")
