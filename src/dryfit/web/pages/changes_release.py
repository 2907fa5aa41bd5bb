"""Releases: the list of them, and a form by which parts are frozen for printing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dryfit.app.releases import ReleaseList, list_releases
from dryfit.app.releasing import ReleaseOrder, release_parts
from dryfit.base.errors import DryfitError
from dryfit.view.blocks import Block, Heading
from dryfit.view.releases import release_blocks, release_list_blocks
from dryfit.web.pages.form_fields import Fields
from dryfit.web.render import box, button, link, show_blocks, show_refusal, show_scrolling, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class ReleasePanel:
    """The panel of releases."""

    def __init__(
        self,
        bench: Bench,
        releases: ReleaseList,
        typed: dict[str, str],
        said: list[Block],
    ) -> None:
        self._bench = bench
        self._releases = releases
        self._typed = typed
        self._said = said

    def draw(self) -> None:
        """The list, then the form."""
        with box("panel", "section", "releases"):
            text("h2", "Releases")
            self._list = box("contents")
            self._show_list(self._releases)
            with box("buttons"):
                if self._releases.releases:
                    button(
                        "Look at the frozen copies",
                        self._verify,
                        name="are the frozen copies what was released?",
                    )
            self._draw_form()

    def _show_list(self, releases: ReleaseList) -> None:
        self._list.clear()
        with self._list:
            blocks = [block for block in release_list_blocks(releases) if not isinstance(block, Heading)]
            if not releases.releases:
                text("p", "None yet.", "soft")
            show_scrolling(blocks, "releases", level=3)

    async def _verify(self) -> None:
        try:
            found = await self._bench.compute(lambda: list_releases(self._bench.path, True))
        except DryfitError as error:
            if not self._list.is_deleted:
                with self._list:
                    show_refusal(error)
            return
        if not self._list.is_deleted:
            self._show_list(found)

    def _draw_form(self) -> None:
        with box("panel-edge", "section", "release parts"):
            text("h3", "Release parts for printing")
            fields = Fields(self._typed, self._release)
            with box("fields"):
                fields.entry("parts", "parts, or empty for all", "ring-1, ring-2")
                fields.entry("letter", "letter, or empty for the next", "")
                fields.entry("by", "who releases", "")
            with box("fields"):
                fields.entry("because", "why", "first ring to print", "wide")
                fields.entry("despite", "why although the hold point has a stop", classes="wide")
            with box("buttons"):
                self._key = button("Release", self._release, "main", name="release these parts")
                link("hold point before printing", "/hold")
            self._outcome = box("outcome").props('role="status"')
            with self._outcome:
                show_blocks(self._said, level=3)

    async def _release(self) -> None:
        typed, bench = dict(self._typed), self._bench
        order = ReleaseOrder(
            parts=tuple(name.strip() for name in typed.get("parts", "").split(",") if name.strip()),
            letter=typed.get("letter", "").strip(),
            by=typed.get("by", ""),
            because=typed.get("because", ""),
            despite=typed.get("despite", ""),
        )
        self._key.props["disabled"] = True
        self._key.update()
        try:
            report = await bench.run_job(
                "releasing parts", lambda progress: release_parts(bench.path, order, progress)
            )
        except DryfitError as error:
            if not self._outcome.is_deleted:
                self._outcome.clear()
                with self._outcome:
                    show_refusal(error)
        else:
            self._typed.clear()
            # The sheet is drawn anew with another record: what came of it is said there.
            self._said[:] = release_blocks(report)
            if not self._outcome.is_deleted:
                self._outcome.clear()
                with self._outcome:
                    show_blocks(self._said, level=3)
        if not self._key.is_deleted:
            self._key.props["disabled"] = False
            self._key.update()
        await bench.look_at_ledger()
