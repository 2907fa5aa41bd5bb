"""What is known of printed parts, at a hold point."""

from __future__ import annotations

from collections.abc import Iterator

from dryfit.app.hold_lines import Check
from dryfit.model.forecast import AsBuiltBasis


def as_built_lines(basis: AsBuiltBasis | None) -> Iterator[Check]:
    """A line for the readings on which the forecast rests, and one for each that the others contradict."""
    if basis is None:
        return
    read = dict(basis.readings)
    unread = [part for part in basis.printed if part not in read]
    if basis.count:
        yield Check(
            "as built", f"{len(read)} parts", "pass", f"the forecast rests on {basis.count} readings of them"
        )
    if unread:
        yield Check(
            "as built",
            f"{len(unread)} parts",
            "not checked",
            f"printed and not read: {', '.join(unread[:6])}{' ...' if len(unread) > 6 else ''}",
            "dryfit inspect says what is worth reading",
        )
    for whole in basis.suspect_parts:
        yield Check(
            "as built",
            whole.part,
            "caution",
            f"what was read of it contradicts the other parts, by up to {abs(whole.off_mm):.2g} mm",
            f"where it is off for a reason of its own, say so: dryfit read {whole.part} --own-shape MM --because TEXT",
        )
    for item in basis.suspects:
        records = ", ".join(str(record) for record in item.records)
        yield Check(
            "as built",
            item.part,
            "caution",
            f"a reading contradicts the others by {abs(item.normalised):.1f} standard uncertainties (ledger record "
            f"{records}){', though the reader confirmed it' if item.is_confirmed else ''}",
            f"read it again, or leave it out: dryfit read {item.part} --leave-out {item.records[0]} --because TEXT",
        )
    for text in basis.cautions:
        part, _, what = text.partition(": ")
        yield Check("as built", part, "caution", what, "look at it before anything is bonded to it")
