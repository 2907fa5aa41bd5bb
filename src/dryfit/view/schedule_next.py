"""Which measurement is worth most, in rows."""

from __future__ import annotations

from collections.abc import Iterator

from dryfit.app.schedule_worth import Worth
from dryfit.view.blocks import Block, Sentence, Table
from dryfit.view.digits import write_number

_SHOWN = 10


def next_blocks(worth: Worth | None) -> Iterator[Block]:
    """What the ranking means, then the candidates; nothing where none was asked for."""
    if worth is None:
        return
    count = len(worth.features)
    if count == 0:
        yield Sentence(
            "No feature with limits takes its nominal from a dimension: measurements are ranked by what is known least."
        )
    else:
        yield Sentence(
            f"If the model were made exactly to this schedule, {worth.chance:.2g} of {count} features with limits "
            "would be out of them for the true prototype (a sum of probabilities); "
            f"{worth.undecided} of them with a chance above 5 %. Each measurement below is ranked by what it would "
            "leave of that sum, and where that is equal by how well the nominals would be known against their limits. "
            "How the printed parts come out is no part of this figure."
        )
    rows = [
        (
            item.words,
            write_number(item.std_mm, 2),
            "unknown" if item.std_before_mm is None else f"{item.std_before_mm:.3g}",
            f"{item.std_after_mm:.3g}",
            f"{item.chance_after:.3g}",
            str(item.undecided_after),
        )
        for item in worth.candidates[:_SHOWN]
    ]
    if rows:
        yield Sentence(f"Measured with the std of the second column ({worth.std_from}):")
        heads = ("measure", "std mm", "known now", "known then", "features out", "undecided")
        yield Table(heads, tuple(rows), frozenset({1, 2, 3, 4, 5}))
