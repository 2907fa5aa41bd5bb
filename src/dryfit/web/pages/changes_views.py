"""Two views of two revisions that are turned, cut and coloured together, and the parts by what became of them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from nicegui.element import Element

from dryfit.app.changes_page import ChangesShown, ShownSide
from dryfit.app.changes_parts import PartChange
from dryfit.view.blocks import State
from dryfit.view.changes import changed_parts, part_words, unchanged_words
from dryfit.view.changes_page import KIND_WASHES, kind_entries, map_of
from dryfit.web.model_view import ModelView, Picked
from dryfit.web.render import box, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_GROUP = "revisions"


class TwoViews:
    """The views and the list beneath them."""

    def __init__(self, bench: Bench, shown: ChangesShown) -> None:
        self._bench = bench
        self._shown = shown
        self._views: list[tuple[ModelView, bool]] = []
        self._buttons: dict[str, Element] = {}

    def draw(self) -> None:
        """Both views, then parts to choose; choosing one brings it out in both."""
        shown = self._shown
        with box("two-views"):
            for side, is_after in ((shown.before, False), (shown.after, True)):
                with box("", "section", f"{'after' if is_after else 'before'}: {side.name}"):
                    text("h3", f"{'After' if is_after else 'Before'}: {side.name}")
                    self._draw_view(side, is_after)
        with box("panel", "section", "parts by what became of them"):
            text("h2", "Parts by what became of them")
            rows = changed_parts(shown.report)
            if rows:
                with box("scroll", "div", "changed parts").props('role="group" tabindex="0"'):
                    self._draw_rows(rows)
            text("p", unchanged_words(shown.report))

    def _draw_rows(self, rows: Sequence[tuple[PartChange, str, str, State]]) -> None:
        with box("figures", "table"):
            with box("", "thead"), box("", "tr"):
                for head in ("part", "it is", "how"):
                    text("th", head).props["scope"] = "col"
            with box("", "tbody"):
                for part, name, kind, state in rows:
                    with box("", "tr"):
                        with box("id", "td"):
                            key = text("button", name, "choose").props('type="button"')
                            key.props["aria-pressed"] = "false"
                            key.on("click", partial(self._choose, part), args=[])
                            self._buttons[part.name] = key
                        with box("", "td"), box("state", "span"):
                            state_mark(state, with_word=False)
                            text("span", f"{KIND_WASHES[part.kind].shape} {kind}")
                        text("td", part_words(part))

    def _choose(self, part: PartChange) -> None:
        for own, key in self._buttons.items():
            key.props["aria-pressed"] = "true" if own == part.name else "false"
            key.update()
        for view, is_after in self._views:
            id = part.id if is_after else part.old_id
            view.highlight([] if id is None else [id])
        # The other view follows the one that is turned.
        for view, is_after in reversed(self._views):
            name = part.id if is_after else part.old_id
            if name is not None:
                view.see_parts([name])
                return

    def _picked(self, is_after: bool, picked: Picked) -> None:
        if picked.part is None:
            return
        for part in self._shown.report.parts:
            if picked.part == (part.id if is_after else part.old_id):
                self._choose(part)
                return

    def _draw_view(self, side: ShownSide, is_after: bool) -> None:
        keep = self._bench.overlays.keep
        with box("model small"):
            view = ModelView(self._bench, f"Parts of {side.name}", _GROUP)
            view.set_parts(
                [
                    {
                        "id": part.id,
                        # A lighter copy, for which a slow screen asks, is the same one here.
                        "url": f"{keep(part.copy)}?v=1",
                        "machine": part.machine,
                        "state": "not checked",
                        "shown": part.shown,
                        "triangles": part.triangles,
                    }
                    for part in side.parts
                ]
            )
            view.set_built({part.id: part.kind for part in side.parts}, kind_entries(), "what became of it")
            maps = {part.id: keep(part.map) for part in side.parts if part.map is not None}
            view.set_walls(map_of(self._shown, maps))
            view.set_placing(side.placing)
            view.set_colouring("wall" if self._shown.reach_mm else "built")
            view.on_pick(partial(self._picked, is_after))
        self._views.append((view, is_after))
