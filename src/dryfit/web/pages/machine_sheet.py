"""A machine: what it is, its fault drawn, how well it is known, what its readings say, and how it is mended."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from nicegui import background_tasks, ui

from dryfit.app.live import Snapshot
from dryfit.app.machine_page import MachineFacts, advise_on, gather_machine, used_machine, watch_on
from dryfit.app.preflight_band import Bands
from dryfit.app.preflight_watch import Watching
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Sentence
from dryfit.view.machine_drawing import FACTORS, factor_words, machine_svg, usual_factor
from dryfit.view.machine_ellipses import band_blocks, ellipses_svg
from dryfit.view.machine_history import history_svgs, history_words
from dryfit.view.machine_ink import CHART_STYLE
from dryfit.view.machine_page import figure_blocks, machine_blocks, machine_heading
from dryfit.view.machine_signs import signs_svg
from dryfit.view.preflight import drift_words
from dryfit.view.preflight_chart import history_svg as charts_svg
from dryfit.view.trueing import trueing_blocks
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.pages.machine_copies import CopiesPanel
from dryfit.web.pages.machine_readings import Decided, ReadingsPanel
from dryfit.web.render import box, button, link, show_blocks, show_refusal, show_scrolling, text
from dryfit.web.shell import follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench

T = TypeVar("T")


class _Chosen:
    """What is set in a tab; it outlives the drawing of another state."""

    def __init__(self) -> None:
        self.factor: float | None = None
        self.decided = Decided()


def build(bench: Bench, answers: Answers, show: str = "") -> None:
    """The page. show: id of the machine; default: the first that prints a part."""
    chosen = _Chosen()
    ui.add_head_html(f"<style>{CHART_STYLE}</style>")
    with sheet(bench, "machine", "machine"):

        async def draw(snapshot: Snapshot) -> None:
            try:
                id = used_machine(snapshot.opened.project, show)
                opened = snapshot.opened
                facts = await bench.compute(lambda: gather_machine(opened.project, opened.folder, id))
            except DryfitError as error:
                show_refusal(error)
                return
            _MachineSheet(bench, answers, snapshot, facts, chosen).draw()

        follow(bench, draw, with_records=True)


class _MachineSheet:
    """One open sheet over one state of document and ledger."""

    def __init__(
        self, bench: Bench, answers: Answers, snapshot: Snapshot, facts: MachineFacts, chosen: _Chosen
    ) -> None:
        self._bench = bench
        self._answers = answers
        self._snapshot = snapshot
        self._facts = facts
        self._chosen = chosen

    def draw(self) -> None:
        """Everything; what takes its time comes when it is known."""
        facts = self._facts
        with box("machine-head"):
            show_blocks([machine_heading(facts)])
            self._other_machines()
        with box("machine-sheet"):
            with box("lane"):
                self._draw_machine()
                with box("panel", "section", "figures"):
                    text("h2", "Figures that the forecast counts with")
                    show_scrolling(figure_blocks(facts), "figures")
                self._draw_ellipses()
            with box("lane"):
                ReadingsPanel(self._bench, self._answers, facts, self._chosen.decided).draw()
                self._draw_trueing()
                if facts.machine.error.knowledge != "prior":
                    CopiesPanel(self._bench, facts).draw()
        self._draw_history()

    def _other_machines(self) -> None:
        facts = self._facts
        with box("machine-links", "nav", "machines"):
            for id in facts.machines:
                if id != facts.machine.id:
                    link(id, f"/machine?show={id}")
            link("to the bench", f"/bench?machine={facts.machine.id}")
            link("open the document", "/settings?find=machine")

    def _draw_machine(self) -> None:
        machine, figures = self._facts.machine, self._facts.figures
        with box("panel", "section", "what it is"):
            show_blocks(machine_blocks(self._facts))
            factor = self._chosen.factor or usual_factor(machine, figures)
            picture = box("picture")
            with box("buttons factors").props('role="group" aria-label="how large the faults are drawn"'):
                text("span", "drawn", "soft")
                keys = {value: button(factor_words(value)) for value in FACTORS}

        def show(value: float) -> None:
            picture.clear()
            with picture:
                ui.html(machine_svg(machine, figures, value), sanitize=False)
            for other, key in keys.items():
                key.props["aria-pressed"] = "true" if other == value else "false"
                key.update()

        def choose(value: float) -> None:
            self._chosen.factor = value
            show(value)

        for value, key in keys.items():
            key.on("click", _calling(choose, value), args=[])
        show(factor)

    def _draw_ellipses(self) -> None:
        facts = self._facts
        with box("panel", "section", "how well its squareness is known"):
            text("h2", "How well its squareness is known")
            place = box("contents")
        with place:
            ui.html(ellipses_svg(facts, None), sanitize=False)
            text("p", "Finding what the project bears.", "soft waiting")

        async def fill() -> None:
            found = await self._watched()
            if place.is_deleted:
                return
            place.clear()
            with place:
                bands = None if isinstance(found, DryfitError) else found[1]
                ui.html(ellipses_svg(facts, bands), sanitize=False)
                show_scrolling(band_blocks(facts, bands), "bands")
                if isinstance(found, DryfitError):
                    show_refusal(found)

        background_tasks.create(fill())

    async def _watched(self) -> tuple[Watching, Bands] | DryfitError:
        id, snapshot = self._facts.machine.id, self._snapshot
        return await self._answers.get(("watch", id), lambda: watch_on(snapshot, id))

    def _draw_trueing(self) -> None:
        facts, snapshot = self._facts, self._snapshot
        if facts.machine.error.knowledge == "prior":
            return
        with box("panel", "section", "what to turn"):
            place = box("contents")
        with place:
            text("p", "Working out what to turn.", "soft waiting")

        async def fill() -> None:
            key = ("trueing", facts.machine.id)
            found = await self._answers.get(key, lambda: advise_on(snapshot, facts))
            if place.is_deleted:
                return
            place.clear()
            with place:
                if isinstance(found, DryfitError):
                    show_refusal(found)
                elif found is not None:
                    show_scrolling(trueing_blocks(found), "what mending changes")
                    _signs(facts)

        background_tasks.create(fill())

    def _draw_history(self) -> None:
        facts = self._facts
        if facts.qualifications:
            with box("panel history", "section", "over time"):
                text("h2", "Over time")
                with box("charts"):
                    for chart in history_svgs(facts):
                        ui.html(chart, sanitize=False)
                text("p", history_words(facts), "soft")
        if any(facts.squares.values()):
            self._draw_checks()

    def _draw_checks(self) -> None:
        """The square before long prints, with its charts."""
        with box("panel history", "section", "before long prints"):
            text("h2", "Squareness before long prints")
            place = box("contents")
        with place:
            text("p", "Drawing the charts.", "soft waiting")

        async def fill() -> None:
            found = await self._watched()
            if place.is_deleted:
                return
            place.clear()
            with place:
                if isinstance(found, DryfitError):
                    show_refusal(found)
                else:
                    ui.html(charts_svg(found[0].watches), sanitize=False)
                    show_blocks([Sentence(drift_words(watch), mark=True) for watch in found[0].watches])

        background_tasks.create(fill())


def _signs(facts: MachineFacts) -> None:
    """The drawing of what each sign means, and which side is raised."""
    named = {figure.name: figure for figure in facts.figures}
    skews = [named[name] for name in ("skew_xy_deg", "skew_xz_deg", "skew_yz_deg")]
    xy, xz, yz = (figure.value for figure in skews)
    std_xy, std_xz, std_yz = (figure.std for figure in skews)
    with box("signs"):
        ui.html(signs_svg(facts.machine.id, (xy, xz, yz), (std_xy, std_xz, std_yz)), sanitize=False)


def _calling(handler: Callable[[T], None], value: T) -> Callable[[], None]:
    return lambda: handler(value)
