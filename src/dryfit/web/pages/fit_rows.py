"""The rows of the fit sheet, each with its limits picture; the open one shows its causes as bars."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from nicegui import ui
from nicegui.events import GenericEventArguments

from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.view.blocks import Heading, Table
from dryfit.view.contributions import contribution_blocks
from dryfit.view.forecast import forecast_blocks, main_causes, state_of
from dryfit.web.render import box, column_widths, limits_svg, mark_svg, show_table, split_number, text
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


class Rows(ui.element, component="../static/fit_rows.js"):
    """The verdict and a table of characteristics. choose: told the id of the row that is opened."""

    def __init__(self, report: ForecastReport, choose: Callable[[str], None]) -> None:
        super().__init__()
        cells = [row_words(item) for item in report.characteristics]
        widths = [width for column in (1, 3) for width in column_widths([row[column] for row in cells])]
        with self._props.suspend_updates():
            self._props["heads"] = list(_HEADS)
            self._props["widths"] = widths
            self._props["given"] = describe_rows(report)
            self._props["open"] = ""
        self._said = _said(report)
        with self.add_slot("why"):
            self._why = box("contents")

        def tell(event: GenericEventArguments) -> None:
            choose(str(event.args))

        self.on("chosen", tell)

    def follow(self, report: ForecastReport, is_settled: bool = True) -> None:
        """Show another forecast of the same characteristics; the causes of the open row stay.

        is_settled : no further one comes soon. Before that only rows whose words change are described, sent and
            drawn: what does not change a digit would hardly move a curve.
        """
        said = _said(report)
        other = [
            item for item in report.characteristics if is_settled or said[item.id] != self._said[item.id]
        ]
        self._said = said
        changed = {item.id: _describe_row(item, report.risk) for item in other}
        verdict = _describe_verdict(report)
        before = self._props["given"]["rows"]
        with self._props.suspend_updates():
            rows = [changed.get(row["id"], row) for row in before]
            self._props["given"] = {"verdict": verdict, "rows": rows}
        self.run_method("follow", verdict, list(changed.values()))

    def open(self, id: str, report: ForecastReport) -> None:
        """Open the causes of one row, and close the others."""
        if self._props["open"] != id:
            self._props["open"] = id
        self._why.clear()
        with self._why:
            _causes(report, id)


def _said(report: ForecastReport) -> dict[str, tuple[str, ...]]:
    return {item.id: (state_of(item, report.risk), *row_words(item)) for item in report.characteristics}


def describe_rows(report: ForecastReport) -> dict[str, Any]:
    """The verdict and the rows as plain lists, the same words and digits as the forecast's table."""
    rows = [_describe_row(item, report.risk) for item in report.characteristics]
    return {"verdict": _describe_verdict(report), "rows": rows}


def _describe_verdict(report: ForecastReport) -> dict[str, str]:
    heading = next(block for block in forecast_blocks(report, brief=True) if isinstance(block, Heading))
    return {
        "mark": mark_svg(heading.state) if heading.state else "",
        "state": heading.state or "",
        "words": heading.text,
        "what_if": f"What if: {', '.join(report.what_if)}" if report.what_if else "",
    }


def _describe_row(item: CharacteristicForecast, risk: float) -> dict[str, Any]:
    id, predicted, limits, outside, _ = row_words(item)
    state = state_of(item, risk)
    return {
        "id": id,
        "state": state,
        "mark": mark_svg(state),
        "picture": limits_svg(item, risk),
        "predicted": split_number(predicted),
        "limits": limits,
        "outside": split_number(outside),
        "causes": list(main_causes(item)),
    }


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
