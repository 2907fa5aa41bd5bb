"""Set, move and remove marks on a photograph, from a script or a page."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryfit.app.photographs import MARK_STD_PX, PhotoAtHand, PhotoUnfit, find_photo, open_photo
from dryfit.base.errors import DryfitError
from dryfit.files.photo import Picture, read_picture
from dryfit.model.photo import Marks
from dryfit.store.document import read_document
from dryfit.store.marks import marks_path
from dryfit.store.marks_edit import MarksEditor

Place = tuple[float, float]


class MarkRefused(DryfitError):
    """A mark cannot be set as asked."""


@dataclass(frozen=True, slots=True)
class MarkChanges:
    """What is to be changed; rows by the keys of the file of marks, {"name": "door", "at_px": [10, 20]}.

    remove       names of points, lines, planes or sizes; of a length its ends, "foot:top"
    rename       (kind, name, new name); references to it in the file follow
    unset        (kind, name, key): no longer stated
    std_px       of marks that state none of their own, from now on
    same_picture the marks fit the picture that is there now
    """

    points: tuple[Mapping[str, Any], ...] = ()
    lines: tuple[Mapping[str, Any], ...] = ()
    lengths: tuple[Mapping[str, Any], ...] = ()
    planes: tuple[Mapping[str, Any], ...] = ()
    sizes: tuple[Mapping[str, Any], ...] = ()
    remove: tuple[str, ...] = ()
    rename: tuple[tuple[str, str, str], ...] = ()
    unset: tuple[tuple[str, str, str], ...] = ()
    std_px: float | None = None
    same_picture: bool = False

    @property
    def is_empty(self) -> bool:
        """Whether nothing is to be done."""
        return self == MarkChanges()


@dataclass(frozen=True, slots=True)
class MarkReport:
    """What was changed. marks: how many of each kind there are now."""

    project: str
    photo: str
    file: str
    added: tuple[str, ...]
    changed: tuple[str, ...]
    removed: tuple[str, ...]
    std_px: float
    points: int
    lines: int
    lengths: int
    planes: int
    sizes: int
    notes: tuple[str, ...]


def mark_photo(
    path: Path, id: str, changes: MarkChanges, agree: Callable[[MarksEditor], None] | None = None
) -> MarkReport:
    """Change the marks of a photograph and save them at once, all or none.

    agree : is shown the marks as they are on disk and may raise, before anything is changed
    Raises ReferenceUnknown, PhotoRefused, PhotoUnfit for a picture that changed since it was marked, MarkRefused for
    a mark outside the picture, MarksRefused with every fault, or NotWritten; the file is then as it was.
    """
    document = read_document(path)
    photo = find_photo(document.project, id, document.path.name)
    file = document.path.parent / photo.file
    picture, _ = read_picture(file)
    if changes.is_empty:
        raise MarkRefused(
            "nothing is to be marked", "the command line", "give --point NAME=X,Y or another mark"
        )
    _check_values(changes, picture)
    place = marks_path(file)
    editor = MarksEditor(place, file.name, picture.sha256, changes.std_px or MARK_STD_PX)
    _check_picture(editor, picture, photo.file, changes.same_picture)
    if agree is not None:
        agree(editor)
    notes = (
        [f"marks that state no standard uncertainty have {editor.marks.std_px:g} px"] if editor.is_new else []
    )
    removed = [_remove(editor, name) for name in changes.remove]
    for kind, name, new in changes.rename:
        editor.rename(kind, name, new)
    for kind, name, key in changes.unset:
        editor.unset(kind, name, key)
    added, changed = _put_all(editor, changes)
    changed += [f'{kind} "{new}"' for kind, _, new in changes.rename]
    if changes.std_px is not None:
        editor.set_head("std_px", float(changes.std_px))
    marks = editor.save()
    return MarkReport(
        project=document.project.name,
        photo=id,
        file=marks_path(Path(photo.file)).as_posix(),
        added=tuple(added),
        changed=tuple(changed),
        removed=tuple(removed),
        std_px=marks.std_px,
        points=len(marks.points),
        lines=len(marks.lines),
        lengths=len(marks.lengths),
        planes=len(marks.planes),
        sizes=len(marks.sizes),
        notes=tuple(notes),
    )


def read_photo(path: Path, id: str) -> PhotoAtHand:
    """A photograph with its marks, for a page. Raises ReferenceUnknown; faults are told with it."""
    document = read_document(path)
    return open_photo(document.path.parent, find_photo(document.project, id, document.path.name))


def _check_picture(editor: MarksEditor, picture: Picture, file: str, same_picture: bool) -> None:
    if editor.marks.photo_sha256 == picture.sha256:
        return
    if not same_picture:
        what = "the marks were set on another picture than the one that is there now"
        do = (
            "see that each mark still fits, then accept them with --same-picture, or put the old picture back"
        )
        raise PhotoUnfit(what, file, do)
    editor.set_head("photo_sha256", picture.sha256)


def _check_values(changes: MarkChanges, picture: Picture) -> None:
    """A mark lies in the picture: within its outermost pixels."""
    if changes.std_px is not None and not (math.isfinite(changes.std_px) and changes.std_px > 0.0):
        raise MarkRefused(
            f"{changes.std_px} is no standard uncertainty", "--std", "give pixels above 0, such as 0.7"
        )
    rows = [*changes.points, *changes.lines]
    for row in rows:
        places = row.get("points_px") or ([row["at_px"]] if row.get("at_px") is not None else [])
        for place in places:
            if not is_inside(place, picture):
                what = (
                    f"{place[0]:g},{place[1]:g} lies outside the picture of {picture.width_px} x "
                    f"{picture.height_px} pixels"
                )
                do = "count in upright pixels, right and down from the centre of the first"
                raise MarkRefused(what, f'mark "{row.get("name", "")}"', do)


def is_inside(place: Sequence[float], picture: Picture) -> bool:
    """Whether a mark lies on the picture; its first pixel reaches from -0.5 to 0.5."""
    x, y = place
    return -0.5 <= x <= picture.width_px - 0.5 and -0.5 <= y <= picture.height_px - 0.5


def _put_all(editor: MarksEditor, changes: MarkChanges) -> tuple[list[str], list[str]]:
    added: list[str] = []
    changed: list[str] = []
    for table, rows in (
        ("plane", changes.planes),
        ("point", changes.points),
        ("line", changes.lines),
        ("length", changes.lengths),
        ("size", changes.sizes),
    ):
        for row in rows:
            was_there = editor.put(table, row)
            (changed if was_there else added).append(_label(table, row))
    return added, changed


def _label(table: str, row: Mapping[str, Any]) -> str:
    name = row.get("name") or row.get("id")
    return f'{table} "{name}"' if name else f"{table} {' to '.join(map(str, row.get('between', ())))}"


def _remove(editor: MarksEditor, name: str) -> str:
    """The row with a name, whatever its kind. Raises MarkRefused where there is none, or more than one."""
    marks = editor.marks
    name = (
        ":".join(sorted(name.split(":")))
        if name.count(":") == 1 and name not in _names(marks)["point"]
        else name
    )
    kinds = [kind for kind, names in _names(marks).items() if name in names]
    wanted, colon, rest = name.partition("=")
    if colon and wanted in _names(marks):
        kinds, name = ([wanted], rest) if rest in _names(marks)[wanted] else ([], rest)
    if len(kinds) != 1:
        what = f'nothing is marked as "{name}"' if not kinds else f'"{name}" is a {" and a ".join(kinds)}'
        do = f"say which: --remove {kinds[0]}={name}" if kinds else "`dryfit photo list` shows what is there"
        raise MarkRefused(what, str(editor.path), do)
    editor.remove(kinds[0], name)
    return f'{kinds[0]} "{name}"'


def _names(marks: Marks) -> dict[str, set[str]]:
    return {
        "point": {point.name for point in marks.points},
        "line": {line.name for line in marks.lines},
        "plane": {plane.name for plane in marks.planes},
        "size": {size.id for size in marks.sizes},
        "length": {":".join(sorted(item.between)) for item in marks.lengths},
    }
