"""Decisions about readings: left out of the forecast with a reason, or counted again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from dryfit.store.ledger import LedgerRecord

READING_DECISION = "reading decision"


def left_out_readings(records: Sequence[LedgerRecord]) -> Mapping[int, str]:
    """By record of a reading: why it is left out. The latest decision about a reading counts."""
    decided: dict[int, str] = {}
    for record in sorted(records, key=lambda item: item.id):
        if record.kind == READING_DECISION:
            reading = int(record.payload["reading"])
            decided[reading] = "" if record.payload["counts"] else str(record.payload["because"])
    return {reading: because for reading, because in decided.items() if because}
