"""A form for an observation, new or changed: checked while it is typed, shown as a difference, then written."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.app.live import Snapshot
from dryfit.app.observation_form import ObservationEdit, fill_form, plan_form, write_form
from dryfit.base.errors import DryfitError
from dryfit.view.observation_form import DISTRIBUTIONS, GIVEN_AT, KNOWN_BY, cells_of, known_by, reads_words
from dryfit.web.pages.form_fields import select_field
from dryfit.web.pages.schedule_table import TablePanel
from dryfit.web.render import box, button, show_diff, show_refusal, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_PAUSE_S = 0.3
_NAMES = "dimension-names"
_CHANGES, _ADDS = "changes", "adds"  # what is kept beside the cells: the id that is changed, whether to add


class ObservationPanel:
    """The panel. typed: what stands in the form; it outlives the drawing of another state."""

    def __init__(self, bench: Bench, snapshot: Snapshot, typed: dict[str, str]) -> None:
        self._bench = bench
        self._typed = typed
        self._version = 0
        self._dimensions = tuple(item.id for item in snapshot.opened.project.dimensions)
        self._holder = box("new-feature", "section", "observation")
        self._draw()

    @property
    def _replacing(self) -> str:
        return self._typed.get(_CHANGES, "")

    async def change(self, id: str) -> None:
        """Fill the form with an observation of the document."""
        try:
            cells = await self._bench.compute(lambda: fill_form(self._bench.path, id))
        except DryfitError as error:
            with self._holder:
                show_refusal(error)
            return
        self._typed.clear()
        self._typed.update(cells, known=known_by(cells), open="observation", **{_CHANGES: id})
        self._draw()
        ui.run_javascript(f"getHtmlElement({self._holder.id})?.scrollIntoView({{block: 'start'}})")

    def _draw(self) -> None:
        self._holder.clear()
        opened = self._typed.get("open", "")
        with self._holder:
            with box("buttons"):
                opener = button("Add an observation", partial(self._turn, "observation"))
                opener.props["aria-expanded"] = "true" if opened == "observation" else "false"
                table = button("Take a table of observations", partial(self._turn, "table"))
                table.props["aria-expanded"] = "true" if opened == "table" else "false"
            if opened == "observation":
                with box("panel-edge"):
                    self._draw_form()
            elif opened == "table":
                with box("panel-edge"):
                    TablePanel(self._bench, partial(self._turn, "table")).draw()

    def _turn(self, what: str) -> None:
        closes = self._typed.get("open") == what
        self._typed.clear()
        if not closes:
            self._typed["open"] = what
        self._draw()

    def _draw_form(self) -> None:
        text("h2", f"Change {self._replacing}" if self._replacing else "A new observation")
        with box("", "datalist").props(f'id="{_NAMES}"'):
            for name in self._dimensions:
                box("", "option").props["value"] = name
        with box("fields"):
            if not self._replacing:
                self._entry("id", "its name", "survey.drum")
            self._entry("of", "what was measured", "drum.height, or a + b", _NAMES)
            self._entry("over", "over, for a ratio", "another dimension", _NAMES)
        with box("fields"):
            self._select(
                "known", "how well it is known", {key: words for key, (words, _) in KNOWN_BY.items()}
            )
            self._select("given_at", "size of the", GIVEN_AT)
        self._values = box("fields")
        self._draw_values()
        with box("fields"):
            self._entry("source", "source", "tape along the north side")
            self._entry("date", "date", "2019-05-11")
            self._entry("reliability", "reliability, in your words", "good")
        with box("fields"), box("field check", "label"):
            tick = box("", "input").props('type="checkbox"')
            if self._typed.get(_ADDS):
                tick.props["checked"] = True
            text("span", "add the dimension where it is not there yet")
            tick.on(
                "change", partial(self._keep, _ADDS), js_handler="(e) => emit(e.target.checked ? 'yes' : '')"
            )
        self._checked = box("faults").props('aria-live="polite"')
        with box("buttons"):
            button("Show the difference", self._show_difference, "main")
            button("Close", partial(self._turn, "observation"), name="close the form: nothing is written")
        self._outcome = box("outcome").props('role="status"')
        if len(self._typed) > 1:
            ui.timer(0, self._check, once=True)

    def _draw_values(self) -> None:
        """Fields of the chosen way of knowing."""
        known = self._typed.get("known", "std")
        fields = KNOWN_BY[known][1]
        self._values.clear()
        with self._values:
            if known != "limits":
                self._entry("value", "value", "11 ft 11 3/4 in")
            words = {"std": "std", "within": "within", "low": "lower limit", "high": "upper limit"}
            for key in fields:
                if key in words:
                    self._entry(key, words[key], "20 mm" if key in ("std", "within") else "3.60 m")
            if "distribution" in fields:
                self._select("distribution", "where between", DISTRIBUTIONS)
            self._entry("unit", "unit of plain numbers", "mm, if not written")

    def _entry(self, key: str, words: str, hint: str, names: str = "") -> None:
        with box("field", "label"):
            text("span", words, "soft")
            element = box("entry", "input").props('type="text" autocomplete="off" spellcheck="false"')
            element.props["placeholder"] = hint
            # Not its value, which would be put back at each drawing, over what is typed.
            element.props["defaultValue"] = self._typed.get(key, "")
            if names:
                element.props["list"] = names
        element.on("input", partial(self._keep, key), js_handler="(e) => emit(e.target.value)")

    def _select(self, key: str, words: str, choices: Mapping[str, str]) -> None:
        select_field(words, choices, self._typed.get(key, ""), partial(self._keep, key))

    async def _keep(self, key: str, event: object) -> None:
        self._typed[key] = str(getattr(event, "args", ""))
        if key == "known":
            self._draw_values()
        await self._check()

    def _plan(self) -> ObservationEdit:
        return plan_form(
            self._bench.path, cells_of(self._typed), self._replacing, bool(self._typed.get(_ADDS))
        )

    async def _check(self) -> None:
        """What is wrong with it so far, a moment after the last key."""
        self._version += 1
        mine = self._version
        await asyncio.sleep(_PAUSE_S)
        if mine != self._version or self._checked.is_deleted:
            return
        found = await self._planned()
        if mine != self._version or self._checked.is_deleted:
            return
        self._outcome.clear()
        self._checked.clear()
        with self._checked:
            _say(found)

    async def _planned(self) -> ObservationEdit | DryfitError:
        try:
            return await self._bench.compute(self._plan)
        except DryfitError as error:
            return error

    async def _show_difference(self) -> None:
        self._version += 1  # an answer that is on its way is of no more use
        found = await self._planned()
        if self._checked.is_deleted:
            return
        self._checked.clear()
        with self._checked:
            _say(found)
        self._outcome.clear()
        if isinstance(found, DryfitError):
            return
        edit = found

        async def write() -> None:
            await self._write(edit, self._outcome)

        with self._outcome:
            if not edit.diff:
                text("p", "Nothing would change.")
                return
            text("h3", "This would change project.toml")
            show_diff(edit.diff)
            with box("buttons"):
                button("Write it", write, "main", name="write it to project.toml")
                button("Leave it", self._outcome.clear, name="leave it: the document stays as it is")

    async def _write(self, edit: ObservationEdit, outcome: Element) -> None:
        try:
            async with self._bench.writing:
                await self._bench.compute(lambda: write_form(edit))
        except DryfitError as error:
            if not outcome.is_deleted:
                outcome.clear()
                with outcome:
                    show_refusal(error)
            return
        self._typed.clear()
        await self._bench.reload()


def _say(found: ObservationEdit | DryfitError) -> None:
    if isinstance(found, DryfitError):
        show_refusal(found)
        return
    with box("heading", "p"):
        state_mark("pass", with_word=False)
        text("span", reads_words(found))
