"""Characteristics before and after the readings of printed parts: two limits pictures, one above the other."""

from __future__ import annotations

from nicegui import ui

from dryfit.model.forecast import ForecastReport
from dryfit.view.as_built_page import Before, before_and_after, figure_words
from dryfit.web.render import box, limits_svg, link, state_mark, text


def show_before_and_after(report: ForecastReport) -> None:
    """All characteristics, those that changed most first; the unchanged are folded away."""
    rows = before_and_after(report)
    changed = [row for row in rows if row.has_changed]
    if not report.prior:
        text("p", "No printed part was read yet: the forecast rests on what was known beforehand.", "soft")
        return
    _list(changed, report.risk)
    same = [row for row in rows if not row.has_changed]
    if same:
        with box("", "details"):
            text("summary", f"{len(same)} as before")
            _list(same, report.risk)


def _list(rows: list[Before], risk: float) -> None:
    with box("before-after", "ul"):
        for row in rows:
            with box("", "li"):
                with box("name"):
                    state_mark(row.state, with_word=False)
                    link(row.item.id, f"/fit?show={row.item.id}")
                with box("pair"):
                    if row.before is not None:
                        _one("before", row.before, row, risk)
                    _one("now", row.item, row, risk)


def _one(when: str, item: object, row: Before, risk: float) -> None:
    is_now = item is row.item
    shown, other = (row.item, row.before) if is_now else (row.before, row.item)
    if shown is None:
        return
    text("span", when, "soft")
    ui.html(limits_svg(shown, risk, beside=other), sanitize=False)
    text("span", figure_words(shown))
