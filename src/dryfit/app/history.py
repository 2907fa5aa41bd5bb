"""What changed since an earlier forecast: two records of the ledger, compared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any

from dryfit.app.ledger_reading import read_records
from dryfit.app.prediction import LEDGER_NAME
from dryfit.base.errors import ReferenceUnknown
from dryfit.store.document import read_document
from dryfit.store.ledger import LedgerRecord


@dataclass(frozen=True, slots=True)
class ForecastChange:
    """One characteristic then and now; None where it was not forecast."""

    id: str
    unit: str
    predicted_before: float | None
    predicted_after: float | None
    std_before: float | None
    std_after: float | None
    p_out_before: float | None
    p_out_after: float | None

    @property
    def has_changed(self) -> bool:
        return (self.predicted_before, self.std_before, self.p_out_before) != (
            self.predicted_after,
            self.std_after,
            self.p_out_after,
        )


@dataclass(frozen=True, slots=True)
class SinceReport:
    """Two recorded forecasts.

    causes: what differs in their inputs, in words; empty where both rest on the same inputs
    """

    project: str
    before: int
    before_at: str
    after: int
    after_at: str
    causes: tuple[str, ...]
    characteristics: tuple[ForecastChange, ...]


@dataclass(frozen=True, slots=True)
class RecordedForecast:
    """A line of the list of recorded forecasts."""

    id: int
    recorded_at: str
    what_if: tuple[str, ...]
    out: int
    characteristics: int
    input_hash: str


def list_forecasts(path: Path) -> tuple[RecordedForecast, ...]:
    """Every recorded forecast of a project, oldest first."""
    document = read_document(path)
    risk = document.project.risk
    listed = []
    for record in read_records(document.path.parent, "forecast"):
        rows = record.payload["characteristics"]
        out = sum(1 for row in rows if row["p_out"] is None or row["p_out"] > risk)
        listed.append(
            RecordedForecast(
                record.id,
                str(record.recorded_at),
                tuple(record.payload["what_if"]),
                out,
                len(rows),
                record.payload["input_hash"],
            )
        )
    return tuple(listed)


def compare_since(path: Path, since: str | None = None) -> SinceReport:
    """The latest forecast against an earlier one.

    since : record number ("12"), a date ("2026-11-18": the last forecast before its end), or None for the
    forecast before the latest
    Raises ReferenceUnknown where there is no such record.
    """
    document = read_document(path)
    records = read_records(document.path.parent, "forecast")
    if len(records) < 2:
        raise ReferenceUnknown(
            f"the ledger holds {len(records)} forecast{'' if len(records) == 1 else 's'}: two are needed to compare",
            LEDGER_NAME,
            "run `dryfit forecast` before and after a change",
        )
    after = records[-1]
    before = _find(records[:-1], since)
    return SinceReport(
        project=document.project.name,
        before=before.id,
        before_at=str(before.recorded_at),
        after=after.id,
        after_at=str(after.recorded_at),
        causes=tuple(_causes(before.payload, after.payload)),
        characteristics=tuple(_changes(before.payload, after.payload)),
    )


def _find(records: tuple[LedgerRecord, ...], since: str | None) -> LedgerRecord:
    if since is None:
        return records[-1]
    if since.isdecimal():
        # Compared as text: Python refuses to read a number of thousands of digits.
        match = [record for record in records if str(record.id) == since.lstrip("0")]
    else:
        end = _end_of_day(since)
        match = [record for record in records if _moment(record) <= end][-1:]
    if not match:
        raise ReferenceUnknown(
            f'there is no earlier forecast "{since}"',
            LEDGER_NAME,
            f"records {records[0].id} to {records[-1].id} are there; `dryfit since --list` shows them",
        )
    return match[0]


def _end_of_day(text: str) -> datetime:
    try:
        day = date.fromisoformat(text)
    except ValueError as error:
        raise ReferenceUnknown(
            f'"{text}" is neither a record number nor a date',
            "since",
            "write a number or a date like 2026-11-18",
        ) from error
    return datetime.combine(day, time.max, tzinfo=UTC)


def _moment(record: LedgerRecord) -> datetime:
    at = record.recorded_at
    return at if isinstance(at, datetime) else datetime.fromisoformat(at)


def _causes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    causes = _size_changes(before, after)
    if before["input_hash"] == after["input_hash"]:
        same = before["program_version"] == after["program_version"]
        if not same:
            causes.append(_pair("program version", before["program_version"], after["program_version"]))
        return causes
    causes += _table_changes(before, after, "figures", lambda value: f"{value[0]:g} (std {value[1]:g})")
    causes += _table_changes(
        before, after, "beds", lambda value: "turned " + ", ".join(f"{v:g}" for v in value)
    )
    causes += _table_changes(before, after, "mesh_sha256", lambda value: f"mesh {value[:12]}")
    causes += _as_built_changes(before.get("as_built"), after.get("as_built"))
    if before["what_if"] != after["what_if"]:
        causes.append(_pair("what-if", ", ".join(before["what_if"]), ", ".join(after["what_if"])))
    if before["document_sha256"] != after["document_sha256"]:
        causes.append("the document was edited")
    if before["program_version"] != after["program_version"]:
        causes.append(_pair("program version", before["program_version"], after["program_version"]))
    # The hash covers document, meshes and options of the run; nothing else is left.
    return causes or ["number or seed of the Monte Carlo draws"]


def _as_built_changes(before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> list[str]:
    """Parts printed and read since; a record older than these had none."""
    empty: Mapping[str, Any] = {"printed": [], "readings": {}, "earlier": 0}
    was, now = before or empty, after or empty
    found = [
        f"{part}: {'printed' if part in now['printed'] else 'no longer counted as printed'}"
        for part in dict.fromkeys([*was["printed"], *now["printed"]])
        if (part in was["printed"]) != (part in now["printed"])
    ]
    off, is_off = was.get("own_shapes", {}), now.get("own_shapes", {})
    for part in dict.fromkeys([*off, *is_off]):
        old_size, size = off.get(part, 0.0), is_off.get(part, 0.0)
        if old_size != size:
            found.append(f"{part}: off for a reason of its own by about {old_size:g} -> {size:g} mm")
    for part in dict.fromkeys([*was["readings"], *now["readings"]]):
        old, new = was["readings"].get(part, 0), now["readings"].get(part, 0)
        if old != new:
            found.append(f"{part}: {old} -> {new} readings")
    if was["earlier"] != now["earlier"]:
        found.append(f"readings of earlier prints: {was['earlier']} -> {now['earlier']}")
    return found


def _size_changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """Changed dimensions and features; a record older than these does not say what they were."""
    if "sizes" not in before or "sizes" not in after:
        return []
    return [
        f"{words} (no forecast depends on it)"
        for words in _table_changes(before, after, "sizes", lambda value: value)
    ]


def _table_changes(before: Mapping[str, Any], after: Mapping[str, Any], key: str, words: Any) -> list[str]:
    old, new = before[key], after[key]
    found = []
    for name in dict.fromkeys([*old, *new]):
        was = words(old[name]) if name in old else ""
        now = words(new[name]) if name in new else ""
        if was != now:
            found.append(_pair(name, was, now))
    return found


def _pair(name: str, old: str, new: str) -> str:
    return f"{name}: {old or 'none'} -> {new or 'none'}"


def _changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[ForecastChange]:
    old = {row["id"]: row for row in before["characteristics"]}
    new = {row["id"]: row for row in after["characteristics"]}
    changes = []
    for name in dict.fromkeys([*new, *old]):
        was, now = old.get(name, {}), new.get(name, {})
        changes.append(
            ForecastChange(
                id=name,
                unit=(now or was)["unit"],
                predicted_before=was.get("predicted"),
                predicted_after=now.get("predicted"),
                std_before=was.get("std"),
                std_after=now.get("std"),
                p_out_before=was.get("p_out"),
                p_out_after=now.get("p_out"),
            )
        )
    return changes
