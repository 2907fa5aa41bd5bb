"""A decision about an observation or relation: what it would change, its reason, and the record."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.app.live import Snapshot
from dryfit.app.schedule_decisions import Verb
from dryfit.app.schedule_desk import decide, foresee_decision
from dryfit.base.errors import DryfitError
from dryfit.view.schedule_page import VERB_WORDS, decision_words, outlook_blocks
from dryfit.web.render import box, button, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class DecisionPanel:
    """Buttons, and the form that they open. parent: where it opens; None: where place is called."""

    def __init__(self, bench: Bench, snapshot: Snapshot, parent: object = None) -> None:
        self._bench = bench
        self._snapshot = snapshot
        self._parent = parent if isinstance(parent, Element) else None
        self._holder: Element | None = self._parent
        self._because = ""

    def button(self, verb: Verb, id: str) -> None:
        """A button that opens the form for a decision."""
        words = VERB_WORDS[verb]
        button(words, partial(self._open, verb, id), name=f"{words.lower()}: {id}")

    def place(self) -> None:
        """The form opens here."""
        self._holder = box("contents")

    async def _open(self, verb: Verb, id: str) -> None:
        holder = self._holder
        if holder is None or holder.is_deleted:
            return
        self._because = ""
        holder.clear()
        with holder, box("panel-edge decision", "section", f"decision about {id}") as edge:
            text("h3", decision_words(verb, id))
            outlook = box("outcome").props('role="status"')
            with outlook:
                text("p", "Working out what it would change.", "soft")
            with box("fields"), box("field wide", "label"):
                text("span", "reason" if verb == "restore" else "reason (recorded with it)", "soft")
                entry = box("entry", "input").props('type="text" autocomplete="off"')
                entry.props["placeholder"] = "the guide counts the weather vane"
            entry.on("input", self._typed, js_handler="(e) => emit(e.target.value)")
            entry.on("keydown.enter", partial(self._record, verb, id), args=[])
            self._trouble = box("outcome").props('role="status"')
            with box("buttons"):
                button("Record it", partial(self._record, verb, id), "main", name="record the decision")
                button("Leave it", holder.clear, name="leave it: nothing is decided")
        ui.run_javascript(
            f"getHtmlElement({edge.id})?.scrollIntoView({{block: 'nearest'}}); getHtmlElement({entry.id})?.focus()"
        )
        try:
            found = await self._bench.compute(lambda: foresee_decision(self._snapshot, verb, id))
        except DryfitError as error:
            if not outlook.is_deleted:
                outlook.clear()
                with outlook:
                    show_refusal(error)
            return
        if not outlook.is_deleted:
            outlook.clear()
            with outlook:
                show_scrolling(list(outlook_blocks(found)), "what the decision would change", level=4)

    def _typed(self, event: object) -> None:
        self._because = str(getattr(event, "args", ""))

    async def _record(self, verb: Verb, id: str) -> None:
        because = self._because
        try:
            await self._bench.compute(lambda: decide(self._bench.path, verb, id, because))
        except DryfitError as error:
            if not self._trouble.is_deleted:
                self._trouble.clear()
                with self._trouble:
                    show_refusal(error)
            return
        if not self._trouble.is_deleted:
            self._trouble.clear()
            with self._trouble:
                text("p", "Recorded; reading the project.")
        await self._bench.look_at_ledger()
