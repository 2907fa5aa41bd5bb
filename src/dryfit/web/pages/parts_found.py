"""The line under the model that says what is shown there, and leads from place to place."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from nicegui import background_tasks, ui
from nicegui.element import Element

from dryfit.app.live import Snapshot
from dryfit.app.view_marks import FoundMark, mark_feature, mark_finding
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.view.blocks import State
from dryfit.view.parts import feature_words, finding_words
from dryfit.web.found import describe_feature_mark, describe_finding, place_words
from dryfit.web.model_view import ModelView
from dryfit.web.pages.parts_rows import some_names
from dryfit.web.render import box, button, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_NOTHING = "Choose a finding or a feature: the view turns to its place."


class FoundBar:
    """leave: called when the user goes back to the whole model. view: to be set once there is one."""

    def __init__(self, bench: Bench, snapshot: Snapshot, leave: Callable[[], None]) -> None:
        self.view: ModelView | None = None
        self._bench = bench
        self._snapshot = snapshot
        self._leave = leave
        self._asked = 0
        self._pressed: Element | None = None
        self._holder = box("found-bar", "section", "what the view shows").props('aria-live="polite"')
        self.clear()

    def clear(self) -> None:
        """Nothing is shown; an answer that is on its way is dropped."""
        self._asked += 1
        self._press(None)
        if not self._holder.is_deleted:
            self._holder.clear()
            with self._holder:
                text("p", _NOTHING, "soft")

    def _press(self, element: Element | None) -> None:
        for one, words in ((self._pressed, "false"), (element, "true")):
            if one is not None and not one.is_deleted:
                one.props["aria-pressed"] = words
                one.update()
        self._pressed = element

    def show_finding(self, finding: Finding, element: Element, is_by_key: bool) -> None:
        """Turn to the gravest place of a finding. element: that stands for it; by a key: the focus comes along."""
        self._press(element)
        background_tasks.create(self._show_finding(finding, is_by_key))

    async def _show_finding(self, finding: Finding, is_by_key: bool) -> None:
        self._asked += 1
        mine = self._asked
        mark = await self._bench.compute(lambda: mark_finding(finding, self._snapshot.chain.shapes))
        if mine == self._asked and not self._holder.is_deleted:
            self._go(finding, mark, 0)
            self._come_into_view(is_by_key)

    def _go(self, finding: Finding, mark: FoundMark, at: int, pressed: str = "") -> None:
        """Show one place. pressed: the button that led there; it is drawn anew and keeps the focus."""
        if self.view is not None:
            self.view.show_found(
                describe_finding(finding, mark, at, self._snapshot.chain.shapes, self._bench.overlays)
            )
        count = len(mark.places_mm)
        where = "It concerns the part as a whole." if not count else place_words(mark.places_mm[at])
        self._holder.clear()
        with self._holder:
            self._say(finding.state, f"{finding.topic}, {some_names(finding.parts)}", finding_words(finding))
            with box("foot-line"):
                text("span", where if count < 2 else f"Place {at + 1} of {count}: {where}", "place")
                if count > 1:
                    for words, step in (("Next place", 1), ("Previous place", -1)):
                        go = partial(self._go, finding, mark, mark.beside(at, step), words)
                        again = button(words, go)
                        if words == pressed:
                            ui.run_javascript(f"getHtmlElement({again.id})?.focus()")
                self._way_out()

    async def show_feature(self, measured: MeasuredFeature) -> None:
        """Draw the dimension line and the faces of a feature."""
        self._press(None)
        self._asked += 1
        mine = self._asked
        shapes = self._snapshot.chain.shapes
        feature = next(item for item in self._snapshot.opened.project.features if item.id == measured.id)
        mark = await self._bench.compute(lambda: mark_feature(measured, feature, shapes))
        if mine != self._asked or self._holder.is_deleted:
            return
        if self.view is not None:
            found = (
                None if mark is None else describe_feature_mark(measured, mark, shapes, self._bench.overlays)
            )
            self.view.show_found(found)
        self._holder.clear()
        with self._holder:
            self._say(
                measured.state, f"{measured.kind}, {some_names(measured.parts)}", feature_words(measured)
            )
            with box("foot-line"):
                text("span", "" if mark else "It could not be measured: there is no line to draw.", "place")
                self._way_out()
        self._come_into_view(False)

    def _say(self, state: State, head: str, words: str) -> None:
        with box("sentence", "p"):
            state_mark(state)
            text("strong", head)
        text("p", words, "words")

    def _way_out(self) -> None:
        pressed = self._pressed
        if pressed is not None:
            back = button("Back to the list")
            back.on("click", js_handler=f"() => getHtmlElement({pressed.id})?.focus()")
        button("Whole model", self._leave)

    def _come_into_view(self, is_by_key: bool) -> None:
        """Where the list stands under the model, scroll up to it; by a key, bring the focus to what is next."""
        place = f"getHtmlElement({self._holder.id})"
        focus = f"{place}?.querySelector('button')?.focus();" if is_by_key else ""
        with self._holder:
            ui.run_javascript(
                f"if (window.innerWidth <= 900) {place}?.scrollIntoView({{block: 'start'}}); {focus}"
            )
