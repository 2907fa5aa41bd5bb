"""Prints in the ledger: record -> payload and back, and which of them count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any

from dryfit.base.errors import LedgerRefused
from dryfit.model.part import Bed, Compensation
from dryfit.model.printing import Print
from dryfit.store.ledger import LedgerRecord

PRINT = "print"
_OF_THE_RECORD = frozenset({"record", "at"})


def print_payload(item: Print) -> dict[str, Any]:
    """What the ledger keeps of a print: every field under its own name; number and time are the record's own."""
    plain: dict[str, Any] = {
        field.name: getattr(item, field.name) for field in fields(item) if field.name not in _OF_THE_RECORD
    }
    made = item.compensation
    return {
        **plain,
        "bed": list(item.bed.euler_xyz_deg),
        "compensation": None if made is None else _compensation_payload(made),
    }


def print_from(record: LedgerRecord) -> Print:
    """The print of a record. Keys that this version does not know are left alone.

    Raises LedgerRefused where a field is missing or is of another shape.
    """
    names = {field.name for field in fields(Print)} - _OF_THE_RECORD
    try:
        held = {name: value for name, value in record.payload.items() if name in names}
        made = held["compensation"]
        return Print(
            **{
                **held,
                "record": record.id,
                "at": record.recorded_at,
                "bed": _bed(held["bed"]),
                "compensation": None if made is None else _compensation_from(made),
            }
        )
    except (KeyError, TypeError, ValueError) as error:
        what = f"the record of a print cannot be read: {error}"
        do = "update dryfit, or restore the ledger from a backup"
        raise LedgerRefused(what, f"ledger record {record.id}", do) from error


def prints_of(records: Sequence[LedgerRecord], part: str | None = None) -> tuple[Print, ...]:
    """The prints of a part, or of all, that count, in the order in which they were printed.

    A correcting record replaces the print that it names, and a withdrawal removes it. The print keeps the number
    of its first record, by which its readings know it. Where several records correct one print, the latest counts.
    """
    own = [record for record in sorted(records, key=lambda item: item.id) if record.kind == PRINT]
    first: dict[int, int] = {}  # record -> the print that its chain of corrections began with
    latest: dict[int, Print] = {}
    for record in own:
        item = print_from(record)
        first[record.id] = first.get(item.corrects, record.id) if item.corrects is not None else record.id
        latest[first[record.id]] = item
    counting = [
        _with_number(item, number)
        for number, item in latest.items()
        if not item.is_withdrawn and part in (None, item.part)
    ]
    return tuple(sorted(counting, key=lambda item: (item.moment, item.record)))


def _with_number(item: Print, number: int) -> Print:
    plain = {field.name: getattr(item, field.name) for field in fields(item)}
    return Print(**{**plain, "record": number})


def _bed(angles: Sequence[float]) -> Bed:
    x, y, z = angles
    return Bed((float(x), float(y), float(z)))


def _compensation_payload(made: Compensation) -> dict[str, Any]:
    plain = {field.name: getattr(made, field.name) for field in fields(made)}
    return {**plain, "bed": list(made.bed.euler_xyz_deg), "figures": list(made.figures)}


def _compensation_from(plain: Mapping[str, Any]) -> Compensation:
    names = {field.name for field in fields(Compensation)}
    held = {name: value for name, value in plain.items() if name in names}
    return Compensation(**{**held, "bed": _bed(held["bed"]), "figures": tuple(held["figures"])})
