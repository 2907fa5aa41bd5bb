"""Marks under the hand of someone at a page: nothing that another wrote meanwhile is overwritten, and steps go back."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from dryfit.app.photo_marking import MarkChanges, MarkRefused, MarkReport, mark_photo
from dryfit.app.photographs import find_photo
from dryfit.base.errors import DryfitError
from dryfit.model.photo import MarkedLine, MarkedPlane, MarkedPoint, Marks, Point2
from dryfit.store.document import read_document
from dryfit.store.marks import marks_path, read_marks
from dryfit.store.marks_edit import MarksEditor, exchange_text

# Places are written to a thousandth of a pixel: finer than any mark, and short to read.
_DECIMALS = 3
_SAME_PX = 0.6 * 10**-_DECIMALS
Kind = Literal["point", "line", "length", "plane", "size"]


class MarkChanged(DryfitError):
    """Another page or program changed a mark since it was shown."""


@dataclass(frozen=True, slots=True)
class MarkStep:
    """One change that can be taken back. before, after: the whole text of the marks; None: no file.

    words  what was done;  moved: the mark where nothing but its place was changed, else ""
    """

    photo: str
    words: str
    before: str | None
    after: str | None
    moved: str = ""

    def joined(self, later: MarkStep) -> MarkStep | None:
        """Both as one step where the later goes on moving the same mark; else None."""
        goes_on = self.moved and self.moved == later.moved and self.photo == later.photo
        return replace(later, before=self.before) if goes_on and self.after == later.before else None

    @property
    def reversed(self) -> MarkStep:
        """The step that takes it back."""
        return MarkStep(self.photo, self.words, self.after, self.before)


def edit_marks(
    path: Path,
    id: str,
    changes: MarkChanges,
    words: str,
    seen: Marks | None,
    touched: Sequence[tuple[Kind, str]] = (),
    moved: str = "",
) -> tuple[MarkReport, MarkStep]:
    """Change marks that were shown before; what is touched must still be as it was seen.

    seen : the marks as the page has them; None where there were none
    touched : kind and name of the rows that are changed, renamed or removed
    moved : as MarkStep has it
    Raises MarkChanged where a touched row is another by now, and what mark_photo raises.
    """
    used: list[MarksEditor] = []
    before: list[str | None] = []

    def agree(editor: MarksEditor) -> None:
        for kind, name in touched:
            now, then = _row(editor.marks, kind, name), None if seen is None else _row(seen, kind, name)
            if now != then:
                what = f'the {kind} "{name}" was changed or removed elsewhere since it was shown here'
                do = "look at it as it is now, then make the change again"
                raise MarkChanged(what, str(editor.path), do)
        used.append(editor)
        before.append(editor.loaded)

    report = mark_photo(path, id, changes, agree)
    return report, MarkStep(id, words, before[0], used[0].text, moved)


def move_mark(
    path: Path, id: str, kind: Kind, name: str, place: int, to_px: Point2, was_px: Point2
) -> tuple[MarkReport, MarkStep]:
    """Move a point, or one mark of a line, from where it was seen.

    place : number of the mark along the line; 0 of a point
    Raises MarkChanged where it lies elsewhere by now, MarkRefused where it is no mark of its own.
    """
    seen = read_seen(path, id)
    there = _places(seen, kind, name)
    if not 0 <= place < len(there):
        raise MarkRefused(
            f'there is no such mark of {kind} "{name}"', id, "look at the marks as they are now"
        )
    if math.dist(there[place], was_px) > _SAME_PX:
        what = f'the {kind} "{name}" was moved elsewhere since it was shown here'
        raise MarkChanged(what, id, "look at where it is now, then move it from there")
    moved = [round(float(value), _DECIMALS) for value in to_px]
    places = [moved if number == place else list(at) for number, at in enumerate(there)]
    row: Mapping[str, object] = (
        {"name": name, "at_px": places[0]} if kind == "point" else {"name": name, "points_px": places}
    )
    changes = MarkChanges(points=(row,)) if kind == "point" else MarkChanges(lines=(row,))
    return edit_marks(path, id, changes, f"move {name}", seen, ((kind, name),), f"{kind}:{name}:{place}")


def take_back(path: Path, step: MarkStep) -> MarkStep:
    """Undo a step; what is returned does it again.

    Raises NotWritten where the marks are no longer as the step left them.
    """
    exchange_text(_file(path, step.photo), step.after, step.before)
    return step.reversed


def read_seen(path: Path, id: str) -> Marks | None:
    """The marks as they are on disk. Raises DocumentRefused with their faults."""
    return read_marks(_file(path, id))


def _file(path: Path, id: str) -> Path:
    document = read_document(path)
    photo = find_photo(document.project, id, document.path.name)
    return marks_path(document.path.parent / photo.file)


def _row(marks: Marks, kind: Kind, name: str) -> object:
    """The record of a row; None where there is none."""
    if kind == "length":
        ends = tuple(sorted(name.split(":")))
        return next((item for item in marks.lengths if tuple(sorted(item.between)) == ends), None)
    if kind == "size":
        return next((item for item in marks.sizes if item.id == name), None)
    rows: Sequence[MarkedPoint | MarkedLine | MarkedPlane] = marks.planes
    if kind != "plane":
        rows = marks.points if kind == "point" else marks.lines
    return next((item for item in rows if item.name == name), None)


def _places(marks: Marks | None, kind: Kind, name: str) -> list[Point2]:
    if marks is None:
        return []
    if kind == "point":
        return [item.at_px for item in marks.points if item.name == name]
    return [
        place for item in marks.lines if item.name == name and not item.through for place in item.points_px
    ]
