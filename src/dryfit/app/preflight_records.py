"""Checks before long prints, in the ledger: record -> payload and back, and which of them count."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from dryfit.base.errors import DryfitError, LedgerRefused
from dryfit.store.ledger import LedgerRecord

PREFLIGHT = "preflight"

Plane = Literal["xz", "yz", "xy"]
PLANES: tuple[Plane, ...] = ("xz", "yz", "xy")
FIGURE_OF: Mapping[Plane, str] = {"xz": "skew_xz_deg", "yz": "skew_yz_deg", "xy": "skew_xy_deg"}

Against = Literal["upright", "print"]
AGAINST: tuple[Against, ...] = ("upright", "print")

Answer = Literal["ok", "wrong", "skipped"]
# What is looked at before every long print (common practice, no source).
ITEMS = ("fasteners", "belts", "bed", "nozzle", "dry")


class PreflightRefused(DryfitError):
    """An answer of the routine that cannot be right."""


@dataclass(frozen=True, slots=True)
class SquareReading:
    """A square held to the machine or to a print.

    plane      xz: stock along X, blade up; yz: stock along Y, blade up; xy: stock along X, blade along Y
    gap_mm     feeler value, positive where the gap opens at the tip of the blade, negative at the heel
    height_mm  of the place of the gap over the stock
    toward     +1 where the stock points along its positive axis, -1 along the negative one
    """

    plane: Plane
    gap_mm: float
    height_mm: float
    toward: int = 1


@dataclass(frozen=True, slots=True)
class ItemAnswer:
    """One line of the routine: what was found, and in words what is wrong or why it was skipped."""

    item: str
    answer: Answer
    words: str = ""


@dataclass(frozen=True, slots=True)
class Preflight:
    """One check of a machine.

    record      number in the ledger; 0 where it is not recorded yet
    at          when it was done, UTC, ISO 8601
    hours       of the machine's hour meter [h]
    against     what the square was held to: an upright of the machine, or a printed edge
    instrument  id of the square
    squares     its readings; none where it was not held
    items       one per line of the routine that was answered
    filament_g  what is left on the spool [g]; None where it was not weighed
    part        id of the part that is to be printed next; None where none was named
    needed_g    what that part takes [g]; None where it is not known
    adjusted    what was turned or tightened before these readings; "" for nothing: a new series begins with it
    corrects    record that this one replaces; None for a new one
    is_withdrawn  a correcting record without a check: the one that it names does not count
    """

    record: int
    at: str
    machine: str
    hours: float
    by: str = ""
    against: Against = "upright"
    instrument: str = ""
    squares: tuple[SquareReading, ...] = ()
    items: tuple[ItemAnswer, ...] = field(default_factory=tuple)
    filament_g: float | None = None
    part: str | None = None
    needed_g: float | None = None
    adjusted: str = ""
    corrects: int | None = None
    is_withdrawn: bool = False

    @property
    def moment(self) -> datetime:
        return datetime.fromisoformat(self.at)

    def square(self, plane: Plane) -> SquareReading | None:
        """The reading in a plane."""
        return next((item for item in self.squares if item.plane == plane), None)

    def answer(self, item: str) -> ItemAnswer:
        """What was said of a line; "skipped" where nothing was."""
        found = next((answer for answer in self.items if answer.item == item), None)
        return found or ItemAnswer(item, "skipped")


def preflight_payload(check: Preflight) -> dict[str, Any]:
    """What the ledger keeps; its number is the record's own."""
    return {
        "machine": check.machine,
        "at": check.at,
        "hours": check.hours,
        "by": check.by,
        "against": check.against,
        "instrument": check.instrument,
        "squares": [
            {
                "plane": item.plane,
                "gap_mm": item.gap_mm,
                "height_mm": item.height_mm,
                "toward": item.toward,
            }
            for item in check.squares
        ],
        "items": [{"item": item.item, "answer": item.answer, "words": item.words} for item in check.items],
        "filament_g": check.filament_g,
        "part": check.part,
        "needed_g": check.needed_g,
        "adjusted": check.adjusted,
        "corrects": check.corrects,
        "is_withdrawn": check.is_withdrawn,
    }


def preflight_from(record: LedgerRecord) -> Preflight:
    """The check of a record. Raises LedgerRefused where a field is missing or of another shape."""
    payload = record.payload
    try:
        return Preflight(
            record=record.id,
            at=payload["at"],
            machine=payload["machine"],
            hours=float(payload["hours"]),
            by=payload["by"],
            against=payload["against"],
            instrument=payload["instrument"],
            squares=tuple(
                SquareReading(
                    item["plane"], float(item["gap_mm"]), float(item["height_mm"]), int(item["toward"])
                )
                for item in payload["squares"]
            ),
            items=tuple(ItemAnswer(item["item"], item["answer"], item["words"]) for item in payload["items"]),
            filament_g=payload["filament_g"],
            part=payload["part"],
            needed_g=payload["needed_g"],
            adjusted=payload["adjusted"],
            corrects=payload["corrects"],
            is_withdrawn=payload["is_withdrawn"],
        )
    except (KeyError, TypeError, ValueError) as error:
        what = f"record {record.id}, a check before printing, cannot be read: {error}"
        raise LedgerRefused(what, f"ledger record {record.id}", "update dryfit, or correct it") from error


def preflights_of(records: Sequence[LedgerRecord], machine: str) -> tuple[Preflight, ...]:
    """Checks of a machine that count, by the hours of its meter, out of records of any kind.

    A record that another one corrects does not count, nor does one that only withdraws.
    """
    checks = [preflight_from(record) for record in records if record.kind == PREFLIGHT]
    mine = [check for check in checks if check.machine == machine]
    replaced = {check.corrects for check in mine if check.corrects is not None}
    kept = [check for check in mine if check.record not in replaced and not check.is_withdrawn]
    return tuple(sorted(kept, key=lambda check: (check.hours, check.at, check.record)))
