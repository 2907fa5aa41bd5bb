"""Changes: two revisions side by side, what differs, what it touches and costs; releases."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from urllib.parse import quote

from nicegui import ui
from nicegui.element import Element

from dryfit.app.changes import WORKING, compare_states
from dryfit.app.changes_page import ChangesShown, ends_to_choose, forecast_pairs, risk_of, show_changes
from dryfit.app.live import Snapshot
from dryfit.app.releases import ReleaseList, list_releases
from dryfit.base.errors import DryfitError
from dryfit.model.forecast import CharacteristicForecast
from dryfit.view.blocks import Block
from dryfit.view.changes import changes_sections, forecast_notes
from dryfit.view.changes_page import end_words, side_figure, sorted_pairs
from dryfit.web.pages.changes_release import ReleasePanel
from dryfit.web.pages.changes_views import TwoViews
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.render import box, button, limits_svg, link, show_blocks, show_refusal, show_scrolling, text
from dryfit.web.shell import STATIC, follow, sheet

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class _Chosen:
    """What is set in a tab; it outlives the drawing of another state."""

    def __init__(self, since: str, until: str) -> None:
        self.since = since
        self.until = until or WORKING
        self.typed: dict[str, str] = {}
        self.said: list[Block] = []


def build(bench: Bench, answers: Answers, since: str = "", until: str = "") -> None:
    """The page. since, until: letters of releases or "working"; default: the last release, and the working state."""
    chosen = _Chosen(since, until)
    ui.add_head_html(f'<link rel="stylesheet" href="{STATIC}/as_built.css">')
    with sheet(bench, "changes", "changes"):

        async def draw(snapshot: Snapshot | None = None) -> None:
            releases = await answers.get(("releases",), lambda: list_releases(bench.path))
            if isinstance(releases, DryfitError):
                show_refusal(releases)
                return
            _ChangesSheet(bench, answers, releases, chosen).draw()

        # What cannot be forecast can be compared all the same.
        follow(bench, draw, with_records=True, otherwise=draw)


class _ChangesSheet:
    """One open sheet over one state of document and ledger."""

    def __init__(self, bench: Bench, answers: Answers, releases: ReleaseList, chosen: _Chosen) -> None:
        self._bench = bench
        self._answers = answers
        self._releases = releases
        self._chosen = chosen

    def draw(self) -> None:
        """The choice, the comparison when it is made, and the releases."""
        known = [item.letter for item in self._releases.releases]
        if known:
            if self._chosen.since not in (*known, WORKING):
                self._chosen.since = known[-1]
            self._draw_ends()
            self._result = box("result")
            ui.timer(0, self._compare, once=True)
        else:
            text(
                "p", "Nothing was released yet, so there is nothing to compare with: release the parts below."
            )
        ReleasePanel(self._bench, self._releases, self._chosen.typed, self._chosen.said).draw()
        with box("machine-links", "nav", "what belongs to it"):
            link("parts as built", "/as-built")
            link("hold point before printing", "/hold")

    def _draw_ends(self) -> None:
        with box("ends").props('role="group" aria-label="what is compared"'):
            self._select("from", self._chosen.since)
            self._select("to", self._chosen.until)
            button("Compare", self._compare_again, "main", name="compare the two")

    def _select(self, words: str, now: str) -> None:
        with box("field", "label"):
            text("span", words, "soft")
            select = box("select", "select", f"{words}: revision")
            with select:
                for name in ends_to_choose(self._releases):
                    option = text("option", end_words(name, self._releases))
                    option.props["value"] = name
                    if name == now:
                        option.props["selected"] = True
        key = "since" if words == "from" else "until"
        select.on("change", lambda event: self._keep(key, event), js_handler="(e) => emit(e.target.value)")

    def _keep(self, key: str, event: object) -> None:
        setattr(self._chosen, key, str(getattr(event, "args", "")))

    async def _compare_again(self) -> None:
        since, until = quote(self._chosen.since), quote(self._chosen.until)
        ui.run_javascript(f"history.replaceState(null, '', '/changes?since={since}&until={until}')")
        await self._compare()

    async def _compare(self) -> None:
        since, until, path = self._chosen.since, self._chosen.until, self._bench.path
        self._result.clear()
        with self._result:
            text("p", "Comparing.", "soft waiting")
        found = await self._answers.get(
            ("changes", since, until), lambda: show_changes(compare_states(path, since, until))
        )
        if self._result.is_deleted or (since, until) != (self._chosen.since, self._chosen.until):
            return
        self._result.clear()
        with self._result:
            if isinstance(found, DryfitError):
                show_refusal(found)
            else:
                self._show(found)

    def _show(self, shown: ChangesShown) -> None:
        sections = dict(changes_sections(shown.report))
        show_blocks(sections.pop("verdict"))
        assumed = sections.pop("assumed")
        TwoViews(self._bench, shown).draw()
        _panel("printed parts and price", sections.pop("printed parts and price"))
        with box("columns"):
            with box("lane"):
                for name in ("document", "dimensions", "features"):
                    _panel(name, sections.pop(name))
            with box("lane"):
                _panel("joints", sections.pop("joints"))
                self._forecast(shown)
        _panel("assumed", assumed)

    def _forecast(self, shown: ChangesShown) -> None:
        with box("panel", "section", "forecast"):
            text("h2", "Forecast before and after")
            pairs = forecast_pairs(shown.report)
            told, alike, single = sorted_pairs(pairs)
            self._pairs(told, shown)
            for words, others in (
                ("to the digits shown as before", alike),
                ("forecast on one side only", single),
            ):
                if others:
                    with box("", "details"):
                        text("summary", f"{len(others)} {words}")
                        self._pairs(others, shown)
            show_blocks(forecast_notes(shown.report), level=3)

    def _pairs(
        self,
        pairs: Sequence[tuple[CharacteristicForecast | None, CharacteristicForecast | None]],
        shown: ChangesShown,
    ) -> None:
        if pairs:
            with box("before-after", "ul"):
                for before, after in pairs:
                    self._pair(before, after, risk_of(shown))

    def _pair(
        self, before: CharacteristicForecast | None, after: CharacteristicForecast | None, risk: float
    ) -> None:
        known = after or before
        if known is None:
            return
        with box("", "li"):
            with box("name"):
                text("span", known.id)
            with box("pair"):
                for words, item, other in (("before", before, after), ("after", after, before)):
                    text("span", words, "soft")
                    if item is None:
                        text("span", "")
                    else:
                        ui.html(limits_svg(item, risk, beside=other), sanitize=False)
                    text("span", side_figure(item))


_TITLES = {
    "printed parts and price": "Printed parts, and what it costs",
    "document": "In the document",
    "dimensions": "Dimensions moved",
    "features": "Features",
    "joints": "Joints",
    "assumed": "Taken as so",
}


def _panel(name: str, blocks: list[Block]) -> Element | None:
    if not blocks:
        return None
    with box("panel", "section", name) as panel:
        text("h2", _TITLES[name])
        show_scrolling(blocks, name, level=3)
    return panel
