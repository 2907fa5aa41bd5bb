"""The joints of a part: how far each is, its hold point before bonding, and the records of dry fit and bond."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from nicegui.element import Element

from dryfit.app.as_built_page import Board, read_bond_form, read_dry_fit_form
from dryfit.app.bond_records import BOND, DRY_FIT
from dryfit.app.bonding import RESULTS, withdraw_by_hand
from dryfit.app.ready_bonding import check_before_bonding
from dryfit.base.errors import DryfitError
from dryfit.view.as_built_page import hand_words
from dryfit.view.reports import hold_point_blocks
from dryfit.web.pages.form_fields import Fields
from dryfit.web.render import box, button, show_refusal, show_scrolling, state_mark, text

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class JointDesk:
    """One joint; its forms open under it."""

    def __init__(self, bench: Bench, board: Board, joint: str) -> None:
        self._bench = bench
        self._board = board
        self._joint = joint
        self._typed: dict[str, str] = {}

    def draw(self) -> None:
        """Its state, and buttons."""
        joint, hand = self._joint, self._board.hand
        state, words = hand_words(self._board, joint)
        with box("", "li"):
            with box("sentence", "p"):
                state_mark(state, with_word=False)
                text("span", f"{joint}: {words}")
            with box("buttons under-item"):
                button("Hold point", self._check, name=f"hold point before bonding {joint}")
                bond, fit = hand.bond(joint), hand.dry_fit(joint)
                if bond is None:
                    button("Dry fit", self._open_dry_fit, name=f"enter a dry fit of {joint}")
                    button("Bond", self._open_bond, name=f"enter the bond of {joint}")
                for item, kind in ((bond, BOND), (fit if bond is None else None, DRY_FIT)):
                    if item is not None:
                        name = f"take back {kind} {item.record}"
                        button("Take back", partial(self._withdraw, kind, item.record), name=name)
            self._place = box("contents")

    async def _check(self) -> None:
        bench, joint = self._bench, self._joint
        try:
            hold = await bench.run_job(
                f"hold point before bonding {joint}",
                lambda progress: check_before_bonding(bench.path, joint, progress=progress),
            )
        except DryfitError as error:
            _say(self._place, error)
            return
        if not self._place.is_deleted:
            self._place.clear()
            with self._place, box("panel-edge", "section", f"hold point before bonding {joint}"):
                show_scrolling(hold_point_blocks(hold), f"hold point before bonding {joint}", level=4)
                button("Close", self._place.clear)

    def _open_dry_fit(self) -> None:
        self._typed.clear()
        self._place.clear()
        with self._place, box("panel-edge", "section", f"dry fit of {self._joint}"):
            text("h4", f"Dry fit of {self._joint}")
            fields = Fields(self._typed, self._enter_dry_fit)
            with box("fields"):
                fields.select("result", "how it went", {"": "choose", **{word: word for word in RESULTS}})
                fields.entry("gaps", "gaps, mm: mean, or by contact", "0.15 or 1=0.10, 2=0.15")
                fields.entry("note", "note")
                fields.entry("by", "who")
            self._foot("Enter it", self._enter_dry_fit, f"enter the dry fit of {self._joint}")

    def _open_bond(self) -> None:
        self._typed.clear()
        self._place.clear()
        with self._place, box("panel-edge", "section", f"bond of {self._joint}"):
            text("h4", f"Bond of {self._joint}")
            fields = Fields(self._typed, self._enter_bond)
            with box("fields"):
                fields.entry("at", "when, UTC", "2026-11-18")
                fields.entry("adhesive", "adhesive", "as in the document")
                fields.entry("gaps", "gaps, mm: mean, or by contact", "0.15 or 1=0.10, 2=0.15")
                fields.entry("temp", "parts and room, C", "21")
                fields.entry("by", "who")
                fields.tick("as_dry_fitted", "its gaps are those of the dry fit")
            with box("fields"):
                fields.entry("because", "anything worth keeping", classes="wide")
                fields.entry("despite", "why, although its hold point has a stop", classes="wide")
            text("p", "A bond fixes the parts where they are in the forecast.", "soft")
            self._foot("Enter it", self._enter_bond, f"enter that {self._joint} was bonded")

    def _foot(self, words: str, handler: object, name: str) -> None:
        self._outcome = box("outcome").props('role="status"')
        with box("buttons"):
            button(words, handler, "main", name=name)  # type: ignore[arg-type]
            button("Close", self._place.clear, name="close the form: nothing is entered")

    async def _enter_dry_fit(self) -> None:
        bench, joint, typed = self._bench, self._joint, dict(self._typed)
        await self._record(
            f"entering the dry fit of {joint}",
            lambda progress: read_dry_fit_form(typed)(bench.path, joint, progress),
        )

    async def _enter_bond(self) -> None:
        bench, joint, typed = self._bench, self._joint, dict(self._typed)
        await self._record(
            f"entering the bond of {joint}",
            lambda progress: read_bond_form(typed)(bench.path, joint, progress),
        )

    async def _record(self, words: str, work: object) -> None:
        try:
            await self._bench.run_job(words, work)  # type: ignore[arg-type]
        except DryfitError as error:
            _say(self._outcome, error)
            return
        await self._bench.look_at_ledger()

    async def _withdraw(self, kind: str, record: int) -> None:
        path = self._bench.path
        try:
            await self._bench.compute(lambda: withdraw_by_hand(path, kind, record))
        except DryfitError as error:
            _say(self._place, error)
            return
        await self._bench.look_at_ledger()


def _say(place: Element, error: DryfitError) -> None:
    if not place.is_deleted:
        place.clear()
        with place:
            show_refusal(error)
