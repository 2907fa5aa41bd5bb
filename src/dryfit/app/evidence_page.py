"""The photographs of a project as a page shows them: pictures, marks, cameras, sizes, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.photo_checking import PhotoVerdict, judge_photos
from dryfit.app.photo_sizes import PhotoSizes, sizes_at_hand
from dryfit.app.photographs import PhotoFinding, PhotoLine, describe, open_photo
from dryfit.model.finding import State, gravest
from dryfit.model.photo import Marks
from dryfit.store.document import read_document
from dryfit.store.marks import marks_path


@dataclass(frozen=True, slots=True, eq=False)
class EvidencePhoto:
    """One photograph.

    line     what is known of picture and marks;  verdict: findings, camera and methods
    sha256   of the picture; "" where it is refused
    marks    None where there are none or they are refused
    """

    line: PhotoLine
    verdict: PhotoVerdict
    sha256: str
    marks: Marks | None

    @property
    def id(self) -> str:
        return self.line.id

    @property
    def state(self) -> State:
        """The gravest of what was found."""
        return self.verdict.state


@dataclass(frozen=True, slots=True, eq=False)
class EvidenceReport:
    """All photographs. dimensions: ids that a size may be of; stamp: of the files at the time of reading."""

    project: str
    photos: tuple[EvidencePhoto, ...]
    between: tuple[PhotoFinding, ...]
    sizes: PhotoSizes
    dimensions: tuple[str, ...]
    stamp: EvidenceStamp

    @property
    def state(self) -> State:
        """The gravest of photographs, sizes and what shows between photographs."""
        states = [photo.state for photo in self.photos] + [item.state for item in self.between]
        if self.sizes.sizes or self.sizes.not_used or self.sizes.suspects:
            states.append(self.sizes.state)
        return gravest(states, "not checked")

    def photo(self, id: str) -> EvidencePhoto | None:
        """One of them, or None."""
        return next((photo for photo in self.photos if photo.id == id), None)


# (path, modification time, size) of each file that the report rests on; None for one that is not there.
EvidenceStamp = tuple[tuple[str, tuple[int, int] | None], ...]


def read_evidence(path: Path) -> EvidenceReport:
    """Read, check and measure all photographs. Raises ProjectMissing or DocumentRefused for the project itself."""
    document = read_document(path)
    project, folder = document.project, document.path.parent
    # Taken first: a change while they are read is then seen at the next look.
    stamp = _stamp([document.path, *_files(folder, [photo.file for photo in project.photos])])
    at_hand = [open_photo(folder, photo) for photo in project.photos]
    check = judge_photos(project, at_hand)
    sizes = sizes_at_hand(folder, project, at_hand)
    photos = tuple(
        EvidencePhoto(
            describe(item), verdict, item.picture.sha256 if item.picture is not None else "", item.marks
        )
        for item, verdict in zip(at_hand, check.photos, strict=True)
    )
    dimensions = tuple(item.id for item in project.dimensions)
    return EvidenceReport(project.name, photos, check.between, sizes, dimensions, stamp)


def look_again(stamp: EvidenceStamp) -> EvidenceStamp:
    """The same files as they are now: equal to the stamp where none of them changed."""
    return _stamp([Path(path) for path, _ in stamp])


def _files(folder: Path, pictures: Sequence[str]) -> list[Path]:
    return [file for name in pictures for file in (folder / name, marks_path(folder / name))]


def _stamp(files: Sequence[Path]) -> EvidenceStamp:
    found: list[tuple[str, tuple[int, int] | None]] = []
    for file in files:
        try:
            status = file.stat()
        except OSError:
            found.append((str(file), None))
        else:
            found.append((str(file), (status.st_mtime_ns, status.st_size)))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class EvidenceCount:
    """What the link of the chain says: photographs, sizes that the schedule takes, and their state."""

    photos: int
    sizes: int
    state: State


def count_evidence(report: EvidenceReport) -> EvidenceCount | None:
    """None where there is no photograph."""
    if not report.photos:
        return None
    used = sum(1 for line in report.sizes.sizes if line.is_used)
    return EvidenceCount(len(report.photos), used, report.state)
