"""The parts as built on one board: the state of each, what was read of it and decided about it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from dryfit.app.as_built import AsBuilt
from dryfit.app.bond_records import Built, read_built
from dryfit.app.bonding import JointReport, enter_bond, enter_dry_fit
from dryfit.app.forecast import learn_chain
from dryfit.app.inspecting import InspectionPlan, InspectOptions, PartPlan, plan_inspection
from dryfit.app.instruments import instruments_for
from dryfit.app.ledger_reading import read_records
from dryfit.app.links import Link
from dryfit.app.live import Snapshot
from dryfit.app.part_bench import AtHand
from dryfit.app.prints import Answers, PrintRefused, read_angles
from dryfit.app.reading_decisions import READING_DECISION
from dryfit.app.remedying import Taken, taken_remedies
from dryfit.model.finding import State
from dryfit.model.forecast import AsBuiltBasis, SuspectPart, SuspectReading
from dryfit.store.ledger import LedgerRecord

Progress = Callable[[int, int], None]
BoardState = Literal[
    "not printed",
    "printed",
    "measured",
    "accepted",
    "cannot tell",
    "rejected",
    "failed",
    "other shape",
    "bonded",
]
BOARD_STATES: tuple[BoardState, ...] = (
    "rejected",
    "failed",
    "other shape",
    "cannot tell",
    "printed",
    "measured",
    "accepted",
    "bonded",
    "not printed",
)


@dataclass(frozen=True, slots=True)
class ReadingShown:
    """A reading of the print of a part as built.

    number       of its measure on the sheet; None where the part has no such measure any more
    expected_mm  what it was expected to show before any part was read, at 20 C; None where it is left out
    left_out     why it is left out; "" where it counts
    kept         why it was kept although it was in doubt; "" where nothing was said
    """

    record: int
    number: int | None
    value_mm: float
    instrument: str
    temp_c: float | None
    at: str
    expected_mm: float | None
    is_confirmed: bool
    left_out: str
    kept: str


@dataclass(frozen=True, slots=True, eq=False)
class BoardPart:
    """One part.

    plan     what to read of it and what was read; None where it is not printed as it is now
    suspect  where its readings together contradict those of the other parts
    """

    id: str
    state: BoardState
    built: AsBuilt
    plan: PartPlan | None
    readings: tuple[ReadingShown, ...]
    suspects: tuple[SuspectReading, ...]
    joints: tuple[str, ...]
    suspect: SuspectPart | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Board:
    """All parts as built.

    parts   in the order of the document
    plan    the inspection plan of the project
    basis   what the forecast owes to them; None where nothing was printed
    hand    handwork, dry fits and bonds that count
    taken   remedies that were decided on
    """

    project: str
    parts: tuple[BoardPart, ...]
    plan: InspectionPlan
    basis: AsBuiltBasis | None
    hand: Built
    taken: tuple[Taken, ...] = ()

    def part(self, id: str) -> BoardPart | None:
        """The part of an id; None where there is none."""
        return next((item for item in self.parts if item.id == id), None)

    def of(self, state: BoardState) -> tuple[BoardPart, ...]:
        """The parts in a state."""
        return tuple(item for item in self.parts if item.state == state)


def gather_board(snapshot: Snapshot, at_hand: AtHand | None = None) -> Board:
    """The board of a state of the project. at_hand: of the same project, so that nothing is found twice.

    Raises what reading the ledger raises.
    """
    chain = snapshot.chain
    if chain.as_built is None:
        raise ValueError("the state of the project was taken without its parts as built")
    find = (at_hand or AtHand(snapshot.opened)).measures_of
    records = read_records(snapshot.opened.folder)
    plan = plan_inspection(
        chain, chain.as_built, instruments_for(chain.project, records), InspectOptions(), find
    )
    plans = {item.part: item for item in plan.parts}
    hand = read_built(records)
    printed = {item.part: item.print.record for item in chain.as_built.parts if item.print is not None}
    bonded = {
        name
        for bond in hand.bonds
        for name, print in zip(bond.parts, bond.prints, strict=True)
        if printed.get(name) == print
    }
    expected = _expected(snapshot)
    kept = _kept(records)
    basis = snapshot.report.basis
    suspects = () if basis is None else basis.suspects
    of_parts = {} if basis is None else {item.part: item for item in basis.suspect_parts}
    parts = []
    for built in chain.as_built.parts:
        own = plans.get(built.part)
        parts.append(
            BoardPart(
                built.part,
                _state(built, own, built.part in bonded),
                built,
                own,
                _readings(built, own, expected, kept),
                tuple(item for item in suspects if item.part == built.part),
                tuple(joint.id for joint in chain.project.joints if built.part in joint.parts),
                of_parts.get(built.part),
            )
        )
    return Board(chain.project.name, tuple(parts), plan, basis, hand, taken_remedies(records))


def _state(built: AsBuilt, plan: PartPlan | None, is_bonded: bool) -> BoardState:
    if not built.is_printed:
        return built.state
    verdicts = [item.done.verdict for item in (() if plan is None else plan.done) if item.done is not None]
    if "reject" in verdicts:
        return "rejected"
    if is_bonded:
        return "bonded"
    if "cannot tell" in verdicts:
        return "cannot tell"
    if "accept" in verdicts:
        return "accepted"
    return "measured" if built.state == "measured" else "printed"


def _expected(snapshot: Snapshot) -> dict[int, float]:
    """By record of a reading that counts: what it was expected to show."""
    known = learn_chain(snapshot.chain)
    if known is None:
        return {}
    pairs = zip(known.readings, known.expected_mm, strict=False)
    return {item.reading.record: float(value) for item, value in pairs}


def _kept(records: Sequence[LedgerRecord]) -> dict[int, str]:
    """By record of a reading: why it counts, where that was decided last."""
    said: dict[int, str] = {}
    for record in sorted(records, key=lambda item: item.id):
        if record.kind == READING_DECISION:
            because = str(record.payload["because"]) if record.payload["counts"] else ""
            said[int(record.payload["reading"])] = because
    return said


def _readings(
    built: AsBuilt, plan: PartPlan | None, expected: dict[int, float], kept: dict[int, str]
) -> tuple[ReadingShown, ...]:
    numbers: dict[int, int] = {}
    for item in () if plan is None else plan.done:
        numbers |= dict.fromkeys(() if item.done is None else item.done.records, item.number)
    return tuple(
        ReadingShown(
            record=item.reading.record,
            number=numbers.get(item.reading.record),
            value_mm=item.reading.value_mm,
            instrument=item.reading.instrument,
            temp_c=item.reading.temp_c,
            at=item.reading.at,
            expected_mm=expected.get(item.reading.record),
            is_confirmed=item.reading.is_confirmed,
            left_out=item.left_out,
            kept=kept.get(item.reading.record, ""),
        )
        for item in built.readings
    )


def readable_parts(snapshot: Snapshot) -> tuple[str, ...]:
    """Ids of the parts of which there is a good print of the present shape."""
    as_built = snapshot.chain.as_built
    return () if as_built is None else tuple(item.part for item in as_built.parts if item.is_printed)


def built_link(snapshot: Snapshot | None) -> Link:
    """The link of the parts as built: good prints of the present shape, of all parts, and how many were read.

    Not checked while a printed part is unread, caution where a print failed or a reading is in doubt.
    """
    as_built = None if snapshot is None else snapshot.chain.as_built
    if snapshot is None or as_built is None or not any(item.prints for item in as_built.parts):
        return Link("as built")
    basis = snapshot.report.basis
    states = [item.state for item in as_built.parts]
    is_doubtful = (
        bool(basis is not None and (basis.suspects or basis.suspect_parts))
        or "failed" in states
        or "other shape" in states
    )
    state: State = "not checked" if "printed" in states else "caution" if is_doubtful else "pass"
    printed = sum(1 for item in as_built.parts if item.is_printed)
    return Link("as built", state, printed, len(states), measured=states.count("measured"))


def read_print_form(typed: Mapping[str, str]) -> Answers:
    """What was typed in the form of a print. Raises PrintRefused for what is no number or pose."""
    given = {key: words.strip() for key, words in typed.items() if words.strip()}
    return Answers(
        result=given.get("result"),
        machine=given.get("machine"),
        material=given.get("material"),
        bed=read_angles(given["bed"]) if "bed" in given else None,
        release=given.get("release"),
        spool=given.get("spool"),
        started=given.get("started"),
        ended=given.get("ended"),
        failed_at_mm=_number(given.get("failed_at_mm"), "--failed-at"),
        because=given.get("because"),
        hours=_number(given.get("hours"), "--hours"),
        grams=_number(given.get("grams"), "--grams"),
        note=given.get("note"),
        is_uncorrected=given.get("uncorrected") == "yes",
        by=given.get("by", ""),
    )


Enter = Callable[[Path, str, Progress], JointReport]


def read_dry_fit_form(typed: Mapping[str, str]) -> Enter:
    """What was typed in the form of a dry fit, ready to be entered for a joint of a project."""

    def enter(path: Path, joint: str, progress: Progress) -> JointReport:
        said = typed.get("result", ""), typed.get("note", ""), typed.get("by", "")
        return enter_dry_fit(path, joint, said[0], _gaps(typed), note=said[1], by=said[2], progress=progress)

    return enter


def read_bond_form(typed: Mapping[str, str]) -> Enter:
    """The same of a bond. Entering raises PrintRefused for a temperature that is no number."""

    def enter(path: Path, joint: str, progress: Progress) -> JointReport:
        given = {key: words.strip() for key, words in typed.items() if words.strip()}
        return enter_bond(
            path,
            joint,
            given.get("at"),
            given.get("adhesive"),
            _gaps(typed),
            as_dry_fitted="as_dry_fitted" in given,
            despite=given.get("despite", ""),
            because=given.get("because", ""),
            temp_c=_number(given.get("temp"), "--temp"),
            by=given.get("by", ""),
            progress=progress,
        )

    return enter


def _gaps(typed: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(word.strip() for word in typed.get("gaps", "").split(",") if word.strip())


def _number(text: str | None, where: str) -> float | None:
    if text is None:
        return None
    try:
        return float(text)
    except ValueError as error:
        raise PrintRefused(f'"{text}" is no number', where, "write a number such as 4.5") from error
