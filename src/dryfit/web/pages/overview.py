"""What to do next in order of risk, what changed since the last visit, and the worst characteristic."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryfit.app.links import worst_of
from dryfit.app.live import Snapshot
from dryfit.view.forecast import forecast_blocks, forecast_state
from dryfit.view.reports import since_blocks
from dryfit.web.figures import make_hold_point
from dryfit.web.pages.model import show_model
from dryfit.web.render import box, link, show_blocks, show_limits, state_mark, text
from dryfit.web.shell import follow, redraw, sheet
from dryfit.web.words import Step, fit_figure, next_steps

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_STEPS_SHOWN = 6


def build(bench: Bench) -> None:
    """The page."""
    with sheet(bench, "overview", "overview"):
        follow(bench, lambda snapshot: _show(bench, snapshot), with_parts=True)


async def _show(bench: Bench, snapshot: Snapshot) -> None:
    hold = await make_hold_point(snapshot, bench.parts_report)
    report = snapshot.report
    verdict, *_ = forecast_blocks(report, brief=True)
    with box("columns"):
        with box("lane"):
            show_blocks([verdict])
            _steps(next_steps(hold, report))
            with box("panel"):
                text("h2", "Since the last visit")
                redraw(bench, lambda: _since(bench))
                link("changes and releases", "/changes")
        with box("lane"):
            _worst(snapshot)
            await show_model(bench, snapshot, is_small=True)


def _steps(steps: list[Step]) -> None:
    text("h2", "What to do next")
    if not steps:
        text("p", "Nothing: every check passes.")
        return
    _list(steps[:_STEPS_SHOWN])
    if len(steps) > _STEPS_SHOWN:
        with box("", "details"):
            text("summary", f"{len(steps) - _STEPS_SHOWN} more, of less risk")
            _list(steps[_STEPS_SHOWN:])


def _list(steps: list[Step]) -> None:
    with box("steps", "ol"):
        for step in steps:
            with box("step", "li"):
                state_mark(step.state)
                text("p", step.what)
                link(step.action, step.target)
                text("p", step.do, "do")


def _since(bench: Bench) -> None:
    visit = bench.visit
    if visit is None or visit.previous_at is None:
        text("p", "This is the first visit: nothing earlier to compare with.", "soft")
    elif visit.since is None:
        text("p", f"Nothing changed since {visit.previous_at}.", "soft")
    else:
        with box("scroll"):
            show_blocks(since_blocks(visit.since), level=3)


def _worst(snapshot: Snapshot) -> None:
    item = worst_of(snapshot.report)
    if item is None:
        return
    with box("panel worst", "section", "the worst characteristic"):
        with box("heading", "h2"):
            state_mark(forecast_state(snapshot.report), with_word=False)
            text("span", fit_figure(item))
        show_limits(item, snapshot.report.risk, "large")
        link("its causes", f"/fit?show={item.id}")
