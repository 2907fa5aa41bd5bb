"""What photographs say of dimensions: the camera by whichever method is possible, the sizes, and why not the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit import __version__
from dryfit.app.examination import RESULTS_VERSION
from dryfit.app.fingerprint import hash_records
from dryfit.app.photo_groups import PhotoGroup
from dryfit.app.photo_size_records import Cause, NotUsed, PhotoEvidence, SizeLine, Suspect, Tried
from dryfit.app.photographs import PhotoAtHand, find_photo, open_photo
from dryfit.base.errors import DocumentRefused
from dryfit.model.evidence import JointObservations
from dryfit.model.finding import State
from dryfit.model.project import Project
from dryfit.store.document import read_document
from dryfit.store.kept import Kept
from dryfit.store.marks import marks_path, read_marks

# In memory, and in the project folder for the next command.
_KEPT: dict[tuple[Path, str], PhotoEvidence] = {}
_MOST_KEPT = 8
_CLASSES = (PhotoEvidence, SizeLine, Suspect, NotUsed, Cause, Tried, PhotoGroup, JointObservations)


@dataclass(frozen=True, slots=True)
class PhotoSizes:
    """Sizes of photographs. photos: those that were asked for; groups: which were adjusted together."""

    project: str
    photos: tuple[str, ...]
    sizes: tuple[SizeLine, ...]
    suspects: tuple[Suspect, ...]
    not_used: tuple[NotUsed, ...]
    groups: tuple[PhotoGroup, ...] = ()

    @property
    def state(self) -> State:
        """Stop with a suspect; not checked where something is not measured; caution where nothing is controlled."""
        if self.suspects:
            return "stop"
        if self.not_used or not self.sizes:
            return "not checked"
        return "caution" if any(line.p_value is None for line in self.sizes) else "pass"


def size_photos(path: Path, ids: Sequence[str] = ()) -> PhotoSizes:
    """Measure the sizes marked on photographs, some or all. What one misses does not stop the others.

    Raises ProjectMissing or DocumentRefused for the project itself, ReferenceUnknown for an id that is not there.
    """
    document = read_document(path)
    project = document.project
    for id in ids:
        find_photo(project, id, document.path.name)
    return _asked(project, photo_evidence(document.path.parent, project), ids)


def sizes_at_hand(folder: Path, project: Project, at_hand: Sequence[PhotoAtHand]) -> PhotoSizes:
    """The same of photographs that were looked at already: all of the project."""
    return _asked(project, photo_evidence(folder, project, at_hand), ())


def _asked(project: Project, found: PhotoEvidence, ids: Sequence[str]) -> PhotoSizes:
    asked = tuple(photo.id for photo in project.photos if photo.id in ids or not ids)
    return PhotoSizes(
        project=project.name,
        photos=asked,
        sizes=tuple(line for line in found.lines if line.photo in asked or set(line.photos) & set(asked)),
        suspects=tuple(item for item in found.suspects if not item.photo or item.photo in asked),
        not_used=tuple(item for item in found.not_used if set(item.photos) & set(asked)),
        groups=tuple(item for item in found.groups if set(item.photos) & set(asked)),
    )


def project_evidence(path: Path) -> PhotoEvidence:
    """The same for a project folder. Raises ProjectMissing or DocumentRefused."""
    document = read_document(path)
    return photo_evidence(document.path.parent, document.project)


def photo_evidence(
    folder: Path, project: Project, opened: Sequence[PhotoAtHand] | None = None
) -> PhotoEvidence:
    """Everything that the photographs of a project say of its dimensions.

    Measured once for the same pictures and marks, and kept, from one command to the next; a photograph that is refused
    is among what is not used.
    opened : the photographs, where they were looked at already
    """
    if not _any_size(folder, project):
        return PhotoEvidence()
    at_hand = [open_photo(folder, photo) for photo in project.photos] if opened is None else opened
    dimensions = tuple(item.id for item in project.dimensions)
    key = hash_records(
        "photographs", __version__, RESULTS_VERSION, dimensions, [_key(item) for item in at_hand]
    )
    here = folder.resolve(), key
    if here not in _KEPT:
        while len(_KEPT) >= _MOST_KEPT:
            _KEPT.pop(next(iter(_KEPT)))
        _KEPT[here] = _measured(folder, key, at_hand, dimensions)
    return _KEPT[here]


def _measured(
    folder: Path, key: str, at_hand: Sequence[PhotoAtHand], dimensions: Sequence[str]
) -> PhotoEvidence:
    """As it was kept, or measured now and kept. What is damaged is made anew."""
    kept = Kept(folder, _CLASSES)
    found = kept.find(key)
    if isinstance(found, PhotoEvidence):
        return found
    from dryfit.app.photo_measuring import measure_photos

    made = measure_photos(at_hand, frozenset(dimensions))
    kept.keep(key, made)
    return made


def _any_size(folder: Path, project: Project) -> bool:
    """Whether any size is marked at all, or a file of marks that cannot be read may hold one."""
    for photo in project.photos:
        try:
            marks = read_marks(marks_path(folder / photo.file))
        except DocumentRefused:
            return True
        if marks is not None and marks.sizes:
            return True
    return False


def _key(item: PhotoAtHand) -> tuple[object, ...]:
    picture = item.picture
    return (item.photo, None if picture is None else picture.sha256, item.marks, item.faults)
