"""Characteristics before and after a change, as rows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dryfit.app.outcome_changes import OutcomeChange
from dryfit.view.blocks import Table
from dryfit.view.digits import write_estimate, write_probability


def outcome_table(changes: Sequence[OutcomeChange], before: str, after: str) -> Table:
    """One row each; before and after: the words for the two states."""
    rows = tuple(
        (
            item.id,
            f"{write_estimate(item.predicted_before, item.std_before)} {item.unit}",
            f"{write_estimate(item.predicted_after, item.std_after)} {item.unit}",
            write_probability(item.p_out_before),
            write_probability(item.p_out_after),
        )
        for item in changes
    )
    heads = ("characteristic", before, after, f"outside {before}", f"outside {after}")
    return Table(heads, rows, frozenset({1, 2, 3, 4}), tuple(item.state_after for item in changes))


def outcomes_plain(changes: Sequence[OutcomeChange]) -> list[dict[str, Any]]:
    """The same for --json."""
    return [
        {
            "id": item.id,
            "unit": item.unit,
            "predicted_before": item.predicted_before,
            "std_before": item.std_before,
            "p_out_before": item.p_out_before,
            "state_before": item.state_before,
            "predicted_after": item.predicted_after,
            "std_after": item.std_after,
            "p_out_after": item.p_out_after,
            "state_after": item.state_after,
        }
        for item in changes
    ]
