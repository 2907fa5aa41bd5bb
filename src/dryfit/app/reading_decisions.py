"""Decisions about readings and prints, each with its reason.

A reading is left out of the forecast, or counted again. A print is taken as off for a reason of its own, or again as
what its machine makes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dryfit.model.printing import OwnShape
from dryfit.store.ledger import LedgerRecord

READING_DECISION = "reading decision"
OWN_SHAPE = "own shape"


def left_out_readings(records: Sequence[LedgerRecord]) -> Mapping[int, str]:
    """By record of a reading: why it is left out. The latest decision about a reading counts."""
    decided: dict[int, str] = {}
    for record in sorted(records, key=lambda item: item.id):
        if record.kind == READING_DECISION:
            reading = int(record.payload["reading"])
            decided[reading] = "" if record.payload["counts"] else str(record.payload["because"])
    return {reading: because for reading, because in decided.items() if because}


def own_shapes_of(records: Sequence[LedgerRecord]) -> Mapping[int, OwnShape]:
    """By record of a print: how far it is off for a reason of its own. The latest decision about a print counts."""
    decided: dict[int, OwnShape] = {}
    for record in sorted(records, key=lambda item: item.id):
        if record.kind == OWN_SHAPE:
            payload = record.payload
            decided[int(payload["print"])] = OwnShape(
                record.id, float(payload["std_mm"]), str(payload["because"]), str(payload.get("by", ""))
            )
    return {made: item for made, item in decided.items() if item.std_mm > 0}
