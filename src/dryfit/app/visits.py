"""Visits to a project: what its forecast says now against what it said at the visit before."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dryfit.app.history import SinceReport, compare_since
from dryfit.app.prediction import LEDGER_NAME
from dryfit.store.document import read_document
from dryfit.store.ledger import open_ledger

VISIT = "visit"


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit, noted in the ledger.

    at, previous_at  UTC, ISO 8601; previous_at is None at the first visit
    since            the latest forecast against the one that the visit before saw; None where there was no
                     visit before, or no forecast was recorded since
    """

    at: str
    previous_at: str | None
    since: SinceReport | None


def note_visit(path: Path) -> Visit:
    """Compare with the visit before, then note this one. Only a visit that saw a forecast counts.

    Raises ProjectMissing, DocumentRefused or LedgerRefused.
    """
    folder = read_document(path).path.parent
    with open_ledger(folder / LEDGER_NAME) as ledger:
        before, latest = ledger.latest(VISIT), ledger.latest("forecast")
        seen = None if before is None else before.payload["forecast"]
        at = ledger.append(VISIT, {"forecast": None if latest is None else latest.id}).recorded_at
    has_news = seen is not None and latest is not None and latest.id > seen
    since = compare_since(path, str(seen)) if has_news else None
    return Visit(at, None if before is None else before.recorded_at, since)
