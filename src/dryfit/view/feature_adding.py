"""A feature that was added, or only looked at: what it measures and what it should be."""

from __future__ import annotations

from typing import Any

from dryfit.app.feature_adding import FeatureAdded
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import NONE, write_estimate, write_limits, write_number, write_signed


def added_blocks(report: FeatureAdded) -> list[Block]:
    """Outcome, figures, reason and notes, and whether it was written."""
    found = report.measured
    nominal = NONE if found.nominal is None else write_estimate(found.nominal.value, found.nominal.std)
    deviation = NONE
    if found.deviation is not None and found.nominal is not None:
        deviation = write_signed(found.deviation, found.nominal.std)
    row = (
        NONE if found.measured is None else write_number(found.measured),
        nominal,
        deviation,
        write_limits(found.lower, found.upper),
    )
    heads = (f"measured in {found.unit}", "nominal (std)", "deviation", "limits")
    where = report.document.name
    written = f"Written into {where}." if report.written else f"Nothing was written into {where}."
    return [
        Heading(f"{report.feature.id}: {found.state}", found.state),
        Sentence(f"{report.words}."),
        Table(heads, (row,), frozenset({0, 1, 2, 3})),
        Sentence(f"{found.reason[:1].upper()}{found.reason[1:]}."),
        *([Sentence(f"Next: {found.do}.")] if found.do else []),
        *([Sentence(f"Rests on it: {', '.join(found.dependents)}.")] if found.dependents else []),
        *(Sentence(note, mark=True) for note in found.notes),
        Sentence(written),
    ]


def added_plain(report: FeatureAdded) -> dict[str, Any]:
    """Keys of `dryfit feature add --json`."""
    found = report.measured
    unit = found.unit
    return {
        "project": report.project,
        "feature": report.feature.id,
        "kind": found.kind,
        "parts": list(found.parts),
        "state": found.state,
        "reason": found.reason,
        "do": found.do,
        f"measured_{unit}": found.measured,
        f"measured_std_{unit}": found.std,
        f"nominal_{unit}": None if found.nominal is None else found.nominal.value,
        f"nominal_std_{unit}": None if found.nominal is None else found.nominal.std,
        "nominal_from": found.nominal_from,
        f"deviation_{unit}": found.deviation,
        f"lower_{unit}": found.lower,
        f"upper_{unit}": found.upper,
        "limits_from": found.limits_from,
        "notes": list(found.notes),
        "dependents": list(found.dependents),
        "diff": report.diff,
        "written": report.written,
    }
