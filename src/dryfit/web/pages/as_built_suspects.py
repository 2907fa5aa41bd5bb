"""Decisions about readings of parts and about prints, each recorded with its reason."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING

from dryfit.app.as_built_page import BoardPart
from dryfit.app.reading import ReadOptions, decide_one, decide_own_shape, read_own_shape
from dryfit.view.as_built_page import own_shape_words
from dryfit.view.forecast import own_shape_of
from dryfit.web.pages.decision_form import Asked, DecisionForm
from dryfit.web.render import box, button, link, text

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
        listed = ", ".join(map(str, self._records))
        asked = (Asked("because", _WORDS[verb], "the jaws were tilted"),)
        DecisionForm(
            self._bench, self._form, f"decision about record {listed}", asked, partial(self._record, verb)
        ).draw()

    def _record(self, verb: str, typed: Mapping[str, str]) -> None:
        for record in self._records:
            decide_one(
                self._bench.path, self._part, record, verb != "leave out", typed["because"], ReadOptions()
            )


class OwnShapeDesk:
    """Whether a print is off for a reason of its own, which its machine does not share."""

    def __init__(self, bench: Bench, item: BoardPart) -> None:
        self._bench = bench
        self._item = item

    def draw(self) -> None:
        """What is decided, and the button to decide otherwise."""
        own = self._item.built.own_shape
        if own is not None:
            text("p", own_shape_words(own))
        with box("buttons"):
            if own is None:
                button(
                    "Off for a reason of its own",
                    self._open,
                    name=f"{self._item.id} is off for a reason of its own",
                )
            else:
                button(
                    "As its machine makes it",
                    self._back,
                    name=f"{self._item.id} is as its machine makes it",
                )
        self._form = box("contents")

    def _open(self) -> None:
        suspect = self._item.suspect
        asked = (
            Asked("own_shape", "Off by about, mm", "1.5", "" if suspect is None else own_shape_of(suspect)),
            Asked("because", "for a reason of its own", "one corner came off the bed"),
        )
        self._draw("the print is off for a reason of its own", asked)

    def _back(self) -> None:
        asked = (Asked("because", "As its machine makes it, because", "it was measured cold"),)
        self._draw("the print is as its machine makes it", asked)

    def _draw(self, name: str, asked: tuple[Asked, ...]) -> None:
        DecisionForm(self._bench, self._form, name, asked, self._record).draw()

    def _record(self, typed: Mapping[str, str]) -> None:
        size = read_own_shape(typed["own_shape"]) if "own_shape" in typed else 0.0
        decide_own_shape(self._bench.path, self._item.id, size, typed["because"], ReadOptions())
