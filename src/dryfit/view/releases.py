"""Releases in rows and sentences, and as plain tables."""

from __future__ import annotations

from typing import Any

from dryfit.app.releases import Release, ReleaseList
from dryfit.app.releasing import ReleaseReport
from dryfit.base.naming import list_some
from dryfit.view.blocks import Block, Heading, Sentence, State, Table
from dryfit.view.digits import NONE, write_probability

_NAMED = 6
_SHORT = 12


def release_blocks(report: ReleaseReport) -> list[Block]:
    """What was frozen, and on what it rests."""
    item = report.release
    if not report.is_new:
        return [
            Heading(
                f"{report.project}: nothing has changed since release {item.letter} ({item.at[:10]})", "pass"
            )
        ]
    blocks: list[Block] = [
        Heading(f"{report.project}: released as {item.letter}, record {item.record}", "pass")
    ]
    blocks.append(Sentence(f"Issued for printing: {list_some(item.issued, _NAMED)}."))
    blocks.append(
        Sentence(
            f"Frozen: the document and {_counted(len(item.files), 'file')}, {report.new_copies} of them new copies."
        )
    )
    blocks.append(Sentence(f"Hold point before printing: {_counts(item)}.", item.state))
    if item.despite:
        blocks.append(Sentence(f"Released despite that: {item.despite}", "caution"))
    blocks += [
        Sentence(f"not checked: {check.topic} {check.subject}: {check.reason}", "not checked", mark=True)
        for check in item.checks
        if check.state == "not checked"
    ]
    blocks += [
        Sentence(f"stop: {check.topic} {check.subject}: {check.reason}", "stop", mark=True)
        for check in item.checks
        if check.state == "stop"
    ]
    out = worst_words(item)
    return [*blocks, Sentence(out)] if out else blocks


def worst_words(item: Release) -> str:
    """The characteristic likeliest out of limits in the recorded forecast; "" where there is none."""
    rows = item.forecast["characteristics"]
    if not rows:
        return "The forecast had no characteristic."
    known = [row for row in rows if row["p_out"] is not None]
    undetermined = len(rows) - len(known)
    words = f"; {undetermined} undetermined" if undetermined else ""
    if not known:
        return f"Forecast: {len(rows)} characteristics{words}."
    worst = max(known, key=lambda row: row["p_out"])
    return (
        f"Forecast: {_counted(len(rows), 'characteristic')}, likeliest out of limits {worst['id']}: "
        f"{write_probability(worst['p_out'])}{words}."
    )


def release_list_blocks(report: ReleaseList) -> list[Block]:
    """All releases, and whether their copies are what was released."""
    rows = tuple(
        (
            item.letter,
            item.at[:16].replace("T", " "),
            item.by or NONE,
            item.because or NONE,
            f"{len(item.issued)} of {len(item.parts)}",
            _counts(item),
            item.despite or NONE,
        )
        for item in report.releases
    )
    blocks: list[Block] = [Heading(f"{report.project}: {_counted(len(rows), 'release')}", list_state(report))]
    if rows:
        heads = ("release", "when (UTC)", "by", "because", "parts issued", "hold point then", "despite")
        blocks.append(Table(heads, rows, frozenset({4}), tuple(item.state for item in report.releases)))
    for letter, fault in report.faults:
        what = "is missing" if fault.kind == "missing" else "is not what was released any more"
        words = (
            f"release {letter}: the frozen copy of {fault.name} {what} (released/{fault.sha256[:_SHORT]}...)."
        )
        blocks.append(Sentence(words, "stop"))
    if report.is_verified and not report.faults and rows:
        blocks.append(Sentence("Every frozen copy is what was released.", "pass"))
    if report.unnamed:
        count = _counted(len(report.unnamed), "copy", "copies")
        words = f"{count} in released/ named by no release: left by a run that was stopped; harmless."
        blocks.append(Sentence(words))
    return blocks


def list_state(report: ReleaseList) -> State:
    """Stop where a copy is no longer what was released; not checked where nobody looked."""
    if report.faults:
        return "stop"
    return "pass" if report.is_verified else "not checked"


def release_plain(report: ReleaseReport) -> dict[str, Any]:
    """Keys of `dryfit release --json`."""
    return {
        "project": report.project,
        "new": report.is_new,
        "new_copies": report.new_copies,
        "release": _release(report.release),
    }


def release_list_plain(report: ReleaseList) -> dict[str, Any]:
    """Keys of `dryfit release --list --json` and of `--verify --json`."""
    return {
        "project": report.project,
        "verified": report.is_verified,
        "releases": [_release(item) for item in report.releases],
        "damaged_copies": [
            {"letter": letter, "name": fault.name, "sha256": fault.sha256, "kind": fault.kind}
            for letter, fault in report.faults
        ],
        "unnamed_copies": list(report.unnamed),
    }


def _release(item: Release) -> dict[str, Any]:
    return {
        "letter": item.letter,
        "record": item.record,
        "at": item.at,
        "by": item.by,
        "because": item.because,
        "despite": item.despite,
        "program_version": item.program_version,
        "content_sha256": item.content_sha256,
        "document_sha256": item.document_sha256,
        "files": [{"name": name, "sha256": sha256} for name, sha256 in item.files],
        "issued": list(item.issued),
        "parts": [
            {
                "id": part.id,
                "issued": part.is_issued,
                "mesh_sha256": part.mesh_sha256,
                "geometry_sha256": part.geometry_sha256,
                "triangles": part.triangles,
                "machine": part.machine,
                "material": part.material,
                "bed_euler_xyz_deg": list(part.bed_euler_deg),
                "copy": None if part.copy is None else part.copy[0],
            }
            for part in item.parts
        ],
        "state": item.state,
        "checks": [
            {"topic": c.topic, "subject": c.subject, "state": c.state, "reason": c.reason, "do": c.do}
            for c in item.checks
        ],
        "characteristics": list(item.forecast["characteristics"]),
    }


def _counts(item: Release) -> str:
    states: tuple[State, ...] = ("stop", "not checked", "caution", "pass")
    return ", ".join(f"{item.count(state)} {state}" for state in states if item.count(state))


def _counted(number: int, noun: str, nouns: str = "") -> str:
    return f"{number} {noun if number == 1 else nouns or noun + 's'}"
