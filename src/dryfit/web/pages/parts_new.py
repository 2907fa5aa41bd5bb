"""A feature to be: its faces picked in the view, what it should be typed, measured, and written when asked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from nicegui import ui

from dryfit.app.feature_adding import PLANE_KINDS, FeatureAdded, add_feature
from dryfit.app.feature_request import FeatureRequest
from dryfit.app.live import Snapshot
from dryfit.app.measuring_picks import PickDescription
from dryfit.app.view_marks import FacePicker
from dryfit.base.errors import DryfitError
from dryfit.model.feature import FEATURE_KINDS
from dryfit.view.feature_adding import added_blocks
from dryfit.web.found import describe_picks, place_words
from dryfit.web.model_view import ModelView, Picked
from dryfit.web.pages.parts_form import FACES_OF, KIND_WORDS, LIMIT_WORDS, make_request
from dryfit.web.render import box, button, show_blocks, show_diff, show_refusal, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class NewFeature:
    """The panel. While it is open, what is picked in the view belongs to it."""

    def __init__(self, bench: Bench, snapshot: Snapshot, view: ModelView | None) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._view = view
        self._picks: list[PickDescription] = []
        self._picker = FacePicker(snapshot.chain.shapes)
        self._typed: dict[str, str] = {}
        self.is_open = False
        self._holder = box("new-feature", "section", "new feature")
        if view is not None:
            self._draw()

    @property
    def _kind(self) -> str:
        return self._typed.get("kind", FEATURE_KINDS[0])

    def _draw(self) -> None:
        self._holder.clear()
        with self._holder:
            opener = button("New feature", self._turn, name="new feature: pick its faces in the view")
            opener.props["aria-expanded"] = "true" if self.is_open else "false"
            if self.is_open:
                with box("panel-edge"):
                    self._draw_form()

    def _turn(self) -> None:
        self.is_open = not self.is_open
        self._picks, self._typed = [], {}
        self._draw()
        if self._view is not None:
            self._view.show_found(self._marks() if self.is_open else None)

    def _draw_form(self) -> None:
        with box("fields"):
            self._select("kind", "what is measured", KIND_WORDS, self._change_kind)
        self._picked = box("picked-faces").props('aria-live="polite"')
        self._say_picks()
        self._places = box("fields")
        self._draw_places()
        with box("fields"):
            self._entry("nominal", "should be", "mm or degrees")
            self._entry("std", "known within (std)", "mm or degrees")
            dimensions = {"": "no dimension"} | {
                item.id: item.id for item in self._snapshot.opened.project.dimensions
            }
            if len(dimensions) > 1:
                self._select("dimension", "or from", dimensions)
        with box("fields"):
            self._select("limits", "limits", LIMIT_WORDS)
            self._entry("limit", "written as", "19.8,20.2 or H8 or m")
            self._entry("id", "its name", "made up when empty")
        with box("buttons"):
            button("Measure", partial(self._ask, False), "main", name="measure the new feature")
            button("Write", partial(self._ask, True), name="write the new feature: show the difference first")
        self._outcome = box("outcome").props('role="status"')

    def _select(
        self, key: str, words: str, choices: Mapping[str, str], then: Callable[[], None] | None = None
    ) -> None:
        with box("field", "label"):
            text("span", words, "soft")
            element = box("select", "select")
            with element:
                for value, shown in choices.items():
                    text("option", shown).props["value"] = value

        def keep(event: object) -> None:
            self._typed[key] = str(getattr(event, "args", ""))
            if then is not None:
                then()

        element.on("change", keep, js_handler="(e) => emit(e.target.value)")

    def _entry(self, key: str, words: str, hint: str) -> None:
        with box("field", "label"):
            text("span", words, "soft")
            element = box("entry", "input").props('type="text" autocomplete="off" spellcheck="false"')
            element.props["placeholder"] = hint

        def keep(event: object) -> None:
            self._typed[key] = str(getattr(event, "args", ""))

        element.on("input", keep, js_handler="(e) => emit(e.target.value)")

    def _draw_places(self) -> None:
        self._places.clear()
        with self._places:
            if self._kind in PLANE_KINDS:
                self._entry("along", "measured along", "X,Y,Z such as 0,0,1")
            if self._kind == "section":
                self._entry("across", "cut across", "X,Y,Z such as 1,0,0")

    def _change_kind(self) -> None:
        self._draw_places()
        self._say_picks()
        self._outcome.clear()

    async def pick(self, found: Picked) -> None:
        """Take the face under a picked point; what is no face is said in words."""
        if found.part is None or found.model_mm is None:
            return
        part, point = found.part, np.array(found.model_mm)
        try:
            seen = await self._bench.compute(lambda: self._picker.describe(part, point))
        except DryfitError as error:
            if self._is_there():
                with self._picked:
                    show_refusal(error)
            return
        if not self._is_there():
            return
        most = FACES_OF[self._kind]
        # One more than there can be: the user begins anew.
        if most is not None and len(self._picks) >= most:
            self._picks = []
        self._picks.append(seen)
        self._outcome.clear()
        self._show_picks()

    def _is_there(self) -> bool:
        return self.is_open and not self._holder.is_deleted

    def _show_picks(self) -> None:
        self._say_picks()
        if self._view is not None:
            self._view.show_found(self._marks())

    def _marks(self) -> dict[str, object]:
        return describe_picks(self._picks, self._snapshot.chain.shapes, self._bench.overlays)

    def _say_picks(self) -> None:
        most = FACES_OF[self._kind]
        self._picked.clear()
        with self._picked:
            wanted = "a point of each part" if most is None else "one face" if most == 1 else f"{most} faces"
            text(
                "p",
                f"Pick {wanted} in the view: double click, or Enter for what lies in its middle. "
                f"{len(self._picks)} picked.",
                "soft",
            )
            for number, pick in enumerate(self._picks):
                with box("picked-face"):
                    point = pick.pick.point_mm
                    text("strong", f"{number + 1}. {pick.pick.part}: {pick.words}")
                    text("span", f"{_facing(pick)}{place_words(point) if point is not None else ''}", "soft")
                    button("Drop", partial(self._drop, number), "plain", name=f"drop face {number + 1}")

    def _drop(self, number: int) -> None:
        del self._picks[number]
        self._show_picks()

    async def _ask(self, is_to_write: bool) -> None:
        self._say(lambda: text("p", "Measuring.", "soft"))
        try:
            request = make_request(self._typed | {"kind": self._kind}, [item.pick for item in self._picks])
            found = await self._bench.compute(lambda: add_feature(self._bench.path, request, write=False))
        except DryfitError as error:
            self._say(partial(show_refusal, error))
            return
        self._say(lambda: self._show_answer(found, request if is_to_write else None))

    def _say(self, draw: Callable[[], object]) -> None:
        if not self._is_there():
            return
        self._outcome.clear()
        with self._outcome:
            draw()
            ui.run_javascript(f"getHtmlElement({self._outcome.id})?.scrollIntoView({{block: 'nearest'}})")

    def _show_answer(self, found: FeatureAdded, request: FeatureRequest | None) -> None:
        if request is None:
            show_blocks(added_blocks(found), level=3)
            return

        async def write() -> None:
            try:
                async with self._bench.writing:
                    await self._bench.compute(lambda: add_feature(self._bench.path, request))
            except DryfitError as error:
                self._say(partial(show_refusal, error))
                return
            self.is_open = False
            await self._bench.reload()

        text("h3", "This would change project.toml")
        show_blocks(added_blocks(found)[:2], level=3)
        show_diff(found.diff)
        with box("buttons"):
            button("Write it", write, "main", name="write it to project.toml")
            button("Leave it", self._outcome.clear, name="leave it: the document stays as it is")


def _facing(pick: PickDescription) -> str:
    """The way a face looks, in words."""
    normal = pick.pick.normal
    if normal is None:
        return ""
    return f"looks toward {', '.join(f'{value + 0.0:.3f}' for value in normal)}; "
