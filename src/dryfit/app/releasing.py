"""Freeze parts for printing under a revision letter: what is printed can be compared with ever after."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dryfit.app.changes_document import read_raw
from dryfit.app.checking import check_parts
from dryfit.app.forecast import run_forecast
from dryfit.app.loading import Opened, open_project
from dryfit.app.prediction import chain_of, forecast_payload, machine_figures, provenance_of
from dryfit.app.ready import HoldPoint, check_opened
from dryfit.app.release_files import freeze_files, frozen_files
from dryfit.app.releases import RELEASE, Release, ReleasedPart, payload_of, read_releases, release_from
from dryfit.base.errors import ComputationRefused, DryfitError, ReferenceUnknown
from dryfit.base.naming import list_some
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.calc.revision import LEFT_OUT, hash_geometry, letter_rank, next_letter
from dryfit.model.feature import Dimension
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.store.ledger import LEDGER_NAME, LedgerRecord, open_ledger
from dryfit.store.released import keep_copy, remove_abandoned
from dryfit.store.tables import LISTS
from dryfit.store.words import quote, suggest

Progress = Callable[[int, int], None]
_NAMED = 4


class ReleaseRefused(DryfitError):
    """The parts cannot be released as they are."""


@dataclass(frozen=True, slots=True)
class ReleaseOrder:
    """What is to be released.

    parts    ids; () for all
    letter   the revision letter; "" for the next
    by, because  who releases, and why
    despite  why although the hold point has a stop; "" where it may have none
    """

    parts: tuple[str, ...] = ()
    letter: str = ""
    by: str = ""
    because: str = ""
    despite: str = ""


@dataclass(frozen=True, slots=True)
class ReleaseReport:
    """What was released, or the release that holds all of it already.

    is_new     False where nothing has changed since the release, and nothing was written
    new_copies how many frozen files were not there before
    """

    project: str
    release: Release
    is_new: bool
    new_copies: int


def release_parts(
    path: Path, order: ReleaseOrder | None = None, progress: Progress | None = None
) -> ReleaseReport:
    """Freeze a project's document, meshes and forecast under a revision letter.

    The copies are written first, each whole, and the record in the ledger last: a run that is stopped in between
    releases nothing. Raises ReleaseRefused where the hold point before printing has a stop and no reason is given,
    ReferenceUnknown for a part or a letter, and what opening, forecasting and writing raise.
    """
    wanted = order or ReleaseOrder()
    opened = open_project(path, progress)
    issued = _issued(opened.project, wanted.parts)
    releases = read_releases(opened.folder)
    letter = _letter(releases, wanted.letter)
    drawn = _draw_up(opened, issued, frozen_files(opened), replace(wanted, letter=letter))
    last = releases[-1] if releases else None
    if last is not None and last.content_sha256 == drawn.content_sha256:
        return ReleaseReport(opened.project.name, last, False, 0)
    hold, forecast = _hold_point(opened, progress)
    _refuse_stop(hold, wanted.despite)
    full = replace(drawn, state=hold.state, checks=hold.checks, forecast=forecast)
    return _write(opened, full)


def _issued(project: Project, parts: Sequence[str]) -> frozenset[str]:
    known = [part.id for part in project.parts]
    if not known:
        raise ReleaseRefused("the project has no parts", "project.toml", "import the meshes: dryfit import")
    for id in parts:
        if id not in known:
            raise ReferenceUnknown(f"there is no part {quote(id)}", "--parts", suggest(id, known, "parts"))
    return frozenset(parts or known)


def _letter(releases: Sequence[Release], wanted: str) -> str:
    """The next letter, or the wanted one where it comes later than all that were given."""
    last = max((item.letter for item in releases), key=letter_rank, default="")
    if not wanted:
        return next_letter(last)
    letter = wanted.upper()
    try:
        rank = letter_rank(letter)
    except ValueError:
        raise ReferenceUnknown(
            f"{quote(wanted)} is no revision letter",
            "--letter",
            f"letters are A, B, ... without {', '.join(LEFT_OUT)}, which are read wrongly; next is {next_letter(last)}",
        ) from None
    if last and rank <= letter_rank(last):
        raise ReferenceUnknown(
            f"release {letter} would not come after release {last}",
            "--letter",
            f"a letter is given once, in order; the next is {next_letter(last)}",
        )
    return letter


def _draw_up(opened: Opened, issued: frozenset[str], files: dict[str, str], order: ReleaseOrder) -> Release:
    """The release without its hold point and forecast."""
    parts = tuple(_part(opened, part, part.id in issued) for part in opened.project.parts)
    return Release(
        letter=order.letter,
        record=0,
        at="",
        by=order.by.strip(),
        because=order.because.strip(),
        despite=order.despite.strip(),
        program_version="",
        content_sha256=_content(opened, files, parts),
        document_sha256=opened.document.sha256,
        files=tuple(sorted(files.items())),
        parts=parts,
        state="not checked",
        checks=(),
        forecast={},
    )


def _part(opened: Opened, part: Part, is_issued: bool) -> ReleasedPart:
    mesh = opened.shapes[part.id].mesh
    made = part.compensation
    return ReleasedPart(
        id=part.id,
        is_issued=is_issued,
        mesh_sha256=mesh.sha256,
        geometry_sha256=hash_geometry(mesh),
        triangles=len(mesh.faces),
        machine=part.machine,
        material=part.material,
        bed_euler_deg=part.bed.euler_xyz_deg,
        copy=None if made is None else (made.file, made.sha256),
    )


def _content(opened: Opened, files: dict[str, str], parts: Sequence[ReleasedPart]) -> str:
    """Hash of all that is released: values of the document, files, and what the ledger adds to them.

    Comments and the order of rows do not count. Plain values are hashed, not the program's own records, so that
    a newer program finds the same.
    """
    raw = read_raw(opened.document.text, opened.document.path.name)
    values = {
        name: sorted(rows, key=lambda row: str(row["id"])) if name in LISTS else rows
        for name, rows in raw.items()
    }
    sizes = {item.id: _plain_size(item) for item in opened.project.dimensions}
    figures = {name: [_short(value) for value in pair] for name, pair in machine_figures(opened).items()}
    issued = sorted((part.id, part.is_issued, part.geometry_sha256) for part in parts)
    content = {"values": values, "sizes": sizes, "figures": figures, "files": files, "parts": issued}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), default=str)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _plain_size(dimension: Dimension) -> list[str] | None:
    size = dimension.size_mm
    return None if size is None else [_short(size.value), _short(size.std)]


def _short(value: float) -> str:
    """To so many digits that rounding of another machine is no change."""
    return f"{0.0 if abs(value) < 1e-9 else value:.7g}"


def _hold_point(opened: Opened, progress: Progress | None) -> tuple[HoldPoint, dict[str, Any]]:
    chain = chain_of(opened)
    report = run_forecast(chain, provenance_of(opened, chain, (), DEFAULT_SAMPLES, 1))
    hold = check_opened(opened, chain, report, check_parts(opened, chain.structure.faces, progress=progress))
    return hold, {"risk": report.risk, **forecast_payload(opened, report)}


def _refuse_stop(hold: HoldPoint, despite: str) -> None:
    if hold.state != "stop" or despite.strip():
        return
    stops = [f"{check.topic} {check.subject}" for check in hold.checks if check.state == "stop"]
    count = len(stops)
    raise ReleaseRefused(
        f"the hold point before printing has {count} stop{'' if count == 1 else 's'}: {list_some(stops, _NAMED)}",
        "dryfit ready --before printing",
        'clear them, or say why it is released all the same: --despite "REASON"; the reason is recorded',
    )


def _write(opened: Opened, release: Release) -> ReleaseReport:
    folder = opened.folder
    remove_abandoned(folder)
    before = _count(folder, release)
    keep_copy(folder, opened.document.text.encode("utf-8"))
    freeze_files(folder, dict(release.files))

    def refuse_taken(made: tuple[LedgerRecord, ...]) -> None:
        """Another bench may have released meanwhile: then its letter is taken, and this one must be looked at anew."""
        if release.letter in [record.payload["letter"] for record in made]:
            raise ComputationRefused(
                f"release {release.letter} was made by another run meanwhile",
                LEDGER_NAME,
                "look at it (dryfit release --list), then release again",
            )

    with open_ledger(folder / LEDGER_NAME) as ledger:
        record = ledger.append(RELEASE, payload_of(release), refuse_taken)
    return ReleaseReport(opened.project.name, release_from(record), True, _count(folder, release) - before)


def _count(folder: Path, release: Release) -> int:
    return sum(
        1 for sha256 in {sha256 for _, sha256 in release.copies} if (folder / "released" / sha256).exists()
    )
