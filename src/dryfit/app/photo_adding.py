"""Take photographs into a project: checked whole, copied without what is private, named in the document."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from dryfit.app.photographs import PhotoLine, describe, open_photo
from dryfit.base.errors import DryfitError, NotWritten
from dryfit.files.photo import Picture, check_pixels, cleaned, parse_picture, read_picture
from dryfit.model.photo import Photo
from dryfit.model.project import Project
from dryfit.store.atomic import write_atomically
from dryfit.store.document import read_document
from dryfit.store.edit import DocumentEditor

FOLDER = "photos"
_LARGE_PX = 40e6
Progress = Callable[[int, int], None]


class PhotoNotAdded(DryfitError):
    """A picture cannot become a photograph of this project as asked."""


@dataclass(frozen=True, slots=True)
class PhotoAddReport:
    """Photographs that were added or taken again, and what is to be known of them."""

    project: str
    photos: tuple[PhotoLine, ...]
    renewed: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Planned:
    id: str
    relative: str
    data: bytes
    picture: Picture
    is_there: bool
    is_renewed: bool
    notes: tuple[str, ...]


def add_photos(
    path: Path,
    files: Sequence[Path],
    id: str | None = None,
    again: bool = False,
    progress: Progress | None = None,
) -> PhotoAddReport:
    """Read pictures to their last byte, copy them into photos/ and add a [[photo]] for each.

    id : of a single photograph; else the file's name   again : take a changed picture once more
    The copy of a JPEG or PNG holds no place, name, serial number or comment; its pixels stay as they are. All files
    are checked before anything is written. Raises PhotoRefused, PhotoNotAdded, DocumentRefused or NotWritten; the
    project is then as it was.
    """
    document = read_document(path)
    folder, project = document.path.parent, document.project
    if id is not None and len(files) != 1:
        raise PhotoNotAdded("--id names one photograph", "the command line", "add one file with it at a time")
    planned: list[_Planned] = []
    for done, file in enumerate(files):
        planned.append(_plan(file, folder, project, id, again, planned))
        if progress is not None:
            progress(done + 1, len(files))
    _write(document.path, planned)
    photos = {photo.id: photo for photo in read_document(document.path).project.photos}
    return PhotoAddReport(
        project=project.name,
        photos=tuple(describe(open_photo(folder, photos[plan.id])) for plan in planned),
        renewed=tuple(plan.id for plan in planned if plan.is_renewed),
        notes=tuple(f"{plan.id}: {note}" for plan in planned for note in plan.notes),
    )


def _plan(
    file: Path, folder: Path, project: Project, id: str | None, again: bool, planned: Sequence[_Planned]
) -> _Planned:
    picture, data = read_picture(file)
    check_pixels(picture, data, str(file))
    target, relative = _target(file, folder)
    is_there = target.exists() and target.samefile(file)
    notes = _size_notes(picture)
    if not is_there:
        kept = cleaned(picture, data)
        if kept.is_changed:
            notes.append(
                "the copy in the project holds no place, name or comment any more; its pixels are the same"
            )
            data = kept.data
            picture = parse_picture(data, picture.name, str(file))
            check_pixels(picture, data, str(file))
    if picture.is_private:
        notes.append("the file holds a place, a name or a comment: think of it before you hand the folder on")
    held = next((photo for photo in project.photos if photo.file == relative), None)
    if held is not None:
        if held.sha256 != picture.sha256 and not again:
            do = "use --again to take the changed picture; its marks must then be looked at again"
            raise PhotoNotAdded(f'{relative} is in the project already, as "{held.id}"', str(file), do)
        if held.sha256 == picture.sha256:
            notes.append("the same picture is in the project already; nothing was changed")
        return _Planned(
            held.id, relative, data, picture, is_there, held.sha256 != picture.sha256, tuple(notes)
        )
    name = _choose_id(file, id, project.photos, planned)
    _check_new(file, target, relative, is_there, project.photos, picture, planned)
    return _Planned(name, relative, data, picture, is_there, False, tuple(notes))


def _size_notes(picture: Picture) -> list[str]:
    if picture.width_px * picture.height_px <= _LARGE_PX:
        return []
    what = f"{picture.megapixels:.0f} megapixels: marks count in its full {picture.width_px} x {picture.height_px} "
    return [what + "pixels, and pages show a reduced copy"]


def _target(file: Path, folder: Path) -> tuple[Path, str]:
    """Where the picture will lie; one that is in the project folder stays where it is."""
    try:
        inside = file.resolve().relative_to(folder.resolve())
        return file, inside.as_posix()
    except ValueError:
        name = re.sub(r"[^A-Za-z0-9._+-]+", "-", file.name).lstrip("-.") or f"photo{file.suffix}"
        return folder / FOLDER / name, (PurePosixPath(FOLDER) / name).as_posix()


def _choose_id(file: Path, id: str | None, photos: Sequence[Photo], planned: Sequence[_Planned]) -> str:
    name = id if id is not None else re.sub(r"[^A-Za-z0-9_.+-]+", "-", file.stem).strip("-.") or "photo"
    if not name[0].isalnum():
        name = f"photo{name}"
    if name in {photo.id for photo in photos} | {plan.id for plan in planned}:
        do = "name it otherwise: --id NAME"
        raise PhotoNotAdded(f'there is a photo "{name}" already', str(file), do)
    return name


def _check_new(
    file: Path,
    target: Path,
    relative: str,
    is_there: bool,
    photos: Sequence[Photo],
    picture: Picture,
    planned: Sequence[_Planned],
) -> None:
    for id, sha256 in [*((p.id, p.sha256) for p in photos), *((p.id, p.picture.sha256) for p in planned)]:
        if sha256 == picture.sha256:
            what = f'it is the same picture as "{id}"'
            raise PhotoNotAdded(what, str(file), "mark that one: a picture counted twice would count for two")
    if any(plan.relative == relative for plan in planned) or (target.exists() and not is_there):
        what = f"there is another {relative} already"
        raise PhotoNotAdded(what, str(file), "rename the file, then add it")


def _write(document: Path, planned: Sequence[_Planned]) -> None:
    """Copy the pictures, then save the document; the copies go again where it cannot be saved."""
    editor = DocumentEditor(document)
    known = {photo.id for photo in read_document(document).project.photos}
    rows = [
        {"id": plan.id, "file": plan.relative, "sha256": plan.picture.sha256}
        for plan in planned
        if plan.id not in known
    ]
    if rows:
        editor.add_rows("photo", rows)
    for plan in planned:
        if plan.is_renewed:
            editor.set_value(("photo", plan.id, "sha256"), plan.picture.sha256)
    before: list[tuple[Path, bytes | None]] = []
    try:
        for plan in planned:
            target = document.parent / plan.relative
            if plan.is_there or (target.exists() and plan.id in known and not plan.is_renewed):
                continue
            before.append((target, target.read_bytes() if target.exists() else None))
            _copy(plan, target)
        editor.save()
    except BaseException:
        for target, content in reversed(before):
            if content is not None:
                write_atomically(target, content)
            else:
                target.unlink(missing_ok=True)
        raise


def _copy(plan: _Planned, target: Path) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"the picture cannot be copied into the project: {error.strerror}"
        raise NotWritten(
            what, str(target.parent), "check that photos/ is a folder that may be written to"
        ) from error
    write_atomically(target, plan.data)
    if hashlib.sha256(target.read_bytes()).hexdigest() != plan.picture.sha256:
        what = "the copy is not what was read"
        raise NotWritten(what, str(target), "see that the disk is sound, then add it once more")
