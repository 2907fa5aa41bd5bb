"""A test artefact in rows and sentences: what it is, what to read, what that will tell, what it decides."""

from __future__ import annotations

import math
from typing import Any

from dryfit.app.artefact import ArtefactReport
from dryfit.app.artefact_effect import SMALL_MM, Decided
from dryfit.model.artefact import Measure
from dryfit.model.finding import State
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, decimals_of, write_number, write_vector
from dryfit.view.plain import to_plain
from dryfit.view.qualify import unit_of
from dryfit.view.sources import describe_figure

_SHOWN = 8


def artefact_state(report: ArtefactReport) -> State:
    """Caution where the readings would leave a characteristic open; not checked where there is none."""
    decided = [item.is_decided for item in report.decided]
    if any(item is False for item in decided):
        return "caution"
    return "pass" if any(item is True for item in decided) else "not checked"


def artefact_blocks(report: ArtefactReport) -> list[Block]:
    """Heading, sizes, expected figures, what they decide, the plan, what was assumed."""
    item = report.artefact
    recorded = "" if report.record is None else f" (ledger record {report.record})"
    blocks: list[Block] = [
        Heading(
            f"{item.machine}: test artefact, {write_vector(item.size_mm, 0)} mm{recorded}",
            artefact_state(report),
        ),
        Sentence(size_words(report)),
        *(Sentence(f"{text}.", "caution") for text in report.given_up),
        Sentence(
            "Expected before anything is printed: standard uncertainty of each figure of the machine, with points "
            f"that scatter by {write_number(report.repeatability_mm)} mm."
        ),
        expected_table(report),
        *_decided_blocks(report),
        Sentence(plan_words(report)),
        plan_table(report),
    ]
    blocks += [Sentence(f"written: {path}", mark=True) for path in report.files]
    blocks += [Sentence(f"assumed: {text}", mark=True) for text in report.assumed]
    if report.record is not None:
        name = item.machine
        blocks.append(
            Sentence(f"Next: print it, let it cool, then dryfit read {name} and dryfit qualify {name}.")
        )
    return blocks


def size_words(report: ArtefactReport) -> str:
    """Mass, volume and hours against what was allowed."""
    item = report.artefact
    hours = (
        ""
        if item.hours is None
        else (
            f", {write_number(item.hours, 1)} h at {write_number(report.flow_mm3_s, 1)} mm3/s (at most "
            f"{write_number(report.hours_limit, 1)} h)"
        )
    )
    return (
        f"{write_number(item.volume_mm3 / 1000.0, 0)} cm3, {write_number(item.mass_g, 0)} g of {item.material} (at "
        f"most {write_number(report.mass_limit_g, 0)} g){hours}; build volume "
        f"{write_vector(item.build_volume_mm, 0)} mm."
    )


def expected_table(report: ArtefactReport) -> Table:
    """Each figure: uncertainty after the readings and today."""
    rows = []
    for item in report.expected:
        unit, factor = unit_of(item.name)
        now = write_digits(item.now * factor) if item.now else _WITHOUT_STD[item.knowledge]
        rows.append((describe_figure(item.name), write_digits(item.std * factor), now, unit))
    known = {"prior": "never measured", "stated": "as stated", "estimated": "as last estimated"}
    head = known[report.expected[0].knowledge]
    return Table(("figure", "expected std", f"{head}: std", "unit"), tuple(rows), frozenset({1, 2}))


# A figure without uncertainty: nobody counts with the flare of a machine that was never measured.
_WITHOUT_STD = {"prior": "not counted", "stated": "exact", "estimated": "exact"}


def write_digits(value: float) -> str:
    """Two significant digits, as for an uncertainty; "unknown" where it is without bounds."""
    if math.isinf(value):
        return "unknown"
    if value == 0:
        return "0"
    return f"{value:.{max(0, decimals_of(value))}f}"


def _decided_blocks(report: ArtefactReport) -> list[Block]:
    if not report.decided:
        return [
            Sentence(
                "No characteristic of the project hangs on this machine: nothing to decide.", "not checked"
            )
        ]
    items = sorted(report.decided, key=_tightness)
    rows = tuple(
        (
            item.id,
            write_digits(item.now),
            write_digits(item.small),
            write_digits(item.body),
            NONE if item.half_band is None else f"+-{write_number(item.half_band)}",
            item.unit,
            _verdict(item),
        )
        for item in items
    )
    small = write_number(SMALL_MM)
    heads = ("characteristic", "std now", f"by {small} mm piece", "by this", "limits", "unit", "decided")
    states = tuple(decided_state(item) for item in items)
    return [
        Sentence(
            "What the figures of this machine alone leave open in the assembly, as standard uncertainty; decided "
            "where twice that stays within half the limits:"
        ),
        Table(heads, rows, frozenset({1, 2, 3, 4}), states),
        Sentence(decision_words(report), artefact_state(report)),
    ]


