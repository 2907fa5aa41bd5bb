"""A project as it was released, or as it is now: document, figures, schedule and meshes, without refusing the whole."""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

from dryfit.app.geometry import PartShape, shape_in_assembly
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, split_reference
from dryfit.app.photo_sizes import photo_evidence
from dryfit.app.qualification_records import latest_qualifications, with_qualifications
from dryfit.app.releases import Release
from dryfit.app.schedule_decisions import decisions_of
from dryfit.app.schedule_solving import with_schedule
from dryfit.base.errors import DryfitError
from dryfit.base.units import LengthUnit
from dryfit.files.mesh import MeshFile, read_meshes, select_object
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.store.document import DOCUMENT_NAME, Document, parse_document, read_document
from dryfit.store.ledger import LedgerRecord
from dryfit.store.released import CopyFault, copy_path, find_faults, lay_out

_READERS = 2


@dataclass(frozen=True, slots=True)
class Unread:
    """A part whose mesh cannot be read in a state: the three parts of the refusal."""

    part: str
    what: str
    where: str
    do: str


@dataclass(frozen=True, slots=True, eq=False)
class State:
    """One of the two sides of a comparison.

    release  None for the working state
    opened   the project with the figures and the schedule of its time, and the meshes that can be read
    records  the ledger up to its time
    unread   parts whose mesh cannot be read
    faults   frozen copies that are no longer what was released
    """

    name: str
    release: Release | None
    opened: Opened
    records: tuple[LedgerRecord, ...]
    unread: tuple[Unread, ...] = ()
    faults: tuple[CopyFault, ...] = ()

    @property
    def project(self) -> Project:
        return self.opened.project

    @property
    def is_whole(self) -> bool:
        """Whether every part has its mesh."""
        return not self.unread


class _Meshes:
    """Meshes that were read already, by what they were read from."""

    def __init__(self, known: State | None) -> None:
        self._shapes: dict[tuple[str, str | None, LengthUnit | None], tuple[Part, PartShape]] = {}
        if known is not None:
            for part in known.project.parts:
                shape = known.opened.shapes.get(part.id)
                if shape is not None:
                    self._shapes[_key(part, shape.mesh.sha256)] = (part, shape)

    def find(self, part: Part, sha256: str) -> PartShape | None:
        """The shape of a part in its place, where the same file was read before."""
        found = self._shapes.get(_key(part, sha256))
        if found is None or not _is_placed_alike(part, found[0]):
            return None
        return replace(found[1], part=part)


def working_state(path: Path) -> State:
    """The project as it is now.

    Raises ProjectMissing or DocumentRefused for the document, LedgerRefused; a mesh that cannot be read does not
    refuse the rest.
    """
    document = read_document(path)
    folder = document.path.parent
    return _state("the working state", None, document, folder, folder, read_records(folder), None, ())


def released_state(folder: Path, release: Release, known: State | None = None) -> State:
    """A project as it was released. known: a state whose meshes need not be read again.

    Its machines have the figures, and its evidence the decisions, that the ledger held at that moment.
    Raises DocumentRefused where the frozen document is gone or damaged: without it there is nothing to compare.
    """
    faults = find_faults(folder, release.copies)
    text = _frozen_text(folder, release, faults)
    document = parse_document(text, f"{DOCUMENT_NAME} of release {release.letter}")
    records = [record for record in read_records(folder) if record.id <= release.record]
    with tempfile.TemporaryDirectory(prefix="dryfit-") as place:
        root = Path(place)
        lay_out(folder, release.files, root)
        return _state(f"release {release.letter}", release, document, folder, root, records, known, faults)


def _frozen_text(folder: Path, release: Release, faults: Sequence[CopyFault]) -> str:
    path = copy_path(folder, release.document_sha256)
    if any(fault.sha256 == release.document_sha256 for fault in faults):
        raise FrozenDocumentLost(
            f"the frozen document of release {release.letter} is gone or not what was released",
            str(path),
            "restore it from a backup of released/; the ledger holds its hash",
        )
    return path.read_bytes().decode("utf-8")


class FrozenDocumentLost(DryfitError):
    """A release cannot be opened, since its frozen document is not there as it was."""


def _state(
    name: str,
    release: Release | None,
    document: Document,
    folder: Path,
    root: Path,
    records: Sequence[LedgerRecord],
    known: State | None,
    faults: tuple[CopyFault, ...],
) -> State:
    """folder: of the project; root: below which its files lie."""
    extras = photo_evidence(root, document.project).extras
    project = with_qualifications(document.project, latest_qualifications(records))
    project = with_schedule(project, decisions_of(records), extras)
    document = replace(document, project=project)
    hashes = {} if release is None else {part.id: part.mesh_sha256 for part in release.parts}
    shapes, unread, notes = _read(root, project, hashes, _Meshes(known))
    return State(name, release, Opened(folder, document, shapes, notes), tuple(records), unread, faults)


def _read(
    root: Path, project: Project, hashes: Mapping[str, str], meshes: _Meshes
) -> tuple[dict[str, PartShape], tuple[Unread, ...], tuple[str, ...]]:
    found = {
        part.id: shape
        for part in project.parts
        if part.id in hashes and (shape := meshes.find(part, hashes[part.id])) is not None
    }
    waiting = [part for part in project.parts if part.id not in found]
    keys = list(dict.fromkeys((split_reference(part.mesh)[0], part.unit) for part in waiting))
    with ThreadPoolExecutor(_READERS) as readers:
        files = dict(zip(keys, readers.map(lambda key: _read_file(root, *key), keys), strict=True))
        read = readers.map(lambda part: _place(part, files), waiting)
        placed = dict(zip((part.id for part in waiting), read, strict=True))
    shapes, unread, notes = dict(found), [], dict[str, None]()
    for part in waiting:
        result = placed[part.id]
        if isinstance(result, DryfitError):
            unread.append(Unread(part.id, result.what, result.where.replace(f"{root}/", ""), result.do))
            continue
        shapes[part.id] = result
        if part.sha256 is not None and part.sha256 != result.mesh.sha256:
            notes[f"part {part.id}: its mesh file is not the one that was imported"] = None
    ordered = {part.id: shapes[part.id] for part in project.parts if part.id in shapes}
    return ordered, tuple(unread), tuple(notes)


def _read_file(root: Path, file: str, unit: LengthUnit | None) -> MeshFile | DryfitError:
    """The meshes of a file, or the refusal: other parts are to be compared all the same."""
    try:
        return read_meshes(root / file, unit)
    except DryfitError as error:
        return error


def _place(
    part: Part, files: Mapping[tuple[str, LengthUnit | None], MeshFile | DryfitError]
) -> PartShape | DryfitError:
    file, name = split_reference(part.mesh)
    read = files[file, part.unit]
    if isinstance(read, DryfitError):
        return read
    try:
        return shape_in_assembly(part, select_object(read, name))
    except DryfitError as error:
        return error


def _key(part: Part, sha256: str) -> tuple[str, str | None, LengthUnit | None]:
    return sha256, split_reference(part.mesh)[1], part.unit


def _is_placed_alike(a: Part, b: Part) -> bool:
    return bool(
        (a.placement.rotation == b.placement.rotation).all()
        and (a.placement.translation_mm == b.placement.translation_mm).all()
    )
