"""Readings at the bench: figure at the left, keys at the right, the last three below; all of it out of the ledger."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from nicegui import background_tasks, ui
from nicegui.element import Element

from dryfit.app.machine_page_desk import (
    Asked,
    DeskState,
    Doubt,
    following,
    look_at_desk,
    take_back,
    take_reading,
)
from dryfit.app.reading_desk import Step, Taken
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.view.machine_bench import (
    LAST_HEADS,
    back_line,
    done_words,
    doubt_words,
    last_row,
    no_temperature_words,
    place_of,
    planned_rows,
    progress_words,
    row_name,
    step_heading,
    step_rows,
    voice_line,
)
from dryfit.view.machine_figure import measure_svg
from dryfit.web.pages.bench_sheet_keys import keyed_field, keypad, on_enter
from dryfit.web.pages.bench_sheet_target import Target
from dryfit.web.render import box, button, show_refusal, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class Kept:
    """What stays in the fields of a tab between readings."""

    def __init__(self, measure: str | None) -> None:
        self.measure = measure
        self.instrument = ""
        self.temp = ""
        self.by = ""
        self.own: list[int] = []

    def asked(self) -> Asked:
        return Asked(self.measure, self.instrument, self.temp, self.by)


class ReadingsDesk:
    """One open bench. What it shows is read from the ledger after every reading, here or elsewhere."""

    def __init__(self, bench: Bench, target: Target, kept: Kept) -> None:
        self._bench = bench
        self._target = target
        self._at_hand = target.at_hand
        self._machine = target.id
        self._kept = kept
        self._state: DeskState | None = None
        self._edges: Array | None = None
        self._body_of = 0
        self._acting = asyncio.Lock()  # one thing after another, so that no late answer overtakes a hand
        self._is_asking = False  # whether something stands there that refreshing takes away

    async def draw(self) -> None:
        """The fixed parts, then what the ledger says."""
        self._top = box("contents")
        with box("bench-grid") as grid:
            # Words beside the figure, so that the keys stay where they are however many there are.
            with box("bench-figure", "section", "where to measure"):
                self._figure = box("contents")
            with box("bench-entry", "section", "keys and fields"):
                self._field = keyed_field("reading", lambda _: None, classes="large", unit="mm")
                on_enter(self._field, self._take)
                keypad("keys")
                self._asks = box("contents").props('role="status"')
                self._draw_moves()
                self._options()
        self._voice = text("p", "", "voice").props('role="status"')
        self._last = box("bench-last")
        self._strip = box("contents")
        self._grid = grid
        self._listen()
        await self.refresh()

    def _listen(self) -> None:
        seen = [self._bench.marks]

        def changed() -> None:
            if self._grid.is_deleted:
                leave()
            elif seen[0] != self._bench.marks and not self._is_asking:
                # A question that is open is answered first.
                seen[0] = self._bench.marks
                background_tasks.create(self.refresh())

        leave = self._bench.subscribe(changed)
        ui.context.client.on_delete(leave)

    def _options(self) -> None:
        """Fields that stay between readings."""
        with box("bench-options"):
            with box("keyed-field", "label"):
                text("span", "instrument", "field-name")
                self._instruments = box("contents")
            keyed_field(
                "temperature", partial(self._keep, "temp"), self._kept.temp, unit=no_temperature_words()
            )
            with box("keyed-field", "label"):
                text("span", "who reads", "field-name")
                by = box("entry", "input")
                by.props('type="text" autocomplete="off"')
                by.props["^value"] = self._kept.by
                by.on("input", partial(self._keep_event, "by"), js_handler="(e) => emit(e.target.value)")

    def _keep(self, name: str, words: str) -> None:
        setattr(self._kept, name, words)

    def _keep_event(self, name: str, event: object) -> None:
        self._keep(name, str(getattr(event, "args", "")))

    def _draw_moves(self) -> None:
        """These keys stay while what they lead to changes: none is taken away from under the hand."""
        with box("buttons moves"):
            self._previous = button("Previous", self._go_before, name="previous measure")
            self._next = button("Next", self._go_after, name="next measure")
            self._back = button("Take back", self._undo, name="take back the last reading of this bench")

    async def _go_before(self) -> None:
        await self._open(None if self._state is None else self._state.before)

    async def _go_after(self) -> None:
        await self._open(None if self._state is None else self._state.after)

    async def refresh(self) -> None:
        """Show the ledger as it is now."""
        async with self._acting:
            await self._refresh()

    async def _refresh(self) -> None:
        path, machine, asked = self._bench.path, self._machine, self._kept.asked()
        try:
            state = await self._bench.compute(lambda: look_at_desk(path, machine, asked, self._at_hand))
            await self._find_body(state)
        except DryfitError as error:
            self._refuse(error)
            return
        if self._grid.is_deleted:
            return
        if state == self._state and not self._is_asking:
            # Drawn anew under the hand, a key would be gone before it was let go.
            return
        self._state = state
        if state.step is not None:
            self._kept.measure = state.step.measure.id
        self._show(state)

    async def _find_body(self, state: DeskState) -> None:
        """Edges of the body, once for each artefact."""
        if self._body_of != state.artefact.record:
            artefact = state.artefact
            self._edges = await self._bench.compute(lambda: self._target.edges(artefact))
            self._body_of = artefact.record

    def _refuse(self, error: DryfitError) -> None:
        """There is nothing to read, or it cannot be read: said where the bench would be."""
        if self._grid.is_deleted:
            return
        self._is_asking = True
        self._top.clear()
        with self._top:
            show_refusal(error)
            with box("buttons"):
                self._target.link()
                if self._kept.instrument or self._kept.measure:
                    button("Back to the plan", self._to_plan)
        if self._state is None:
            self._grid.classes(add="unseen-part")

    async def _to_plan(self) -> None:
        self._kept.measure, self._kept.instrument = None, ""
        await self.refresh()

    def _show(self, state: DeskState) -> None:
        self._grid.classes(remove="unseen-part")
        self._grid.set_visibility(state.step is not None)
        self._top.clear()
        with self._top:
            self._show_progress(state)
        self._is_asking = False
        self._asks.clear()
        self._figure.clear()
        self._instruments.clear()
        if state.step is not None:
            self._show_step(state, state.step)
        self._last.clear()
        with self._last:
            self._show_last(state)
        self._strip.clear()
        with self._strip:
            self._show_strip(state)

    def _show_progress(self, state: DeskState) -> None:
        with box("bench-progress"):
            meter = box("", "progress", progress_words(state))
            meter.props["max"], meter.props["value"] = state.planned, state.read
            text("span", f"{place_of(state, self._machine)}: {progress_words(state)}")
            if state.read >= state.planned:
                with box("sentence", "p"):
                    state_mark("pass", with_word=False)
                    text("span", done_words(state, self._machine))
                self._target.link("button main")

    def _show_step(self, state: DeskState, step: Step) -> None:
        with self._figure:
            text("h2", step_heading(step))
            ui.html(measure_svg(state.artefact.artefact, step.measure, self._edges), sanitize=False)
            with box("step-rows", "dl"):
                for head, words in step_rows(step):
                    text("dt", head)
                    text("dd", words)
                planned = box("contents")
        background_tasks.create(self._show_planned(step.measure.id, planned))
        for key, target in (
            (self._previous, state.before),
            (self._next, state.after),
            (self._back, self._undoable(state)),
        ):
            key.props["disabled"] = target is None
            key.update()
        with self._instruments:
            select = box("select", "select", "instrument")
            with select:
                for id in dict.fromkeys([step.instrument.id, *state.instruments]):
                    option = text("option", id)
                    option.props["value"] = id
                    if id == step.instrument.id:
                        option.props["selected"] = True
            select.on("change", self._choose_instrument, js_handler="(e) => emit(e.target.value)")

    async def _show_planned(self, measure: str, place: Element) -> None:
        """What the inspection plan says of the open measure, when it is known."""
        item = await self._target.planned(measure)
        if item is None or place.is_deleted:
            return
        with place:
            for head, words in planned_rows(item):
                text("dt", head)
                text("dd", words)

    async def _open(self, measure: str | None) -> None:
        if measure is None:
            return
        async with self._acting:
            self._kept.measure = measure
            await self._refresh()

    async def _choose_instrument(self, event: object) -> None:
        self._kept.instrument = str(getattr(event, "args", ""))
        await self.refresh()

    def _show_last(self, state: DeskState) -> None:
        text("h3", "The last three readings")
        if not state.last:
            text("p", "None yet.", "soft")
            return
        with box("scroll"), box("figures", "table"):
            with box("", "thead"), box("", "tr"):
                for head in (*LAST_HEADS, ""):
                    text("th", head or " ").props["scope"] = "col"
            with box("", "tbody"):
                for last in state.last:
                    with box("", "tr"):
                        for words in last_row(last):
                            text("td", words)
                        with box("", "td"):
                            record = last.reading.record
                            name = f"take back record {record}"
                            button("take back", partial(self._withdraw, record), "plain", name=name)

    def _show_strip(self, state: DeskState) -> None:
        text("h3", "The sheet")
        with box("strip", "ol"):
            for row in state.rows:
                kind = "read" if row.done >= row.of else "begun" if row.done else ""
                with box("", "li"):
                    key = button(str(row.measure.number), classes=f"mark-key {kind}", name=row_name(row))
                    key.on("click", _opening(self._open, row.measure.id), args=[])
                    if state.step is not None and row.measure.id == state.step.measure.id:
                        key.props["aria-current"] = "step"

    async def _take(self, words: str, is_meant: bool = False) -> None:
        async with self._acting:
            if self._state is None or self._state.step is None:
                return
            asked = self._kept.asked()
            path, machine = self._bench.path, self._machine
            try:
                found = await self._bench.compute(
                    lambda: take_reading(path, machine, asked, words, is_meant, self._at_hand)
                )
                if isinstance(found, Taken):
                    await self._go_on(found)
            except DryfitError as error:
                self._put_back(words)
                self._say_refused(error)
                return
            if isinstance(found, Doubt):
                self._ask(found, words)
                return
            await self._refresh()
            self._voice.text = voice_line(found)
        await self._bench.look_at_ledger()

    async def _go_on(self, taken: Taken) -> None:
        """Which measure comes next."""
        self._kept.own.append(taken.reading.record)
        path, machine, instrument = self._bench.path, self._machine, self._kept.instrument
        measure = taken.reading.measure
        self._kept.measure = await self._bench.compute(
            lambda: following(path, machine, measure, instrument, self._at_hand)
        )

    def _say_refused(self, error: DryfitError) -> None:
        self._is_asking = True
        self._asks.clear()
        with self._asks:
            show_refusal(error)

    def _ask(self, doubt: Doubt, words: str) -> None:
        """Why a value is queried; it is recorded only when it is said to be so."""
        self._put_back(words)
        self._is_asking = True
        self._asks.clear()
        with self._asks, box("refusal doubt", "section", "is it so?"):
            with box("heading", "p"):
                state_mark("caution", with_word=False)
                text("strong", "Is it so?")
            for reason in doubt_words(doubt):
                text("p", reason)
            with box("buttons"):
                button("It is so", partial(self._confirm, words), name=f"it is so: record {words}")
                button("Read it again", self._read_again, "main")

    async def _confirm(self, words: str) -> None:
        self._empty()
        await self._take(words, True)

    def _read_again(self) -> None:
        self._is_asking = False
        self._asks.clear()
        self._empty()

    def _put_back(self, words: str) -> None:
        self._set_field(words)

    def _empty(self) -> None:
        self._set_field("")

    def _set_field(self, words: str) -> None:
        # By the client of the field: the key that was pressed may be gone by now.
        self._field.client.run_javascript(
            f"dryfitSheet.fill(getHtmlElement({self._field.id}), {json.dumps(words)})"
        )

    def _undoable(self, state: DeskState) -> int | None:
        """The latest reading of this tab among the last ones that count."""
        counting = {last.reading.record for last in state.last}
        return next((record for record in reversed(self._kept.own) if record in counting), None)

    async def _undo(self) -> None:
        record = None if self._state is None else self._undoable(self._state)
        if record is not None:
            await self._withdraw(record)

    async def _withdraw(self, record: int) -> None:
        path, machine, by = self._bench.path, self._machine, self._kept.by
        async with self._acting:
            try:
                reading = await self._bench.compute(
                    lambda: take_back(path, machine, record, by, self._at_hand)
                )
            except DryfitError as error:
                self._say_refused(error)
                return
            self._kept.measure = reading.measure
            await self._refresh()
            self._voice.text = back_line(reading)
        await self._bench.look_at_ledger()


def _opening(open_measure: Callable[[str | None], object], measure: str | None) -> Callable[[], object]:
    return lambda: open_measure(measure)
