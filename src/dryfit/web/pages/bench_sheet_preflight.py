"""The routine before a long print: large lines to tick, gaps of the square by the same keys, recorded at once."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from nicegui import background_tasks, ui

from dryfit.app.live import Snapshot
from dryfit.app.preflight import PreflightReport, look_preflight, take_preflight
from dryfit.app.preflight_input import read_entry
from dryfit.app.preflight_records import AGAINST, ITEMS, PLANES
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Sentence, Table
from dryfit.view.machine_bench import question_words, recorded_line
from dryfit.view.preflight import cautions, preflight_blocks
from dryfit.view.preflight_chart import history_svg
from dryfit.web.pages.bench_sheet_keys import keyed_field, keypad
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.render import box, button, show_blocks, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_OK, _SKIP = "ok", ""
_GAPS = tuple(f"{plane}_gap_mm" for plane in PLANES)


class PreflightDesk:
    """One open routine. Nothing is recorded before its button is pressed."""

    def __init__(self, bench: Bench, answers: Answers, snapshot: Snapshot, machine: str) -> None:
        self._bench = bench
        self._answers = answers
        self._snapshot = snapshot
        self._machine = machine
        self._cells: dict[str, str] = {}
        self._sides: dict[str, str] = {}

    async def draw(self) -> None:
        """Cautions, the lines, the keys, and what the last check says."""
        with box("", "details"):
            text("summary", "cautions of this work")
            show_blocks(cautions())
        with box("bench-grid preflight"):
            with box("bench-lines", "section", "the routine"):
                keyed_field(question_words("hours"), partial(self._keep, "hours"), unit="h", classes="line")
                for item in ITEMS:
                    self._item(item)
                self._filament()
                self._words_field("adjusted")
                self._words_field("by")
            with box("bench-entry", "section", "square and keys"):
                self._square()
                keypad("keys")
                with box("buttons"):
                    button("Record this check", self._record, "main large")
                self._said = box("said").props('role="status"')
        self._report = box("bench-report")
        background_tasks.create(self._show_last())

    def _keep(self, field: str, words: str) -> None:
        self._cells[field] = words

    def _keep_event(self, field: str, event: object) -> None:
        self._keep(field, str(getattr(event, "args", "")))

    def _item(self, item: str) -> None:
        """One line to tick: in order, or what is wrong with it, or not looked at."""
        self._cells[item] = _SKIP
        words = question_words(item)
        with box("tick-row").props(f'role="group" aria-label="{words}"'):
            text("span", words, "tick-words")
            keys = {
                _OK: button("in order", name=f"{words}: in order"),
                "no": button("not", name=f"{words}: not in order"),
                _SKIP: button("not looked at", name=f"{words}: not looked at"),
            }
            why = box("entry why", "input", f"{words}: what is wrong")
            why.props('type="text" autocomplete="off" placeholder="what is wrong"')
            why.set_visibility(False)

        def choose(value: str) -> None:
            self._cells[item] = value
            why.set_visibility(value == "no")
            for other, key in keys.items():
                key.props["aria-pressed"] = "true" if other == value else "false"
                key.update()

        def say(event: object) -> None:
            self._cells[item] = str(getattr(event, "args", "")).strip() or "no"

        for value, key in keys.items():
            key.on("click", _calling(choose, value), args=[])
        why.on("input", say, js_handler="(e) => emit(e.target.value)")
        choose(_SKIP)

    def _filament(self) -> None:
        keyed_field(question_words("filament_g"), partial(self._keep, "filament_g"), unit="g", classes="line")
        own = [part.id for part in self._snapshot.opened.project.parts if part.machine == self._machine]
        with box("keyed-field line", "label"):
            text("span", question_words("part"), "field-name")
            select = box("select", "select")
            with select:
                for id in ("", *own):
                    text("option", id or "the largest").props["value"] = id
            select.on("change", partial(self._keep_event, "part"), js_handler="(e) => emit(e.target.value)")

    def _words_field(self, field: str) -> None:
        with box("keyed-field line", "label"):
            text("span", question_words(field), "field-name")
            entry = box("entry", "input")
            entry.props('type="text" autocomplete="off"')
            entry.on("input", partial(self._keep_event, field), js_handler="(e) => emit(e.target.value)")

    def _square(self) -> None:
        """What the square is held to, its height, and its gaps."""
        text("h2", "The square")
        with box("tick-row").props('role="group" aria-label="what the square is held to"'):
            text("span", "held to", "tick-words")
            keys = {value: button(words) for value, words in zip(AGAINST, _AGAINST_WORDS, strict=True)}

        def choose(value: str) -> None:
            self._cells["against"] = value
            for other, key in keys.items():
                key.props["aria-pressed"] = "true" if other == value else "false"
                key.update()

        for value, key in keys.items():
            key.on("click", _calling(choose, value), args=[])
        choose(AGAINST[0])
        keyed_field(question_words("height_mm"), partial(self._keep, "height_mm"), unit="mm", classes="line")
        for field in _GAPS:
            with box("gap-line"):
                keyed_field(question_words(field), partial(self._keep, field), unit="mm", classes="line")
                self._side(field)

    def _side(self, field: str) -> None:
        """Where the stock points: + unless it is turned."""
        axis = field[0].upper()
        turn = button("", name=f"{question_words(field)}: stock to +{axis}, press to turn")
        with turn:
            words = text("span", f"stock to +{axis}")

        def change() -> None:
            side = "+" if self._sides.get(field) == "-" else "-"
            self._sides[field] = side
            words.text = f"stock to {side}{axis}"
            turn.props["aria-label"] = f"{question_words(field)}: stock to {side}{axis}, press to turn"
            turn.update()

        turn.on("click", change, args=[])

    def _answers_given(self) -> dict[str, str]:
        """The cells as the command line takes them: a gap with a stock turned round says so."""
        cells = dict(self._cells)
        for field in _GAPS:
            if cells.get(field, "").strip() and self._sides.get(field) == "-":
                cells[field] = f"{cells[field]} -{field[0]}"
        return cells

    async def _record(self) -> None:
        path, machine, cells = self._bench.path, self._machine, self._answers_given()
        self._said.clear()
        try:
            entry = read_entry(cells, "the routine")
            report = await self._bench.run_job(
                f"checking {machine}",
                lambda progress: take_preflight(path, machine, [entry], progress=progress),
            )
        except DryfitError as error:
            with self._said:
                show_refusal(error)
            return
        if self._said.is_deleted:
            return
        with self._said:
            show_blocks([Sentence(recorded_line(report.recorded), report.state)])
        self._show(report)
        await self._bench.look_at_ledger()

    async def _show_last(self) -> None:
        path, machine = self._bench.path, self._machine
        with self._report:
            text("p", "Reading the last check.", "soft waiting")
        found = await self._answers.get(("preflight", machine), lambda: look_preflight(path, machine))
        if self._report.is_deleted:
            return
        if isinstance(found, DryfitError):
            self._report.clear()
            with self._report:
                show_refusal(found)
        else:
            self._show(found)

    def _show(self, report: PreflightReport) -> None:
        self._report.clear()
        with self._report:
            said = cautions()
            for block in preflight_blocks(report):
                if block not in said:
                    shown = _without_words(block) if isinstance(block, Table) else block
                    show_scrolling([shown], "checks", level=3)
            if report.watching.watches:
                ui.html(history_svg(report.watching.watches), sanitize=False)


def _without_words(table: Table) -> Table:
    """A table of checks without its column of states in words: shape and word stand first already."""
    if not table.states or "state" not in table.heads:
        return table
    at = table.heads.index("state")
    rows = tuple((*row[:at], *row[at + 1 :]) for row in table.rows)
    return Table((*table.heads[:at], *table.heads[at + 1 :]), rows, states=table.states)


_AGAINST_WORDS = ("an upright", "a printed edge")


def _calling(handler: Callable[[str], None], value: str) -> Callable[[], None]:
    return lambda: handler(value)
