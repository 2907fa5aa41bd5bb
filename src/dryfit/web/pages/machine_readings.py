"""The readings of a machine's artefact: how far they agree, what is suspect, and the button that qualifies."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from nicegui import background_tasks, ui
from nicegui.element import Element

from dryfit.app.machine_page import MachineFacts, look_at_readings
from dryfit.app.qualify import qualify_machine
from dryfit.app.qualify_report import Choices, QualifyReport
from dryfit.app.reading_blunders import SuspectReading
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Sentence
from dryfit.view.machine_page import look_blocks, look_heading, next_words, recorded_words
from dryfit.view.machine_residuals import residual_words, residuals_svg
from dryfit.view.qualify import suspect_words
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.render import box, button, link, show_blocks, show_refusal, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


@dataclass(slots=True)
class Decided:
    """What was decided about suspects in a tab.

    without  ledger record -> why it is left out
    keep     whether suspects are kept knowingly
    said     what the last press of the button did
    """

    without: dict[int, str] = field(default_factory=dict)
    keep: bool = False
    is_begun: bool = False
    said: Sentence | DryfitError | None = None

    def begin(self, facts: MachineFacts) -> None:
        """Start from what the last qualification decided; forget readings that no longer count."""
        if not self.is_begun:
            self.without = dict.fromkeys(facts.left_out, facts.because)
            self.keep = facts.kept and not facts.fresh
            self.is_begun = True
        self.without = {record: why for record, why in self.without.items() if record in facts.counting}

    def choices(self, record: bool) -> Choices:
        """As the use case takes them."""
        because = "; ".join(dict.fromkeys(self.without.values()))
        return Choices(tuple(self.without), because, self.keep, record)


class ReadingsPanel:
    """One panel over one state of the ledger."""

    def __init__(self, bench: Bench, answers: Answers, facts: MachineFacts, decided: Decided) -> None:
        self._bench = bench
        self._answers = answers
        self._facts = facts
        self._decided = decided
        self._buttons: list[Element] = []
        decided.begin(facts)

    def draw(self) -> None:
        """Where it stands, the buttons, and what the readings say."""
        facts = self._facts
        with box("panel", "section", "readings"):
            text("h2", "Readings of its artefact")
            show_blocks([next_words(facts)])
            with box("buttons"):
                if facts.artefact is not None:
                    link("Take readings on the bench", f"/bench?machine={facts.machine.id}", "button")
                if facts.read:
                    words = "Qualify from these readings"
                    self._buttons.append(button(words, self._qualify, "main"))
            self._said = box("said").props('aria-live="polite"')
            self._look = box("look")
        self._say()
        if facts.read:
            self._look_again()

    def _say(self) -> None:
        self._said.clear()
        with self._said:
            if isinstance(self._decided.said, DryfitError):
                show_refusal(self._decided.said)
            elif self._decided.said is not None:
                show_blocks([self._decided.said])

    def _look_again(self) -> None:
        self._look.clear()
        with self._look:
            text("p", "Fitting the readings.", "soft waiting")
        background_tasks.create(self._fill_look())

    async def _fill_look(self) -> None:
        choices, facts = self._decided.choices(record=False), self._facts
        key = ("look", facts.machine.id, choices)
        found = await self._answers.get(key, lambda: look_at_readings(self._bench.path, facts, choices))
        if self._look.is_deleted or choices != self._decided.choices(record=False):
            return
        self._look.clear()
        with self._look:
            if isinstance(found, DryfitError):
                show_refusal(found)
            elif found is not None:
                self._show(found)

    def _show(self, report: QualifyReport) -> None:
        show_blocks([look_heading(report)], level=3)
        for suspect in report.suspects:
            self._show_suspect(report, suspect)
        if report.suspects and not report.is_kept:
            with box("buttons"):
                button("Keep what is suspect, knowingly", self._keep)
        show_blocks(look_blocks(report))
        if self._decided.without or self._decided.keep:
            with box("buttons"):
                button("Take every reading in again", self._take_in)
        ui.html(residuals_svg(report), sanitize=False)
        text("p", residual_words(report), "soft")

    def _show_suspect(self, report: QualifyReport, suspect: SuspectReading) -> None:
        read = [report.readings[place] for place in suspect.places]
        records = ", ".join(str(item.record) for item in read)
        with box("suspect panel-edge", "section", f"suspect: record {records}"):
            with box("sentence", "p"):
                state_mark("caution" if report.is_kept else "stop")
                text("span", suspect_words(report, suspect))
            if report.is_kept:
                return
            with box("buttons"):
                target = f"/bench?machine={report.machine}&measure={read[0].number}"
                link("Read it again", target, "button")
                why = box("entry", "input", f"why record {records} is left out")
                why.props('type="text" autocomplete="off" placeholder="why it is left out"')
                typed = {"why": ""}
                why.on("input", partial(_keep_typed, typed), js_handler="(e) => emit(e.target.value)")
                leave = partial(self._leave_out, [item.record for item in read], typed)
                button("Leave it out", leave, name=f"leave out record {records}")
                why.on("keydown.enter", leave, args=[])

    def _leave_out(self, records: list[int], typed: dict[str, str]) -> None:
        why = typed["why"].strip()
        if not why:
            self._decided.said = Sentence("Say why it is left out: the ledger keeps the reason.", "stop")
            self._say()
            return
        self._decided.without.update(dict.fromkeys(records, why))
        self._decided.said = None
        self._say()
        self._look_again()

    def _keep(self) -> None:
        self._decided.keep = True
        self._look_again()

    def _take_in(self) -> None:
        self._decided.without.clear()
        self._decided.keep = False
        self._look_again()

    async def _qualify(self) -> None:
        machine, choices = self._facts.machine.id, self._decided.choices(record=True)
        for key in self._buttons:
            key.props["disabled"] = True
            key.update()
        try:
            report = await self._bench.run_job(
                f"qualifying {machine}",
                lambda progress: qualify_machine(self._bench.path, machine, choices, progress),
            )
        except DryfitError as error:
            self._decided.said = error
        else:
            self._decided.said = recorded_words(report)
            if report.is_recorded:
                self._decided.is_begun = False
        # With another record the whole sheet is drawn anew, after the project was read with the new figures.
        await self._bench.look_at_ledger()
        if not self._said.is_deleted:
            self._say()
            for key in self._buttons:
                key.props["disabled"] = False
                key.update()


def _keep_typed(typed: dict[str, str], event: object) -> None:
    typed["why"] = str(getattr(event, "args", ""))
