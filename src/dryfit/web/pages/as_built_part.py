"""One part as built: its prints, what was read of it and whether that is accepted, its joints, and what can be done."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.app.as_built_page import Board, BoardPart
from dryfit.app.live import Snapshot
from dryfit.app.prints import withdraw_print
from dryfit.base.errors import DryfitError
from dryfit.model.printing import Print
from dryfit.view.as_built_page import (
    READING_HEADS,
    accept_words,
    acceptance_picture,
    acceptance_title,
    measured_words,
    part_blocks,
    part_heading,
    print_line,
    print_state,
    reading_row,
    verdict_of,
)
from dryfit.view.blocks import Block
from dryfit.view.digits import NONE
from dryfit.web.pages.as_built_joint import JointDesk
from dryfit.web.pages.as_built_print import PrintForm
from dryfit.web.pages.as_built_remedy import RemedyDesk
from dryfit.web.pages.as_built_suspects import OwnShapeDesk, SuspectDesk
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.render import box, button, limits_svg, link, show_blocks, show_refusal, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class Typed(dict[str, str]):
    """What is typed in the form of a print; "open": "new", or the record that is corrected.

    said : by part, what came of the last decision about it
    """

    def __init__(self) -> None:
        super().__init__()
        self.said: dict[str, list[Block]] = {}

    def close(self) -> None:
        """Forget it."""
        self.clear()


class PartPanel:
    """The panel of the part that is chosen."""

    def __init__(
        self,
        bench: Bench,
        answers: Answers,
        snapshot: Snapshot,
        board: Board,
        item: BoardPart,
        typed: Typed,
    ) -> None:
        self._bench = bench
        self._answers = answers
        self._snapshot = snapshot
        self._board = board
        self._item = item
        self._typed = typed

    def draw(self) -> None:
        """Everything about it."""
        item = self._item
        with box("machine-head"):
            show_blocks([part_heading(item)])
            with box("machine-links", "nav", f"sheets of {item.id}"):
                if item.built.is_printed:
                    link("read it at the bench", f"/bench?part={item.id}", "button main")
                link("a scan of it", f"/scan?show={item.id}")
                link("its mesh", f"/parts?show={item.id}")
        show_blocks(part_blocks(item))
        with box("columns"):
            with box("lane"):
                self._draw_prints()
                self._draw_joints()
            with box("lane"):
                self._draw_accepted()
                self._draw_readings()
                if self._item.built.is_printed:
                    RemedyDesk(self._bench, self._board, self._item.id, self._typed.said).draw()

    def _draw_prints(self) -> None:
        item = self._item
        with box("panel", "section", "prints"):
            text("h3", "Prints")
            if not item.built.prints:
                text("p", "None is entered yet.", "soft")
            for made in item.built.prints:
                self._draw_print(made)
            if item.built.is_printed:
                OwnShapeDesk(self._bench, item).draw()
            self._outcome = box("outcome").props('role="status"')
            with box("buttons"):
                key = button("Enter a print", partial(self._open, "new"), name=f"enter a print of {item.id}")
                key.props["aria-expanded"] = "true" if self._typed.get("open") == "new" else "false"
            self._form = box("contents")
            if self._typed.get("open"):
                self._show_form()

    def _draw_print(self, made: Print) -> None:
        with box("sentence", "p"):
            state_mark(print_state(made), with_word=False)
            text("span", print_line(made))
        with box("buttons under-item"):
            record = made.record
            button("Correct", partial(self._open, str(record)), name=f"correct print {record}")
            button("Take back", partial(self._ask, record), name=f"take back print {record}")

    def _open(self, what: str) -> None:
        is_open = self._typed.get("open") == what
        self._typed.close()
        if not is_open:
            self._typed["open"] = what
        self._show_form()

    def _show_form(self) -> None:
        self._form.clear()
        with self._form:
            PrintForm(self._bench, self._snapshot, self._item, self._typed, self._close).draw()

    def _close(self) -> None:
        self._typed.close()
        if not self._form.is_deleted:
            self._form.clear()

    def _ask(self, record: int) -> None:
        """A print is taken back with its readings: asked once more."""
        self._outcome.clear()
        with self._outcome, box("panel-edge decision", "section", f"take back print {record}"):
            text("p", f"Take back print {record}? It never counts again, nor do its readings.")
            with box("buttons"):
                button(
                    "Take it back",
                    partial(self._withdraw, record),
                    "main",
                    name=f"take it back: print {record}",
                )
                button("Leave it", self._outcome.clear)

    async def _withdraw(self, record: int) -> None:
        bench = self._bench
        try:
            await bench.run_job(
                f"taking back print {record}",
                lambda progress: withdraw_print(bench.path, record, progress=progress),
            )
        except DryfitError as error:
            _say(self._outcome, error)
            return
        await bench.look_at_ledger()

    def _draw_joints(self) -> None:
        item = self._item
        if not item.joints:
            return
        with box("panel", "section", "joints"):
            text("h3", "Joints")
            with box("joint-states", "ul"):
                for joint in item.joints:
                    JointDesk(self._bench, self._board, joint).draw()

    def _draw_accepted(self) -> None:
        plan = self._item.plan
        done = () if plan is None else plan.done
        if not done:
            return
        with box("panel", "section", "acceptance"):
            text("h3", "Accepted or not")
            with box("accepted", "ul"):
                for item in done:
                    state, word = verdict_of(item)
                    picture = acceptance_picture(item)
                    with box("", "li"):
                        with box("sentence", "p"):
                            state_mark(state, with_word=False)
                            text("span", f"{measured_words(item)}: {word}")
                        if picture is not None:
                            svg = limits_svg(picture, self._snapshot.report.risk, said=acceptance_title(item))
                            ui.html(svg, sanitize=False)
                        if accept_words(item) != NONE:
                            text("p", f"accepted: {accept_words(item)}", "soft")

    def _draw_readings(self) -> None:
        item = self._item
        if not item.readings:
            return
        with box("panel", "section", "readings"):
            text("h3", "Readings of the print as built")
            with box("scroll", "div", "readings").props('role="group" tabindex="0"'), box("figures", "table"):
                with box("", "thead"), box("", "tr"):
                    for head in READING_HEADS:
                        text("th", head or " ").props["scope"] = "col"
                with box("", "tbody"):
                    for reading in item.readings:
                        with box("left-out" if reading.left_out else "", "tr"):
                            for words in reading_row(reading):
                                text("td", words)
            out = [reading for reading in item.readings if reading.left_out]
            for reading in out:
                text("p", f"Record {reading.record} is left out: {reading.left_out}")
                SuspectDesk(self._bench, item.id, (reading.record,), ("count again",)).draw()


def _say(place: Element, error: DryfitError) -> None:
    if not place.is_deleted:
        place.clear()
        with place:
            show_refusal(error)
