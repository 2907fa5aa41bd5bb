"""An observation typed into a form, or changed there: checked as it is typed, shown as a difference, then written."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryfit.app.observation_csv import read_cells
from dryfit.base.errors import Fault, NotWritten, ReferenceUnknown, RowsRefused
from dryfit.model.evidence import Observation
from dryfit.store.document import Document, parse_document, read_document
from dryfit.store.edit import DocumentEditor
from dryfit.store.reading_rows import read_row
from dryfit.store.row import Finding
from dryfit.store.rows_evidence import ObservationRow
from dryfit.store.words import quote, suggest

FORM = "the form"
_SPREADS = ("std", "within", "low", "high")


@dataclass(frozen=True, slots=True)
class ObservationEdit:
    """What a form would change in the document. Nothing is written yet.

    reads       the observation as it is understood
    row         its keys as they will stand
    replacing   id of the observation that is changed; "" for a new one
    dimensions  that would be added for it
    diff        of the document's text; sha256: of the document that it was made from
    """

    path: Path
    reads: Observation
    row: Mapping[str, Any]
    replacing: str
    dimensions: tuple[str, ...]
    diff: str
    sha256: str


def fill_form(path: Path, id: str) -> dict[str, str]:
    """The texts of a form for an observation of the document, by the names of its fields.

    Raises ReferenceUnknown for an id that is not there; ProjectMissing or DocumentRefused for the document.
    """
    return _cells(_find(read_document(path), id))


def plan_form(
    path: Path, cells: Mapping[str, str], replacing: str = "", add_dimensions: bool = False
) -> ObservationEdit:
    """What a form would write; empty fields are left out.

    cells : id, of, over, value, unit, std, within, low, high, distribution, given_at, source, date, reliability
    replacing : id of the observation that is changed; it keeps its id
    add_dimensions : dimensions that the project does not have are added, rather than refused
    Raises RowsRefused with every fault; ProjectMissing or DocumentRefused for the document.
    """
    document = read_document(path)
    held = {key: text.strip() for key, text in cells.items() if text.strip()}
    if replacing:
        held["id"] = replacing
    missing = [
        Fault(f"{FORM}: {words}", f"{words} is empty", f"write {do}")
        for key, words, do in (
            ("id", "its name", "a name of its own, such as survey.drum"),
            ("of", "what was measured", "a dimension, such as drum.height, or a sum of them"),
        )
        if key not in held
    ]
    if missing:
        raise RowsRefused(FORM, missing)
    row, new, reads = _check(document, held, replacing, add_dimensions)
    editor = DocumentEditor(document.path)
    _apply(editor, row, new, replacing)
    parse_document(editor.text, document.path.name)
    return ObservationEdit(document.path, reads, row, replacing, new, editor.diff(), document.sha256)


def write_form(edit: ObservationEdit) -> None:
    """Write it; comments and everything else stay.

    Raises NotWritten where the document is no longer the one that the difference was made from.
    """
    editor = DocumentEditor(edit.path)
    if read_document(edit.path).sha256 != edit.sha256:
        what = "the document was changed since the difference was shown"
        raise NotWritten(what, str(edit.path), "look at the difference again, then write it")
    _apply(editor, edit.row, edit.dimensions, edit.replacing)
    editor.save()


def _check(
    document: Document, held: Mapping[str, str], replacing: str, add_dimensions: bool
) -> tuple[dict[str, Any], tuple[str, ...], Observation]:
    project = document.project
    row, faults = read_cells(held, FORM)
    findings: list[Finding] = []
    found = read_row(row, (), ObservationRow, findings)
    if not faults:
        faults += [_fault(finding) for finding in findings]
    known = [item.id for item in project.dimensions]
    of = row.get("of", row.get("ratio", ()))
    new = tuple(id for id in dict.fromkeys([of] if isinstance(of, str) else of) if id not in known)
    if new and not add_dimensions:
        do = f"{suggest(new[0], known, 'dimensions')}; or have it added"
        faults.append(Fault(f"{FORM}: of", f"there is no dimension {quote(new[0])}", do))
    taken = {item.id for item in project.observations} | {item.id for item in project.relations}
    if not replacing and held["id"] in taken:
        what = f"there is an observation or relation {quote(held['id'])} already"
        faults.append(Fault(f"{FORM}: id", what, "give it another name, or change that one"))
    if faults or found is None:
        raise RowsRefused(FORM, faults)
    return row, new, found.to_model()


def _apply(editor: DocumentEditor, row: Mapping[str, Any], new: tuple[str, ...], replacing: str) -> None:
    """Keys that stay are not touched, so that their comments and their spelling stay."""
    editor.add_rows("dimension", [{"id": id} for id in new])
    if not replacing:
        editor.add_rows("observation", [row])
        return
    old = next(item for item in tomllib.loads(editor.text)["observation"] if item["id"] == replacing)
    for key, value in row.items():
        if key not in old or _spelled(old[key]) != _spelled(value):
            editor.set_value(("observation", replacing, key), value)
    for key in old:
        if key not in row:
            editor.remove_value(("observation", replacing, key))


def _find(document: Document, id: str) -> Mapping[str, Any]:
    rows = tomllib.loads(document.text).get("observation", [])
    for row in rows:
        if row["id"] == id:
            return dict(row)
    known = [row["id"] for row in rows]
    raise ReferenceUnknown(
        f"there is no observation {quote(id)}", document.path.name, suggest(id, known, "observations")
    )


def _cells(row: Mapping[str, Any]) -> dict[str, str]:
    cells = {}
    for key, value in row.items():
        if key == "of":
            cells["of"] = value if isinstance(value, str) else _sum(value)
        elif key == "ratio":
            cells["of"], cells["over"] = value
        elif key == "limits":
            cells["low"], cells["high"] = (_spelled(end) for end in value)
        else:
            cells[key] = _spelled(value)
    return cells


def _sum(terms: Mapping[str, float]) -> str:
    """As the form reads it back: "drum.height + 2 x pier - sill"."""
    text = ""
    for name, factor in terms.items():
        size = f"{abs(factor):.12g} x " if abs(factor) != 1 or (not text and factor < 0) else ""
        sign = "-" if factor < 0 else "+"
        text += f" {sign} {size}{name}" if text else f"{'-' if factor < 0 else ''}{size}{name}"
    return text


def _spelled(value: Any) -> str:
    """A value as one types it; equal values are spelled alike."""
    if isinstance(value, list):
        return ", ".join(_spelled(item) for item in value)
    if isinstance(value, dict):
        return _sum(value)
    return f"{value:.12g}" if isinstance(value, int | float) else str(value)


def _fault(finding: Finding) -> Fault:
    key = ".".join(str(step) for step in finding.path[:1])
    return Fault(f"{FORM}: {key}" if key else FORM, finding.what, finding.do)
