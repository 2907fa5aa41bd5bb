"""A decision with its reason: a form that opens in its place, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from nicegui import ui
from nicegui.element import Element

from dryfit.base.errors import DryfitError
from dryfit.web.pages.form_fields import Fields
from dryfit.web.render import box, button, show_refusal, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


@dataclass(frozen=True, slots=True)
class Asked:
    """One field of the form.

    words   before it; hint: shown while it is empty; value: what stands in it at first
    """

    key: str
    words: str
    hint: str = ""
    value: str = ""


class DecisionForm:
    """Fields, a button to record and one to leave it. record: told what was typed; may refuse."""

    def __init__(
        self,
        bench: Bench,
        place: Element,
        name: str,
        asked: tuple[Asked, ...],
        record: Callable[[Mapping[str, str]], object],
    ) -> None:
        self._bench = bench
        self._place = place
        self._name = name
        self._asked = asked
        self._do = record
        self._typed = {item.key: item.value for item in asked}

    def draw(self) -> None:
        """The form in its place, the cursor in its first field."""
        self._place.clear()
        entries = []
        with self._place, box("panel-edge decision", "section", self._name):
            with box("fields"):
                fields = Fields(self._typed, self._record)
                entries = [fields.entry(item.key, item.words, item.hint, "wide") for item in self._asked]
            self._outcome = box("outcome").props('role="status"')
            with box("buttons"):
                button("Record it", self._record, "main", name="record the decision")
                button("Leave it", self._place.clear, name="leave it: nothing is decided")
        ui.run_javascript(f"getHtmlElement({entries[0]})?.focus()")

    async def _record(self) -> None:
        self._say(lambda: text("p", "Recording it.", "soft"))
        typed = dict(self._typed)
        try:
            await self._bench.compute(lambda: self._do(typed))
        except DryfitError as error:
            refusal = error
            self._say(lambda: show_refusal(refusal))
            return
        self._say(lambda: text("p", "Recorded; forecasting anew."))
        await self._bench.look_at_ledger()

    def _say(self, draw: Callable[[], object]) -> None:
        if self._outcome.is_deleted:
            return
        self._outcome.clear()
        with self._outcome:
            draw()
