"""The parts as built: a board of their states beside the model, what was printed, read and decided, what it taught."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.app.as_built_page import BOARD_STATES, Board, BoardPart, gather_board
from dryfit.app.live import Snapshot
from dryfit.base.errors import DryfitError
from dryfit.view.as_built_page import (
    WASHES,
    board_blocks,
    board_heading,
    meaning_of,
    next_heading,
    next_table,
    suspect_words,
)
from dryfit.view.forecast import suspect_part_sentence
from dryfit.web.model_view import ModelView, Picked
from dryfit.web.pages.as_built_fit import show_before_and_after
from dryfit.web.pages.as_built_part import PartPanel, Typed
from dryfit.web.pages.as_built_suspects import OwnShapeDesk, SuspectDesk
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.pages.model import show_model
from dryfit.web.render import box, link, show_blocks, show_refusal, show_table, text
from dryfit.web.shell import STATIC, follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_FEW = 8  # parts that stand below one another, readings that are listed
_ADDRESS = "history.replaceState(null, '', '/as-built?show=' + encodeURIComponent({id}))"


class _Chosen:
    """What is set in a tab; it outlives the drawing of another state."""

    def __init__(self, show: str) -> None:
        self.part = show
        self.typed = Typed()


def build(bench: Bench, answers: Answers, show: str = "") -> None:
    """The page. show: id of the part that is opened first."""
    chosen = _Chosen(show)
    ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/as_built.css">')
    with sheet(bench, "as built", "as built"):

        async def draw(snapshot: Snapshot) -> None:
            waiting = text("p", "Looking at what was printed and read.", "soft waiting")
            board = await answers.get(("board",), lambda: gather_board(snapshot, bench.at_hand))
            if waiting.is_deleted:
                return
            waiting.delete()
            if isinstance(board, DryfitError):
                show_refusal(board)
                return
            await _BoardSheet(bench, answers, snapshot, board, chosen).draw()

        follow(bench, draw)


class _BoardSheet:
    """One open board over one state of document and ledger."""

    def __init__(
        self, bench: Bench, answers: Answers, snapshot: Snapshot, board: Board, chosen: _Chosen
    ) -> None:
        self._bench = bench
        self._answers = answers
        self._snapshot = snapshot
        self._board = board
        self._chosen = chosen
        self._buttons: dict[str, Element] = {}
        self._view: ModelView | None = None

    async def draw(self) -> None:
        """Everything; the model loads meanwhile."""
        board = self._board
        with box("machine-head"):
            show_blocks([board_heading(board)])
            with box("machine-links", "nav", "what belongs to it"):
                link("to the bench", "/bench")
                link("changes and releases", "/changes")
        if not board.parts:
            text("p", "No part is in the project yet: drop mesh files on the parts sheet.", "soft")
            return
        with box("board-sheet"):
            with box("lane"):
                self._draw_suspects()
                with box("panel", "section", "parts by state"):
                    self._draw_lanes()
            with box("lane beside"):
                place = box("contents")
        self._part = box("panel part-panel", "section", "part")
        self._draw_part()
        with box("columns"):
            with box("lane"), box("panel", "section", "what the readings taught"):
                text("h2", "What the readings taught")
                show_blocks(board_blocks(board), level=3)
                show_before_and_after(self._snapshot.report)
            with box("lane"), box("panel", "section", "what to measure next"):
                self._draw_next()
        with place:
            self._view = await show_model(
                self._bench,
                self._snapshot,
                colouring="built",
                built={item.id: item.state for item in board.parts},
            )
            if self._view is not None:
                self._view.on_pick(self._picked)
                self._light()

    def _draw_suspects(self) -> None:
        basis = self._board.basis
        if basis is None or not (basis.suspects or basis.suspect_parts):
            return
        with box("panel", "section", "suspects"):
            text("h2", "Readings in doubt")
            for whole in basis.suspect_parts:
                show_blocks([suspect_part_sentence(whole)])
                part = self._board.part(whole.part)
                if part is not None:
                    OwnShapeDesk(self._bench, part).draw()
            for item in basis.suspects:
                show_blocks([suspect_words(self._board, item)])
                SuspectDesk(self._bench, item.part, item.records).draw()

    def _draw_lanes(self) -> None:
        text("h2", "Parts by state")
        with box("board"):
            for state in BOARD_STATES:
                parts = self._board.of(state)
                if not parts:
                    continue
                with box("board-lane wide" if len(parts) > _FEW else "board-lane"):
                    with box("board-head", "h3"):
                        shape = text("span", WASHES[state].shape, "shape")
                        shape.props["aria-hidden"] = "true"
                        text("span", state)
                        text("span", str(len(parts)), "soft")
                    text("p", meaning_of(state), "soft")
                    with box("board-parts", "ul"):
                        for item in parts:
                            self._draw_entry(item)

    def _draw_entry(self, item: BoardPart) -> None:
        with box("", "li"):
            key = text("button", item.id, "choose").props('type="button"')
            key.props["aria-pressed"] = "true" if item.id == self._chosen.part else "false"
            key.on("click", partial(self._choose, item.id), args=[])
            self._buttons[item.id] = key

    def _picked(self, picked: Picked) -> None:
        if picked.part is not None:
            self._choose(picked.part)

    def _choose(self, id: str) -> None:
        if id != self._chosen.part:
            self._chosen.typed.close()
        self._chosen.part = id
        for name, key in self._buttons.items():
            key.props["aria-pressed"] = "true" if name == id else "false"
            key.update()
        self._draw_part()
        self._light()
        ui.run_javascript(_ADDRESS.format(id=_quoted(id)))

    def _light(self) -> None:
        if self._view is not None and self._chosen.part:
            self._view.highlight([self._chosen.part])

    def _draw_part(self) -> None:
        self._part.clear()
        with self._part:
            item = self._board.part(self._chosen.part)
            if item is None:
                text("p", "Choose a part, here or in the model, to see its prints and readings.", "soft")
                return
            PartPanel(
                self._bench, self._answers, self._snapshot, self._board, item, self._chosen.typed
            ).draw()

    def _draw_next(self) -> None:
        text("h2", "What to measure next")
        table = next_table(self._board.parts, _FEW)
        if not table.rows:
            text("p", "No reading of a printed part would lessen a risk worth a minute.", "soft")
            return
        links = {(row, 0): f"/bench?part={cells[0]}" for row, cells in enumerate(table.rows)}
        with box("scroll", "div", "what to measure next").props('role="group" tabindex="0"'):
            show_table(table, "next", links)
        text("p", next_heading(self._board), "soft")
        link("all of them, at the bench", f"/bench?part={table.rows[0][0]}")


def _quoted(words: str) -> str:
    import json

    return json.dumps(words)
