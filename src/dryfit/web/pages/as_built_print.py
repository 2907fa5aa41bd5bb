"""The form by which a print is entered or corrected."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from nicegui import ui

from dryfit.app.as_built_page import BoardPart, read_print_form
from dryfit.app.live import Snapshot
from dryfit.app.prints import correct_print, enter_print
from dryfit.base.errors import DryfitError
from dryfit.model.printing import PRINT_RESULTS
from dryfit.view.as_built_page import planned_words
from dryfit.web.pages.form_fields import Fields
from dryfit.web.render import box, button, show_refusal, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

_AS_PLANNED = "as in the document"
_AS_IT_WAS = "as it was"


class PrintForm:
    """One open form. closed: called when nothing is entered after all."""

    def __init__(
        self,
        bench: Bench,
        snapshot: Snapshot,
        item: BoardPart,
        typed: dict[str, str],
        closed: Callable[[], None],
    ) -> None:
        self._bench = bench
        self._project = snapshot.opened.project
        self._item = item
        self._typed = typed
        self._closed = closed

    @property
    def _corrects(self) -> int | None:
        what = self._typed.get("open", "new")
        return None if what == "new" else int(what)

    def draw(self) -> None:
        """Fields, and what became of them."""
        record, part = self._corrects, self._project.part(self._item.id)
        unsaid = _AS_PLANNED if record is None else _AS_IT_WAS
        name = f"print of {part.id}" if record is None else f"correction of print {record}"
        fields = Fields(self._typed, self._record)
        with box("panel-edge print-form", "section", name) as edge:
            text("h3", f"A print of {part.id}" if record is None else f"Correct print {record}")
            text(
                "p", planned_words(part) if record is None else "What is left empty stays as it was.", "soft"
            )
            with box("fields"):
                results = _choices("choose" if record is None else unsaid, PRINT_RESULTS)
                first = fields.select("result", "result", results)
                fields.select(
                    "machine", "machine", _choices(unsaid, [row.id for row in self._project.machines])
                )
                fields.select(
                    "material", "material", _choices(unsaid, [row.id for row in self._project.materials])
                )
                fields.entry("bed", "pose, degrees about x, y, z", unsaid)
            with box("fields"):
                fields.entry("started", "from, UTC", "2026-11-18T14:30")
                fields.entry("ended", "to, UTC", "2026-11-19")
                fields.entry("hours", "hours", "9.5")
                fields.entry("grams", "grams", "240")
                fields.entry("spool", "spool", "white 3")
                fields.entry("release", "release", "A")
            with box("fields"):
                fields.entry("failed_at_mm", "failed or stopped at, mm", "12.4")
                fields.entry("because", "because", "came off the bed")
                fields.entry("note", "note", "")
                fields.entry("by", "who enters it", "")
            if part.compensation is not None:
                with box("fields"):
                    fields.tick("uncorrected", "the mesh itself was printed, not the corrected copy")
            self._outcome = box("outcome").props('role="status"')
            with box("buttons"):
                words = "Enter it" if record is None else "Correct it"
                self._enter = button(words, self._record, "main", name=f"{words.lower()}: {name}")
                button("Close", self._closed, name="close the form: nothing is entered")
        ui.run_javascript(
            f"getHtmlElement({edge.id})?.scrollIntoView({{block: 'nearest'}}); getHtmlElement({first})?.focus()"
        )

    async def _record(self) -> None:
        record, part, bench = self._corrects, self._item.id, self._bench
        typed = {key: words for key, words in self._typed.items() if key != "open"}
        words = f"entering a print of {part}" if record is None else f"correcting print {record}"
        self._set_enabled(False)
        try:
            answers = read_print_form(typed)
            if record is None:
                await bench.run_job(words, lambda progress: enter_print(bench.path, part, answers, progress))
            else:
                await bench.run_job(
                    words, lambda progress: correct_print(bench.path, record, answers, progress)
                )
        except DryfitError as error:
            if not self._outcome.is_deleted:
                self._set_enabled(True)
                self._outcome.clear()
                with self._outcome:
                    show_refusal(error)
            return
        self._typed.clear()
        if not self._outcome.is_deleted:
            self._outcome.clear()
            with self._outcome:
                text("p", "Entered; forecasting anew.")
        await bench.look_at_ledger()

    def _set_enabled(self, is_enabled: bool) -> None:
        if not self._enter.is_deleted:
            self._enter.props["disabled"] = not is_enabled
            self._enter.update()


def _choices(unsaid: str, ids: Sequence[str]) -> dict[str, str]:
    return {"": unsaid, **{id: id for id in ids}}
