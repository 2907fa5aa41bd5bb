"""Observations that are taken into the document, in words and rows."""

from __future__ import annotations

from typing import Any

from dryfit.app.observation_csv import ObservationsTaken, PlannedObservation
from dryfit.store.words import count_things
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import write_estimate

NONE = "-"


def taken_blocks(taken: ObservationsTaken) -> list[Block]:
    """What was written, or would be."""
    plan = taken.plan
    verb = "taken" if taken.is_written else "would be taken"
    count = count_things(len(plan.observations), "observation")
    blocks: list[Block] = [Heading(f"{plan.project}: {count} {verb} from {plan.source}")]
    blocks.append(
        Table(
            ("line", "observation", "of", "as written", "understood as", "at", "source"),
            tuple(_row(item) for item in plan.observations),
            right=frozenset({0, 4}),
        )
    )
    if plan.dimensions:
        said = "added for it" if taken.is_written else "would be added for it"
        count = count_things(len(plan.dimensions), "dimension")
        blocks.append(Sentence(f"{count} {said}: {', '.join(plan.dimensions)}", mark=True))
    if taken.is_written:
        blocks.append(Sentence(f"{plan.path.name} holds them now; `dryfit schedule` adjusts them", mark=True))
    else:
        blocks.append(Sentence("nothing was written; leave --look out to write it", mark=True))
    return blocks


def taken_plain(taken: ObservationsTaken) -> dict[str, Any]:
    """Keys of `dryfit observation take --json` and `dryfit observation add --json`."""
    plan = taken.plan
    return {
        "project": plan.project,
        "source": plan.source,
        "is_written": taken.is_written,
        "observations": [_plain(item) for item in plan.observations],
        "dimensions_added": list(plan.dimensions),
        "diff": plan.diff,
    }


def _plain(item: PlannedObservation) -> dict[str, Any]:
    reads = item.reads
    is_ratio = bool(reads.over)
    return {
        "line": item.line or None,
        "id": reads.id,
        "of": [{"dimension": name, "factor": factor} for name, factor in reads.terms],
        "over": reads.over or None,
        "value_mm": None if is_ratio else reads.value.value,
        "std_mm": None if is_ratio else reads.value.std,
        "ratio": reads.value.value if is_ratio else None,
        "ratio_std": reads.value.std if is_ratio else None,
        "given_at": reads.given_at,
        "stated": reads.stated,
        "source": reads.source or None,
        "date": reads.date or None,
        "reliability": reads.reliability or None,
    }


def _row(item: PlannedObservation) -> tuple[str, ...]:
    reads = item.reads
    unit = "" if reads.over else " mm"
    return (
        str(item.line or NONE),
        reads.id,
        _of(reads.terms, reads.over),
        reads.stated,
        f"{write_estimate(reads.value.value, reads.value.std)}{unit}",
        reads.given_at if not reads.over else NONE,
        reads.source or NONE,
    )


def _of(terms: tuple[tuple[str, float], ...], over: str) -> str:
    words = ""
    for name, factor in terms:
        sign = "-" if factor < 0 else "+"
        size = "" if abs(factor) == 1 else f"{abs(factor):g} x "
        words += f" {sign} {size}{name}" if words else f"{'-' if factor < 0 else ''}{size}{name}"
    return f"{words} / {over}" if over else words
