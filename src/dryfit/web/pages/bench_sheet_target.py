"""What lies on the bench: the test artefact of a machine, or a printed part."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import TYPE_CHECKING

from dryfit.app.artefact_records import RecordedArtefact
from dryfit.app.as_built_page import gather_board
from dryfit.app.inspecting import Proposed
from dryfit.app.machine_page_body import body_edges, part_edges
from dryfit.app.part_bench import AtHand
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.web.pages.machine_answers import Answers
from dryfit.web.render import link

if TYPE_CHECKING:
    from dryfit.web.bench import Bench


class Target(ABC):
    """Something that is read, by its id; at_hand: the project that it belongs to, where that is open for it."""

    def __init__(self, bench: Bench, id: str) -> None:
        self.id = id
        self.at_hand: AtHand | None = None
        self._bench = bench

    @abstractmethod
    def edges(self, body: RecordedArtefact) -> Array | None:
        """(k, 2, 3) what is drawn of it [mm]; None where nothing of its shape is known."""

    @abstractmethod
    def link(self, classes: str = "button") -> None:
        """A link to the sheet on which its readings are judged."""

    @abstractmethod
    async def planned(self, measure: str) -> Proposed | None:
        """What the inspection plan says of a measure, where there is one."""


class MachineTarget(Target):
    """The artefact that was printed last on a machine."""

    def edges(self, body: RecordedArtefact) -> Array | None:
        return body_edges(self._bench.path, body)

    def link(self, classes: str = "button") -> None:
        link(f"sheet of {self.id}", f"/machine?show={self.id}", classes)

    async def planned(self, measure: str) -> Proposed | None:
        return None


class PartTarget(Target):
    """The print of a part of which the assembly is made."""

    def __init__(self, bench: Bench, answers: Answers, id: str) -> None:
        super().__init__(bench, id)
        self._answers = answers
        self.at_hand = bench.at_hand

    def edges(self, body: RecordedArtefact) -> Array | None:
        snapshot = self._bench.snapshot
        return None if snapshot is None else part_edges(snapshot, self.id)

    def link(self, classes: str = "button") -> None:
        link(f"{self.id} on the board", f"/as-built?show={self.id}", classes)

    async def planned(self, measure: str) -> Proposed | None:
        snapshot, at_hand = self._bench.snapshot, self._bench.at_hand
        if snapshot is None:
            return None
        board = await self._answers.get(("board",), lambda: gather_board(snapshot, at_hand))
        if isinstance(board, DryfitError):
            return None
        item = board.part(self.id)
        plan = None if item is None else item.plan
        found = () if plan is None else (*plan.readings, *plan.done)
        return next((row for row in found if row.id == measure), None)
