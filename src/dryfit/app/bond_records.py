"""Handwork, dry fits and bonds in the ledger: record -> payload and back, and which of them count.

Each may be withdrawn by a later record of the same kind that names it. Of several dry fits, or bonds, of one joint the
latest counts. The order in which records of different joints were entered makes no difference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dryfit.base.errors import LedgerRefused
from dryfit.model.handwork import Bond, DryFit, FaceWork, GapReading
from dryfit.store.ledger import LedgerRecord

HANDWORK, DRY_FIT, BOND = "handwork", "dry fit", "bond"
WITHDRAWS = "withdraws"


@dataclass(frozen=True, slots=True)
class Built:
    """What the ledger knows of work by hand: what counts, oldest first."""

    works: tuple[FaceWork, ...]
    dry_fits: tuple[DryFit, ...]
    bonds: tuple[Bond, ...]

    def bond(self, joint: str) -> Bond | None:
        """The bond of a joint, where there is one."""
        return next((item for item in self.bonds if item.joint == joint), None)

    def dry_fit(self, joint: str) -> DryFit | None:
        """The latest dry fit of a joint, where there is one."""
        return next((item for item in reversed(self.dry_fits) if item.joint == joint), None)


def read_built(records: Sequence[LedgerRecord]) -> Built:
    """What counts of all records of a ledger. Raises LedgerRefused where one of them cannot be read."""
    return Built(works_of(records), dry_fits_of(records), bonds_of(records))


def works_of(records: Sequence[LedgerRecord]) -> tuple[FaceWork, ...]:
    """Faces that were sanded or shimmed."""
    return tuple(work for record in _counting(records, HANDWORK) for work in _works(record))


def dry_fits_of(records: Sequence[LedgerRecord]) -> tuple[DryFit, ...]:
    """The latest dry fit of each joint, oldest first."""
    latest: dict[str, DryFit] = {}
    for record in _counting(records, DRY_FIT):
        item = _dry_fit(record)
        latest.pop(item.joint, None)
        latest[item.joint] = item
    return tuple(latest.values())


def bonds_of(records: Sequence[LedgerRecord]) -> tuple[Bond, ...]:
    """The bonds that hold, oldest first: with the two parts, and the print of each that was bonded.

    A bonded part cannot be had back alone: where one is lost, so is what it is bonded to (bonded_with).
    """
    latest: dict[str, Bond] = {}
    for record in _counting(records, BOND):
        item = _bond(record)
        latest.pop(item.joint, None)
        latest[item.joint] = item
    return tuple(latest.values())


def bonded_with(bonds: Sequence[Bond], part: str) -> tuple[str, ...]:
    """The other parts of the piece that a part has been bonded into, sorted; the ground is none."""
    found, edge = {part}, {part}
    while edge:
        near = {name for bond in bonds if edge & set(bond.parts) for name in bond.parts if name != "ground"}
        edge = near - found
        found |= edge
    return tuple(sorted(found - {part}))


def gaps_that_count(bonds: Sequence[Bond], printed: Mapping[str, int]) -> tuple[GapReading, ...]:
    """Gaps measured at bonds of the prints that the assembly is made of. printed: record of the print by part."""
    return tuple(
        gap
        for bond in bonds
        if all(
            name == "ground" or printed.get(name) == print
            for name, print in zip(bond.parts, bond.prints, strict=True)
        )
        for gap in bond.gaps
    )


def works_that_count(works: Sequence[FaceWork], printed: Mapping[str, int]) -> tuple[FaceWork, ...]:
    """Work on the prints that the assembly is made of."""
    return tuple(work for work in works if work.print is not None and printed.get(work.part) == work.print)


def work_payload(works: Sequence[FaceWork], by: str, **more: Any) -> dict[str, Any]:
    """What the ledger keeps of handwork that was done in one go."""
    rows = [
        {
            "joint": work.joint,
            "part": work.part,
            "print": work.print,
            "points_mm": [list(point) for point in work.points_mm],
            "amounts_mm": list(work.amounts_mm),
            "std_mm": work.std_mm,
        }
        for work in works
    ]
    return {"works": rows, "by": by, **more}


def gap_payload(gaps: Sequence[GapReading]) -> list[dict[str, Any]]:
    """Measured gaps as a payload holds them."""
    return [{"contact": gap.contact, "value_mm": gap.value_mm, "std_mm": gap.std_mm} for gap in gaps]


def _counting(records: Sequence[LedgerRecord], kind: str) -> tuple[LedgerRecord, ...]:
    own = [record for record in sorted(records, key=lambda item: item.id) if record.kind == kind]
    gone = {record.payload[WITHDRAWS] for record in own if record.payload.get(WITHDRAWS) is not None}
    return tuple(r for r in own if r.id not in gone and r.payload.get(WITHDRAWS) is None)


def _works(record: LedgerRecord) -> tuple[FaceWork, ...]:
    try:
        return tuple(
            FaceWork(
                record.id,
                row["joint"],
                row["part"],
                row["print"],
                tuple(_point(point) for point in row["points_mm"]),
                tuple(float(value) for value in row["amounts_mm"]),
                float(row["std_mm"]),
            )
            for row in record.payload["works"]
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _unreadable(record, "handwork", error) from error


def _dry_fit(record: LedgerRecord) -> DryFit:
    plain = record.payload
    try:
        return DryFit(
            record.id,
            record.recorded_at,
            plain["joint"],
            _pair(plain["parts"]),
            _pair(plain["prints"]),
            plain["result"],
            _gaps(plain),
            plain["note"],
            plain["by"],
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _unreadable(record, "a dry fit", error) from error


def _bond(record: LedgerRecord) -> Bond:
    plain = record.payload
    try:
        return Bond(
            record.id,
            record.recorded_at,
            plain["joint"],
            _pair(plain["parts"]),
            _pair(plain["prints"]),
            plain["done_at"],
            plain["adhesive"],
            _gaps(plain),
            plain["despite"],
            plain["because"],
            plain["by"],
        )
    except (KeyError, TypeError, ValueError) as error:
        raise _unreadable(record, "a bond", error) from error


def _gaps(plain: Mapping[str, Any]) -> tuple[GapReading, ...]:
    return tuple(
        GapReading(plain["joint"], int(row["contact"]), float(row["value_mm"]), float(row["std_mm"]))
        for row in plain["gaps"]
    )


def _pair(values: Sequence[Any]) -> tuple[Any, Any]:
    first, second = values
    return first, second


def _point(values: Sequence[float]) -> tuple[float, float, float]:
    x, y, z = values
    return float(x), float(y), float(z)


def _unreadable(record: LedgerRecord, noun: str, error: Exception) -> LedgerRefused:
    return LedgerRefused(
        f"the record of {noun} cannot be read: {error}",
        f"ledger record {record.id}",
        "update dryfit, or restore the ledger from a backup",
    )
