"""Decisions about readings of parts: kept or left out, with the reason recorded."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui import ui

from dryfit.app.reading import ReadOptions, decide_one
from dryfit.base.errors import DryfitError
from dryfit.web.render import box, button, link, show_refusal, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_WORDS = {
    "keep": "It counts, because",
    "leave out": "It is left out of the forecast, because",
    "count again": "It counts again, because",
}


class SuspectDesk:
    """Buttons for one or several readings of a part, and the form that they open."""

    def __init__(
        self, bench: Bench, part: str, records: tuple[int, ...], verbs: tuple[str, ...] = ()
    ) -> None:
        self._bench = bench
        self._part = part
        self._records = records
        self._verbs = verbs or ("leave out", "keep")
        self._because = ""

    def draw(self) -> None:
        """The buttons; the form opens under them."""
        listed = ", ".join(map(str, self._records))
        with box("buttons under-item"):
            for verb in self._verbs:
                button(
                    verb.capitalize(),
                    partial(self._open, verb),
                    name=f"{verb}: record {listed} of {self._part}",
                )
            link("read it again", f"/bench?part={self._part}")
        self._form = box("contents")

    def _open(self, verb: str) -> None:
        self._form.clear()
        self._because = ""
        listed = ", ".join(map(str, self._records))
        with self._form, box("panel-edge decision", "section", f"decision about record {listed}"):
            with box("fields"), box("field wide", "label"):
                text("span", _WORDS[verb], "soft")
                entry = box("entry", "input").props('type="text" autocomplete="off"')
                entry.props["placeholder"] = "the jaws were tilted"
            entry.on("input", self._typed, js_handler="(e) => emit(e.target.value)")
            entry.on("keydown.enter", partial(self._record, verb), args=[])
            self._trouble = box("outcome").props('role="status"')
            with box("buttons"):
                button("Record it", partial(self._record, verb), "main", name="record the decision")
                button("Leave it", self._form.clear, name="leave it: nothing is decided")
        ui.run_javascript(f"getHtmlElement({entry.id})?.focus()")

    def _typed(self, event: object) -> None:
        self._because = str(getattr(event, "args", ""))

    async def _record(self, verb: str) -> None:
        path, part, because, counts = self._bench.path, self._part, self._because, verb != "leave out"
        with self._trouble:
            self._trouble.clear()
            text("p", "Recording it.", "soft")

        def work() -> None:
            for record in self._records:
                decide_one(path, part, record, counts, because, ReadOptions())

        try:
            await self._bench.compute(work)
        except DryfitError as error:
            if not self._trouble.is_deleted:
                self._trouble.clear()
                with self._trouble:
                    show_refusal(error)
            return
        if not self._trouble.is_deleted:
            self._trouble.clear()
            with self._trouble:
                text("p", "Recorded; forecasting anew.")
        await self._bench.look_at_ledger()