def _tightness(item: Decided) -> float:
    return -(item.body / item.half_band) if item.half_band else math.inf


def decided_state(item: Decided) -> State:
    """Pass, caution where it stays open, not checked where limits or joints leave it so."""
    if item.is_decided is None:
        return "not checked"
    return "pass" if item.is_decided else "caution"


def _verdict(item: Decided) -> str:
    if item.is_free:
        return "not checked: a free motion"
    if item.is_decided is None:
        return "not checked: no two limits"
    return "yes" if item.is_decided else "no"


def decision_words(report: ArtefactReport) -> str:
    """The one that is hardest to decide, with a small piece and with this body."""
    judged = [item for item in report.decided if item.is_decided is not None]
    if not judged:
        return "None of them has limits on both sides and firm joints: not checked."
    worst = min(judged, key=_tightness)
    small, body = write_digits(worst.small), write_digits(worst.body)
    unit = worst.unit
    left = f"A {write_number(SMALL_MM)} mm piece would leave {worst.id} uncertain by {small} {unit}"
    if math.isinf(worst.small):
        left = f"A {write_number(SMALL_MM)} mm piece would say nothing of {worst.id}"
    room = f"{write_number(worst.half_band or 0.0)} {unit}"
    text = f"{left}, this one by {body} {unit}, where {room} are free on either side."
    open_ones = [item.id for item in judged if item.is_decided is False]
    if open_ones:
        text += (
            f" Still open: {', '.join(open_ones)}. Aim at the project (--aim project), take more readings, or use a "
            "longer square."
        )
    return text


def plan_words(report: ArtefactReport) -> str:
    """How many readings, of what, with what."""
    steps = report.artefact.plan
    count = sum(step.repeats for step in steps)
    tools = ", ".join(item.id for item in report.instruments)
    return (
        f"To read: {len({step.measure for step in steps})} measures, {count} readings in all, with {tools}."
    )


def plan_table(report: ArtefactReport) -> Table:
    """The readings to take."""
    rows = []
    for step in report.artefact.plan:
        measure = report.artefact.measure(step.measure)
        rows.append(
            (
                str(measure.number),
                measure.kind,
                measure.words,
                write_nominal(measure),
                step.instrument,
                str(step.repeats),
            )
        )
    heads = ("no.", "kind", "where", "nominal in mm", "instrument", "times")
    return Table(heads, tuple(rows), frozenset({0, 3, 5}))


def write_nominal(measure: Measure) -> str:
    """Commanded value: of a square no gap."""
    return "gap 0" if measure.kind == "square" else write_number(measure.length_mm, 2)


def artefact_plain(report: ArtefactReport) -> dict[str, Any]:
    """Keys of `dryfit artefact --json`."""
    item = report.artefact
    return {
        "project": report.project,
        "machine": item.machine,
        "state": artefact_state(report),
        "record": report.record,
        "files": [str(path) for path in report.files],
        "material": item.material,
        "build_volume_mm": list(item.build_volume_mm),
        "size_mm": list(item.size_mm),
        "volume_mm3": item.volume_mm3,
        "mass_g": item.mass_g,
        "hours": item.hours,
        "flow_mm3_s": report.flow_mm3_s,
        "first_layer_height_mm": item.first_layer_height_mm,
        "repeatability_mm": report.repeatability_mm,
        "sha256": item.sha256,
        "given_up": list(report.given_up),
        "expected": [
            {"figure": figure.name, "std": figure.std, "std_now": figure.now, "knowledge": figure.knowledge}
            for figure in report.expected
        ],
        "characteristics": [_decided_plain(row) for row in report.decided],
        "plan": [
            {
                **to_plain(step),
                "number": item.measure(step.measure).number,
                "words": item.measure(step.measure).words,
            }
            for step in item.plan
        ],
        "measures": len(item.measures),
        "assumed": list(report.assumed),
    }


def _decided_plain(item: Decided) -> dict[str, Any]:
    """A standard uncertainty without bounds is null."""
    return {
        "id": item.id,
        "unit": item.unit,
        "std_now": item.now,
        "std_by_small_piece": None if math.isinf(item.small) else item.small,
        "std_by_artefact": item.body,
        "half_band": item.half_band,
        "is_decided": item.is_decided,
    }
