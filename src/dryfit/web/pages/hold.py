"""The hold point before printing: its checks as rows, run again, printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui.element import Element

from dryfit.app.live import Snapshot
from dryfit.app.ready import HoldPoint, check_before_printing
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Heading, Table
from dryfit.view.reports import hold_point_blocks
from dryfit.web.figures import make_hold_point
from dryfit.web.render import box, button, show_blocks, show_refusal, show_table
from dryfit.web.shell import follow, sheet
from dryfit.web.words import sheet_of

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


def build(bench: Bench) -> None:
    """The page."""
    with sheet(bench, "hold point", "hold point before printing"):
        follow(bench, lambda snapshot: _show(bench, snapshot), with_parts=True)


async def _show(bench: Bench, snapshot: Snapshot) -> None:
    result = box("result")

    async def run_again() -> None:
        result.clear()
        with result:
            await _run_again(bench, result)

    with box("buttons"):
        button("Run again", run_again, "main", name="run again: every check")
        button("Print this sheet").on("click", js_handler="() => window.print()")
    # The buttons stand first in reading order of the keyboard, the rows are what the page is about.
    result.move(target_index=-1)
    with result:
        _rows(await make_hold_point(snapshot, bench.parts_report))


async def _run_again(bench: Bench, result: Element) -> None:
    try:
        report = await bench.run_job(
            "hold point before printing",
            lambda progress: check_before_printing(bench.path, progress=progress),
        )
    except DryfitError as error:
        with result:
            show_refusal(error)
        return
    with result:
        _rows(report)
    await bench.recall_parts()


def _rows(report: HoldPoint) -> None:
    for block in hold_point_blocks(report):
        if isinstance(block, Heading):
            show_blocks([block])
        elif isinstance(block, Table):
            with box("scroll"):
                # The state stands first, as shape and word; its column of words would say it twice.
                rows = tuple((*row[:2], *row[3:]) for row in block.rows)
                heads = (*block.heads[:2], *block.heads[3:])
                links = {(place, 1): sheet for place, row in enumerate(rows) if (sheet := sheet_of(*row[:2]))}
                show_table(Table(heads, rows, frozenset(), block.states), "checks", links)
