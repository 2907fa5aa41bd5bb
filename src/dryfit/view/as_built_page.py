"""The board of parts as built in words, rows and marks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from dryfit.app.as_built_page import BOARD_STATES, Board, BoardPart, BoardState, ReadingShown
from dryfit.app.inspecting import Proposed
from dryfit.app.links import Link
from dryfit.model.characteristic import Kind
from dryfit.model.finding import State
from dryfit.model.forecast import CharacteristicForecast, ForecastReport, SuspectReading
from dryfit.model.part import Part
from dryfit.model.printing import OwnShape, Print
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import (
    NONE,
    write_estimate,
    write_limits,
    write_number,
    write_probability,
)
from dryfit.view.forecast import basis_blocks, state_of, suspect_part_sentence, suspect_sentence
from dryfit.view.inspection import acceptance_words, capability_words
from dryfit.view.prints import print_words


@dataclass(frozen=True, slots=True)
class Wash:
    """How a state of a part is drawn: a shape and its word, then a colour, and how it is hatched.

    hatch   0 none, 1 rising, 2 falling, 3 both
    colour  of Okabe and Ito's set (2008, memory); "" for paper
    """

    shape: str
    colour: str
    hatch: int


WASHES: Mapping[BoardState, Wash] = {
    "rejected": Wash("■", "#D55E00", 0),
    "failed": Wash("✕", "#D55E00", 3),
    "other shape": Wash("◇", "#CC79A7", 2),
    "cannot tell": Wash("△", "#E69F00", 0),
    "printed": Wash("◐", "#56B4E9", 0),
    "measured": Wash("◑", "#56B4E9", 1),
    "accepted": Wash("●", "#009E73", 0),
    "bonded": Wash("◆", "#009E73", 1),
    "not printed": Wash("○", "", 0),
}
_MEANING: Mapping[BoardState, str] = {
    "rejected": "a length of it is out of what the assembly takes",
    "failed": "no good print yet",
    "other shape": "printed of another mesh than the document has",
    "cannot tell": "too near a limit for the instrument",
    "printed": "not read yet",
    "measured": "read; nothing limits what was read",
    "accepted": "what was read is within its limits",
    "bonded": "it stays where it is",
    "not printed": "still to come",
}
STATE_OF_BOARD: Mapping[BoardState, State] = {
    "rejected": "stop",
    "failed": "stop",
    "other shape": "stop",
    "cannot tell": "caution",
    "printed": "not checked",
    "measured": "pass",
    "accepted": "pass",
    "bonded": "pass",
    "not printed": "not checked",
}


_AMISS: Mapping[BoardState, str] = {
    "rejected": "rejected",
    "cannot tell": "cannot be told",
    "failed": "failed",
    "other shape": "of another shape",
}


def built_figure(link: Link) -> str:
    """The one figure of the link: "5 of 27 printed, 3 measured"."""
    return f"{link.good} of {link.of} printed, {link.measured} measured"


def wash_entries() -> list[dict[str, object]]:
    """What the view draws the states of parts by, the gravest first."""
    return [
        {
            "id": state,
            "shape": WASHES[state].shape,
            "colour": WASHES[state].colour,
            "hatch": WASHES[state].hatch,
        }
        for state in BOARD_STATES
    ]


def meaning_of(state: BoardState) -> str:
    """What a state says."""
    return _MEANING[state]


def board_heading(board: Board) -> Heading:
    """How far the parts are printed and read, and what is amiss."""
    printed = sum(1 for item in board.parts if item.built.is_printed)
    read = sum(1 for item in board.parts if item.built.state == "measured")
    said = [f"{printed} of {len(board.parts)} parts printed, {read} measured"]
    said += [f"{len(board.of(state))} {words}" for state, words in _AMISS.items() if board.of(state)]
    states = {STATE_OF_BOARD[item.state] for item in board.parts}
    state: State | None = "stop" if "stop" in states else "caution" if "caution" in states else None
    return Heading(f"{board.project}: {', '.join(said)}", state)


def board_blocks(board: Board) -> list[Block]:
    """What the forecast owes to the parts as built."""
    if board.basis is None:
        return [Sentence("Enter a print when it comes off the bed: choose its part.")]
    basis = board.basis
    elsewhere = [suspect_sentence(item, basis.limit) for item in basis.suspects]
    elsewhere += [suspect_part_sentence(item) for item in basis.suspect_parts]
    return [item for item in basis_blocks(basis) if item not in elsewhere]


def suspect_words(board: Board, item: SuspectReading) -> Sentence:
    """A reading that the others contradict."""
    return suspect_sentence(item, 0.0 if board.basis is None else board.basis.limit)


def own_shape_words(own: OwnShape) -> str:
    """A print that is taken as off for a reason of its own."""
    return (
        f"Taken as off for a reason of its own, by about {write_number(own.std_mm)} mm: {own.because} "
        f"(record {own.record})."
    )


def part_heading(item: BoardPart) -> Heading:
    """A part and its state."""
    return Heading(f"{item.id}: {item.state} ({meaning_of(item.state)})", STATE_OF_BOARD[item.state])


def part_blocks(item: BoardPart) -> list[Block]:
    """What the builder must know of a part."""
    blocks: list[Block] = []
    if item.built.caution:
        blocks.append(Sentence(f"{item.built.caution}.", "caution"))
    if item.plan is not None and item.plan.note:
        blocks.append(Sentence(f"{item.plan.note}.".capitalize()))
    return blocks


def print_line(item: Print) -> str:
    """One print with what it took."""
    took = [
        f"{write_number(value, decimals)} {unit}"
        for value, decimals, unit in ((item.hours, 1, "h"), (item.grams, 0, "g"))
        if value is not None
    ]
    more = [*took, *(f"spool {item.spool}" for _ in "x" if item.spool)]
    more += [f"release {item.release}"] if item.release else []
    when = f"{item.moment[:10]}: " if item.moment else ""
    return f"{when}{print_words(item)}{''.join(f', {words}' for words in more)}"


def planned_words(part: Part) -> str:
    """How the document has a part printed: what is left empty in the form of a print is taken from it."""
    angles = ", ".join(write_number(angle) for angle in part.bed.euler_xyz_deg)
    copy = "" if part.compensation is None else ", as its corrected copy"
    return (
        f"The document has it printed on {part.machine} in {part.material}, turned by {angles} degrees{copy}."
    )


def print_state(item: Print) -> State:
    """Good passes, a failed one does not."""
    return "pass" if item.result == "good" else "stop" if item.result == "failed" else "caution"


READING_HEADS = ("record", "measure", "mm", "than expected", "with", "at C", "entered", "")


def reading_row(item: ReadingShown) -> tuple[str, ...]:
    """Cells of one reading. Expected is what was known before any part was read, at 20 C."""
    off = NONE if item.expected_mm is None else f"{write_number(item.value_mm - item.expected_mm, 2)} mm"
    if item.expected_mm is not None and item.value_mm > item.expected_mm:
        off = f"+{off}"
    said = [f"left out: {item.left_out}"] if item.left_out else []
    said += [f"kept: {item.kept}"] if item.kept else []
    said += ["confirmed"] if item.is_confirmed else []
    return (
        str(item.record),
        NONE if item.number is None else str(item.number),
        write_number(item.value_mm),
        off,
        item.instrument,
        NONE if item.temp_c is None else write_number(item.temp_c, 1),
        item.at[:16].replace("T", " "),
        "; ".join(said),
    )


_VERDICTS: Mapping[str | None, State] = {
    "accept": "pass",
    "reject": "stop",
    "cannot tell": "caution",
    None: "not checked",
}
_VERDICT_WORDS: Mapping[str | None, str] = {
    "accept": "accepted",
    "reject": "rejected",
    "cannot tell": "cannot tell",
    None: "nothing limits it",
}


def verdict_of(item: Proposed) -> tuple[State, str]:
    """State and word of what was read of a measure."""
    verdict = None if item.done is None else item.done.verdict
    return _VERDICTS[verdict], _VERDICT_WORDS[verdict]


def measured_words(item: Proposed) -> str:
    """What was read of a measure: "measure 3, outside: 120.31 mm, mean of 2"."""
    done = item.done
    if done is None:
        return f"measure {item.number}, {item.kind}: {write_number(item.nominal_mm, 2)} mm"
    times = f", mean of {len(done.records)}" if len(done.records) > 1 else ""
    return f"measure {item.number}, {item.kind}: {write_number(done.mean_mm)} mm{times}"


def accept_words(item: Proposed) -> str:
    """Between which values it is accepted, by what, and what the instrument can tell."""
    accept = acceptance_words(item.acceptance, item.limits_from)
    able = capability_words(item)
    return accept if able == NONE else f"{accept}; capability {able}"


def acceptance_picture(item: Proposed) -> CharacteristicForecast | None:
    """What was read, as a characteristic in its limits picture; None where nothing limits it or nothing was read."""
    limits, done = item.acceptance, item.done
    if limits is None or done is None:
        return None
    return CharacteristicForecast(
        id=f"measure {item.number}",
        kind=_KIND,
        unit="mm",
        nominal=item.nominal_mm,
        predicted=done.mean_mm,
        std=limits.std,
        low=done.mean_mm,
        high=done.mean_mm,
        lower_limit=limits.lower,
        upper_limit=limits.upper,
        p_out=0.0,
        worst_low=done.mean_mm,
        worst_high=done.mean_mm,
        linear_minus_exact=0.0,
        contributions=(),
    )


_KIND: Kind = "distance"


def acceptance_title(item: Proposed) -> str:
    """Of the picture, for those who do not see it."""
    limits, done = item.acceptance, item.done
    if limits is None or done is None:
        return measured_words(item)
    low, high = write_limits(limits.lower, limits.upper), write_estimate(done.mean_mm, limits.std)
    return f"read {high} mm, limits {low}, {verdict_of(item)[1]}"


@dataclass(frozen=True, slots=True, eq=False)
class Before:
    """A characteristic before and after the readings. before: None where nothing was read."""

    item: CharacteristicForecast
    before: CharacteristicForecast | None
    state: State
    has_changed: bool


def before_and_after(report: ForecastReport) -> tuple[Before, ...]:
    """Characteristics with what was known before any part was read; those that changed most first."""
    prior = {item.id: item for item in report.prior}
    rows = [
        Before(item, prior.get(item.id), state_of(item, report.risk), _has_changed(item, prior.get(item.id)))
        for item in report.characteristics
    ]
    return tuple(sorted(rows, key=lambda row: -_moved(row)))


def _moved(row: Before) -> float:
    before, now = row.before, row.item
    if before is None or before.p_out is None or now.p_out is None:
        return 0.0
    return abs(now.p_out - before.p_out) + (1.0 - now.std / before.std if before.std > 0 else 0.0)


def _has_changed(now: CharacteristicForecast, before: CharacteristicForecast | None) -> bool:
    return before is not None and _figures(now) != _figures(before)


def _figures(item: CharacteristicForecast) -> tuple[str, str]:
    return f"{write_estimate(item.predicted, item.std)} {item.unit}", write_probability(item.p_out)


def figure_words(item: CharacteristicForecast) -> str:
    """Value and probability out of limits: "0.12(4) mm, outside 3 %"."""
    value, outside = _figures(item)
    return f"{value}, outside {outside}"


def next_heading(board: Board) -> str:
    """How much there is to measure, in a sentence."""
    found = [row for item in board.parts if item.plan is not None for row in item.plan.readings]
    if not found:
        return "No reading would lessen a risk worth a minute."
    minutes = write_number(sum(row.minutes for row in found), 0)
    return f"{len(found)} measures, {minutes} minutes in all; the most telling a minute first."


def next_table(parts: tuple[BoardPart, ...], most: int | None = None) -> Table:
    """What is worth measuring, the most a minute first. most: of so many readings; None: of all."""
    found = sorted(
        ((reading, part.id) for part in parts if part.plan is not None for reading in part.plan.readings),
        key=lambda row: -row[0].gain_per_minute,
    )
    rows = tuple(
        (
            part,
            f"measure {item.number}, {item.kind}",
            f"{item.repeats} with {item.instrument}",
            write_number(item.minutes, 1),
            write_probability(item.gain),
            ", ".join(name for name, _ in item.helps) or NONE,
        )
        for item, part in found[:most]
    )
    return Table(("part", "what", "times", "minutes", "risk less by", "tells of"), rows, frozenset({3, 4}))


def hand_words(board: Board, joint: str) -> tuple[State, str]:
    """How far a joint is: dry-fitted, bonded."""
    bond, fit = board.hand.bond(joint), board.hand.dry_fit(joint)
    if bond is not None:
        when = (bond.done_at or bond.at)[:10]
        glue = f" with {bond.adhesive}" if bond.adhesive else ""
        return "pass", f"bonded {when}{glue} (record {bond.record})"
    if fit is not None:
        gaps = ", ".join(write_estimate(gap.value_mm, gap.std_mm) for gap in fit.gaps)
        measured = f", gaps {gaps} mm" if gaps else ""
        state: State = "pass" if fit.result == "goes" else "stop"
        return state, f"dry-fitted {fit.at[:10]}: {fit.result}{measured} (record {fit.record})"
    return "not checked", "not dry-fitted yet"
