"""Releases as the ledger has them: read, found by letter, and checked against their frozen copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from dryfit.app.hold_lines import Check, State
from dryfit.app.ledger_reading import read_records
from dryfit.base.errors import ReferenceUnknown
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord
from dryfit.store.released import CopyFault, find_faults, list_copies
from dryfit.store.words import quote, suggest

RELEASE = "release"
FORMAT = 1

# The key n holds the step of a record's payload from format n to n + 1.
STEPS: Mapping[int, Callable[[Mapping[str, Any]], dict[str, Any]]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class ReleasedPart:
    """A part as it was released.

    is_issued        whether it was issued for printing with this release
    mesh_sha256      of its mesh file, with what that draws on; geometry_sha256 of its triangles in the assembly
    bed_euler_deg    its bed pose; placement of its design frame is in the frozen document
    copy             corrected copy that is printed in place of the mesh: (file, hash); None: the mesh is printed
    """

    id: str
    is_issued: bool
    mesh_sha256: str
    geometry_sha256: str
    triangles: int
    machine: str
    material: str
    bed_euler_deg: tuple[float, float, float]
    copy: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Release:
    """One release.

    record, at       number in the ledger, and when (UTC)
    by, because      who released and why; "" where it was not said
    despite          why it was released although the hold point had a stop; "" where it had none
    content_sha256   of everything that the release holds, comments and order of rows left aside
    document_sha256  of the frozen text
    files            (name in the project, hash) of every frozen file but the document
    state, checks    the hold point before printing, as it stood
    forecast         figures of the forecast as recorded; see prediction.forecast_payload
    """

    letter: str
    record: int
    at: str
    by: str
    because: str
    despite: str
    program_version: str
    content_sha256: str
    document_sha256: str
    files: tuple[tuple[str, str], ...]
    parts: tuple[ReleasedPart, ...]
    state: State
    checks: tuple[Check, ...]
    forecast: Mapping[str, Any]

    @property
    def issued(self) -> tuple[str, ...]:
        """Parts that were issued for printing."""
        return tuple(part.id for part in self.parts if part.is_issued)

    def part(self, id: str) -> ReleasedPart | None:
        """The part of that name; None where it was not there."""
        return next((part for part in self.parts if part.id == id), None)

    def count(self, state: State) -> int:
        """Number of lines of the hold point in a state."""
        return sum(1 for check in self.checks if check.state == state)

    @property
    def copies(self) -> tuple[tuple[str, str], ...]:
        """(name, hash) of every frozen file, the document first."""
        return (("project.toml", self.document_sha256), *self.files)


@dataclass(frozen=True, slots=True)
class ReleaseList:
    """All releases of a project, oldest first.

    faults    by letter, copies that are no longer what was released; empty where they were not looked at
    is_verified  whether they were looked at
    unnamed   copies that no release names: left by a run that was stopped before its record was written
    """

    project: str
    releases: tuple[Release, ...]
    is_verified: bool = False
    faults: tuple[tuple[str, CopyFault], ...] = ()
    unnamed: tuple[str, ...] = ()


def list_releases(path: Path, is_verified: bool = False) -> ReleaseList:
    """Every release of a project; with is_verified its frozen copies are read and hashed.

    Raises ProjectMissing, DocumentRefused or LedgerRefused.
    """
    document = read_document(path)
    folder = document.path.parent
    releases = read_releases(folder)
    if not is_verified:
        return ReleaseList(document.project.name, releases)
    faults = [(item.letter, fault) for item in releases for fault in find_faults(folder, item.copies)]
    named = {sha256 for item in releases for _, sha256 in item.copies}
    unnamed = tuple(sha256 for sha256 in list_copies(folder) if sha256 not in named)
    return ReleaseList(document.project.name, releases, True, tuple(faults), unnamed)


def read_releases(folder: Path) -> tuple[Release, ...]:
    """The releases of a project folder, oldest first.

    Raises LedgerRefused where there is a ledger that cannot be read, ReferenceUnknown for a release that a newer
    program wrote.
    """
    return releases_of(read_records(folder, RELEASE))


def releases_of(records: Sequence[LedgerRecord]) -> tuple[Release, ...]:
    """The same, out of records of any kind."""
    return tuple(release_from(record) for record in records if record.kind == RELEASE)


def find_release(releases: Sequence[Release], letter: str) -> Release:
    """The release of a letter, whatever its case. Raises ReferenceUnknown where there is none."""
    for release in releases:
        if release.letter == letter.upper():
            return release
    if not releases:
        do = "nothing was released yet: dryfit release"
    else:
        do = suggest(letter.upper(), [item.letter for item in releases], "releases")
    raise ReferenceUnknown(f"there is no release {quote(letter)}", LEDGER_NAME, do)


def release_from(record: LedgerRecord) -> Release:
    """The release of a ledger record. Raises ReferenceUnknown for one that a newer program wrote."""
    payload = _migrated(record)
    return Release(
        letter=payload["letter"],
        record=record.id,
        at=record.recorded_at,
        by=payload["by"],
        because=payload["because"],
        despite=payload["despite"],
        program_version=record.program_version,
        content_sha256=payload["content_sha256"],
        document_sha256=payload["document_sha256"],
        files=tuple((name, sha256) for name, sha256 in payload["files"]),
        parts=tuple(_part(row) for row in payload["parts"]),
        state=payload["state"],
        checks=tuple(
            Check(row["topic"], row["subject"], row["state"], row["reason"], row["do"])
            for row in payload["checks"]
        ),
        forecast=payload["forecast"],
    )


def payload_of(release: Release) -> dict[str, Any]:
    """What the ledger keeps of a release; record, time and version are the ledger's own."""
    return {
        "format": FORMAT,
        "letter": release.letter,
        "by": release.by,
        "because": release.because,
        "despite": release.despite,
        "content_sha256": release.content_sha256,
        "document_sha256": release.document_sha256,
        "files": [list(pair) for pair in release.files],
        "parts": [
            {
                "id": part.id,
                "is_issued": part.is_issued,
                "mesh_sha256": part.mesh_sha256,
                "geometry_sha256": part.geometry_sha256,
                "triangles": part.triangles,
                "machine": part.machine,
                "material": part.material,
                "bed_euler_deg": list(part.bed_euler_deg),
                "copy": None if part.copy is None else list(part.copy),
            }
            for part in release.parts
        ],
        "state": release.state,
        "checks": [
            {"topic": c.topic, "subject": c.subject, "state": c.state, "reason": c.reason, "do": c.do}
            for c in release.checks
        ],
        "forecast": dict(release.forecast),
    }


def _migrated(record: LedgerRecord) -> Mapping[str, Any]:
    payload = record.payload
    version = payload["format"]
    if version > FORMAT:
        raise ReferenceUnknown(
            f"release {payload.get('letter', '')} was written by a newer program (format {version})",
            f"{LEDGER_NAME}, record {record.id}",
            f"update dryfit, which knows format {FORMAT} and older",
        )
    for step in range(version, FORMAT):
        payload = {**STEPS[step](payload), "format": step + 1}
    return payload


def _part(row: Mapping[str, Any]) -> ReleasedPart:
    x, y, z = row["bed_euler_deg"]
    copy = row["copy"]
    return ReleasedPart(
        id=row["id"],
        is_issued=row["is_issued"],
        mesh_sha256=row["mesh_sha256"],
        geometry_sha256=row["geometry_sha256"],
        triangles=row["triangles"],
        machine=row["machine"],
        material=row["material"],
        bed_euler_deg=(x, y, z),
        copy=None if copy is None else (copy[0], copy[1]),
    )
