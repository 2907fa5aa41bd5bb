"""Test artefacts in the ledger: record -> payload and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from dryfit.base.errors import LedgerRefused
from dryfit.model.artefact import Artefact, Measure, Planned, Point
from dryfit.store.ledger import LedgerRecord

ARTEFACT = "artefact"
_POINTS = ("first", "second", "first_out", "second_out", "toward")


@dataclass(frozen=True, slots=True)
class RecordedArtefact:
    """An artefact as the ledger holds it.

    record  number in the ledger
    at      UTC, ISO 8601
    """

    record: int
    at: str
    artefact: Artefact


def artefact_payload(artefact: Artefact) -> dict[str, Any]:
    """What the ledger keeps of an artefact: every field, under its own name."""
    plain: dict[str, Any] = {field.name: getattr(artefact, field.name) for field in fields(artefact)}
    return {
        **plain,
        "build_volume_mm": list(artefact.build_volume_mm),
        "size_mm": list(artefact.size_mm),
        "measures": [measure_payload(measure) for measure in artefact.measures],
        "plan": [{field.name: getattr(step, field.name) for field in fields(step)} for step in artefact.plan],
    }


def artefact_from(payload: Mapping[str, Any]) -> Artefact:
    """The artefact of a payload. Keys that this version does not know are left alone.

    Raises LedgerRefused where a field is missing or is of another shape.
    """
    try:
        held = {name: value for name, value in payload.items() if name in _names(Artefact)}
        return Artefact(
            **{
                **held,
                "build_volume_mm": _triple(payload["build_volume_mm"]),
                "size_mm": _triple(payload["size_mm"]),
                "measures": tuple(measure_from(item) for item in payload["measures"]),
                "plan": tuple(Planned(**_known(Planned, item)) for item in payload["plan"]),
            }
        )
    except (KeyError, TypeError, ValueError) as error:
        what = f"the record of an artefact cannot be read: {error}"
        do = "update dryfit, or design the artefact anew (dryfit artefact MACHINE)"
        raise LedgerRefused(what, "ledger", do) from error


def recorded_artefacts(records: Sequence[LedgerRecord], machine: str) -> tuple[RecordedArtefact, ...]:
    """The artefacts of a machine, oldest first."""
    return tuple(
        RecordedArtefact(record.id, record.recorded_at, artefact_from(record.payload))
        for record in records
        if record.kind == ARTEFACT and record.payload.get("machine") == machine
    )


def measure_payload(measure: Measure) -> dict[str, Any]:
    """What the ledger keeps of a measure: every field, under its own name."""
    plain: dict[str, Any] = {field.name: getattr(measure, field.name) for field in fields(measure)}
    points = {name: None if plain[name] is None else list(plain[name]) for name in _POINTS}
    return {**plain, **points}


def measure_from(payload: Mapping[str, Any]) -> Measure:
    """The measure of a payload. Raises KeyError, TypeError or ValueError where it is of another shape."""
    plain = _known(Measure, payload)
    points = {
        name: None if plain[name] is None else _triple(plain[name]) for name in _POINTS if name in plain
    }
    return Measure(**{**plain, **points})


def _known(kind: type, payload: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in payload.items() if name in _names(kind)}


def _names(kind: type) -> frozenset[str]:
    return frozenset(field.name for field in fields(kind))


def _triple(values: Sequence[float]) -> Point:
    x, y, z = values
    return float(x), float(y), float(z)
