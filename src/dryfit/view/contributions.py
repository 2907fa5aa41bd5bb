"""The causes of one characteristic, one row each."""

from __future__ import annotations

from dryfit.base.errors import ReferenceUnknown
from dryfit.model.forecast import ForecastReport
from dryfit.view.blocks import Block, Heading, Sentence, Table
from dryfit.view.digits import write_estimate, write_limits, write_number, write_share, write_signed
from dryfit.view.forecast import state_of
from dryfit.view.sources import describe_source


def contribution_blocks(report: ForecastReport, id: str) -> list[Block]:
    """Everything known of one characteristic.

    Raises ReferenceUnknown where there is none of that id.
    """
    item = next((entry for entry in report.characteristics if entry.id == id), None)
    if item is None:
        known = ", ".join(entry.id for entry in report.characteristics)
        raise ReferenceUnknown(f'there is no characteristic "{id}"', "--why", f"known: {known or 'none'}")
    unit = item.unit
    facts = (
        ("in the model", f"{write_number(item.nominal)} {unit}"),
        ("predicted", f"{write_estimate(item.predicted, item.std)} {unit}"),
        ("95 % interval", f"{write_number(item.low)} to {write_number(item.high)} {unit}"),
        ("limits", f"{write_limits(item.lower_limit, item.upper_limit)} {unit}"),
        ("worst case", f"{write_number(item.worst_low)} to {write_number(item.worst_high)} {unit}"),
        ("first order minus exact", f"{write_number(item.linear_minus_exact, 4)} {unit}"),
        ("Monte Carlo draws", str(item.samples) if item.samples else "none needed: every source is normal"),
    )
    rows = tuple(
        (
            describe_source(cause.source),
            cause.source,
            write_share(cause.variance_share),
            f"{write_signed(cause.mean_shift, item.std)} {unit}",
        )
        for cause in item.contributions
    )
    return [
        Heading(f"{item.id} ({item.kind})", state_of(item, report.risk)),
        Table(("", ""), facts),
        Table(("cause", "source", "of variance", "moves it by"), rows, frozenset({2, 3}))
        if rows
        else Sentence("Nothing acts on it: no source has an effect."),
    ]
