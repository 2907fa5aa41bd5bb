"""Readings in the ledger: record -> payload and back, with corrections and withdrawals applied."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dryfit.app.artefact_records import measure_from, measure_payload
from dryfit.base.errors import LedgerRefused
from dryfit.model.artefact import Measure
from dryfit.model.reading import Reading
from dryfit.store.ledger import LedgerRecord

READING = "reading"


@dataclass(frozen=True, slots=True)
class Entry:
    """A reading that is about to be recorded; the ledger gives it number and time. See model.reading.Reading."""

    machine: str
    artefact: int
    measure: str
    value_mm: float | None
    instrument: str
    temp_c: float | None = None
    corrects: int | None = None
    is_withdrawn: bool = False
    is_confirmed: bool = False
    by: str = ""
    csv_sha256: str | None = None
    part: str = ""
    ends: Measure | None = None


def reading_payload(entry: Entry) -> dict[str, Any]:
    """What the ledger keeps of a reading; of one from a file the hash of the file as well."""
    payload: dict[str, Any] = {
        "machine": entry.machine,
        "artefact": entry.artefact,
        "measure": entry.measure,
        "value_mm": entry.value_mm,
        "instrument": entry.instrument,
        "temp_c": entry.temp_c,
        "corrects": entry.corrects,
        "is_withdrawn": entry.is_withdrawn,
        "is_confirmed": entry.is_confirmed,
        "by": entry.by,
    }
    if entry.csv_sha256 is not None:
        payload["csv_sha256"] = entry.csv_sha256
    if entry.ends is not None:
        payload |= {"part": entry.part, "ends": measure_payload(entry.ends)}
    return payload


def reading_from(record: LedgerRecord) -> Reading:
    """The reading of a record that holds a value. Raises LedgerRefused where it holds none."""
    held = record.payload
    try:
        return Reading(
            record=record.id,
            at=record.recorded_at,
            machine=str(held["machine"]),
            artefact=int(held["artefact"]),
            measure=str(held["measure"]),
            value_mm=float(held["value_mm"]),
            instrument=str(held["instrument"]),
            temp_c=None if held["temp_c"] is None else float(held["temp_c"]),
            corrects=held["corrects"],
            is_withdrawn=bool(held["is_withdrawn"]),
            is_confirmed=bool(held["is_confirmed"]),
            by=str(held["by"]),
            part=str(held.get("part", "")),
            ends=None if held.get("ends") is None else measure_from(held["ends"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        do = "update dryfit, or restore the ledger from a backup"
        raise LedgerRefused(f"the reading cannot be read: {error}", f"record {record.id}", do) from error


def readings_of(records: Sequence[LedgerRecord], machine: str | None, artefact: int) -> tuple[Reading, ...]:
    """The readings of an artefact that count, oldest first.

    machine : None for a print of a part, whose record says on which machine it was printed
    A correcting record replaces the reading that it names, and a withdrawal removes it. Where several records
    correct the same reading, one after another or from two benches, the latest of them counts.
    """
    own = [
        record
        for record in sorted(records, key=lambda item: item.id)
        if record.kind == READING
        and machine in (None, record.payload.get("machine"))
        and record.payload.get("artefact") == artefact
    ]
    first: dict[int, int] = {}  # record -> the reading that its chain of corrections began with
    latest: dict[int, LedgerRecord] = {}
    for record in own:
        named = record.payload.get("corrects")
        first[record.id] = first.get(named, record.id) if isinstance(named, int) else record.id
        latest[first[record.id]] = record
    counting = sorted(latest.values(), key=lambda item: item.id)
    return tuple(reading_from(record) for record in counting if not record.payload.get("is_withdrawn"))
