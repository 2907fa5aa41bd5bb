"""Gauge studies in the ledger: the plan, each reading of it, and the finished study."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dryfit.app.instruments import GAUGE_STUDY
from dryfit.base.errors import LedgerRefused
from dryfit.store.ledger import LedgerRecord

GAUGE_PLAN = "gauge plan"
GAUGE_READING = "gauge reading"


@dataclass(frozen=True, slots=True)
class Place:
    """What is read at one moment of a study: who reads which part for which time, all counted from 1."""

    person: str
    part: str
    trial: int


@dataclass(frozen=True, slots=True)
class GaugePlan:
    """A study that was begun.

    record  number in the ledger
    seed    of the order in which parts are shown
    """

    record: int
    instrument: str
    people: tuple[str, ...]
    parts: tuple[str, ...]
    trials: int
    seed: int

    def order(self) -> tuple[Place, ...]:
        """Every place once: one person after another goes through all parts, shuffled anew each time.

        A round never begins with the part that the round before ended with, so that nobody reads one part
        twice running.
        """
        shuffle = random.Random(self.seed)
        places: list[Place] = []
        last: dict[str, str] = {}
        for trial in range(1, self.trials + 1):
            for person in self.people:
                parts = list(self.parts)
                shuffle.shuffle(parts)
                if parts[0] == last.get(person):
                    parts.append(parts.pop(0))
                last[person] = parts[-1]
                places += [Place(person, part, trial) for part in parts]
        return tuple(places)


@dataclass(frozen=True, slots=True)
class GaugeReading:
    """One reading of a study. record: number in the ledger."""

    record: int
    place: Place
    value_mm: float


def plan_payload(
    instrument: str, people: Sequence[str], parts: Sequence[str], trials: int, seed: int
) -> dict[str, Any]:
    """What the ledger keeps of a study that is begun."""
    return {
        "instrument": instrument,
        "people": list(people),
        "parts": list(parts),
        "trials": trials,
        "seed": seed,
    }


def plan_from(record: LedgerRecord) -> GaugePlan:
    """The plan of a record. Raises LedgerRefused where it cannot be read."""
    held = record.payload
    try:
        return GaugePlan(
            record=record.id,
            instrument=str(held["instrument"]),
            people=tuple(held["people"]),
            parts=tuple(held["parts"]),
            trials=int(held["trials"]),
            seed=int(held["seed"]),
        )
    except (KeyError, TypeError, ValueError) as error:
        do = "begin a new study: dryfit gauge INSTRUMENT --anew"
        raise LedgerRefused(f"the plan cannot be read: {error}", f"record {record.id}", do) from error


def reading_payload(plan: int, place: Place, value_mm: float) -> dict[str, Any]:
    """What the ledger keeps of one reading of a study."""
    return {
        "plan": plan,
        "person": place.person,
        "part": place.part,
        "trial": place.trial,
        "value_mm": value_mm,
        "withdraws": None,
    }


def withdrawal_payload(plan: int, record: int) -> dict[str, Any]:
    """A correcting record: the reading that it names does not count."""
    return {"plan": plan, "withdraws": record}


def gauge_readings(records: Sequence[LedgerRecord], plan: int) -> tuple[GaugeReading, ...]:
    """The readings of a study that count, oldest first; of two for one place the first."""
    own = [r for r in records if r.kind == GAUGE_READING and r.payload.get("plan") == plan]
    gone = {record.payload.get("withdraws") for record in own}
    found: dict[Place, GaugeReading] = {}
    for record in own:
        held: Mapping[str, Any] = record.payload
        if held.get("withdraws") is not None or record.id in gone:
            continue
        place = Place(str(held["person"]), str(held["part"]), int(held["trial"]))
        found.setdefault(place, GaugeReading(record.id, place, float(held["value_mm"])))
    return tuple(found.values())


def open_plan(records: Sequence[LedgerRecord], instrument: str) -> GaugePlan | None:
    """The latest study of an instrument that was begun and not finished; None where there is none."""
    finished = {r.payload.get("plan") for r in records if r.kind == GAUGE_STUDY}
    plans = [r for r in records if r.kind == GAUGE_PLAN and r.payload.get("instrument") == instrument]
    if not plans or plans[-1].id in finished:
        return None
    return plan_from(plans[-1])
