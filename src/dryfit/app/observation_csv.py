"""Observations out of a table, a pasted text or a command line: all are checked before the document is touched."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryfit.app.csv_rows import CsvRow, CsvTable, refuse_rows, scan_csv, scan_csv_text
from dryfit.base.errors import Fault, NotWritten
from dryfit.model.evidence import Observation
from dryfit.store.document import Document, parse_document, read_document
from dryfit.store.edit import DocumentEditor
from dryfit.store.reading_rows import read_row
from dryfit.store.row import Finding
from dryfit.store.rows_evidence import ObservationRow
from dryfit.store.words import quote, suggest

REQUIRED = ("id", "of")
OPTIONAL = (
    *("over", "value", "unit", "std", "within", "low", "high", "distribution"),
    *("given_at", "source", "date", "reliability"),
)
PASTED = "the pasted table"
COMMAND = "the command line"
_QUANTITIES = ("value", "std", "within")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_SIGN = re.compile(r"\s+([+-])\s+")
_TIMES = re.compile(r"\s*[*x]\s*")


@dataclass(frozen=True, slots=True)
class PlannedObservation:
    """An observation as it will stand in the document. line: of the table; row: its keys; reads: what it says."""

    line: int
    row: Mapping[str, Any]
    reads: Observation


@dataclass(frozen=True, slots=True)
class ObservationPlan:
    """What a table would add to a document. Nothing is written yet.

    sha256      of the document that it was checked against
    dimensions  that would be added for it
    diff        of the document's text
    """

    project: str
    source: str
    path: Path
    sha256: str
    observations: tuple[PlannedObservation, ...]
    dimensions: tuple[str, ...]
    diff: str


@dataclass(frozen=True, slots=True)
class ObservationsTaken:
    """What was looked at, and whether it was written into the file."""

    plan: ObservationPlan
    is_written: bool


def plan_observations(
    source: Path | str, project: Path, add_dimensions: bool = False, name: str = PASTED
) -> ObservationPlan:
    """Read a table of observations, by its path or as a text, and check it against a project.

    Columns: id, of; and as they are needed over (of/over is a ratio), value, unit (of plain numbers), std, or within
    or low and high with distribution, given_at, source, date, reliability. of may be a sum: "drum.height + dome.rise",
    with coefficients as "2 x bay - pier". name: of a text, in its faults.
    add_dimensions : dimensions that the project does not have are added, rather than refused
    Raises RowsRefused with every fault by its line, ProjectMissing or DocumentRefused for the project itself.
    """
    if isinstance(source, Path):
        table = scan_csv(source, REQUIRED, OPTIONAL)
    else:
        table = scan_csv_text(source, name, REQUIRED, OPTIONAL)
    return _plan(table, read_document(project), add_dimensions)


def plan_observation(
    cells: Mapping[str, str], project: Path, add_dimensions: bool = False
) -> ObservationPlan:
    """The same for one observation; cells by the names of the columns, empty ones left out. Raises RowsRefused."""
    held = {key: text.strip() for key, text in cells.items() if text.strip()}
    lacking = [key for key in REQUIRED if key not in held]
    if lacking:
        raise refuse_rows(
            CsvTable(COMMAND, "", ()),
            [Fault(COMMAND, f"no {key} is given", f"give its {key}") for key in lacking],
        )
    return _plan(CsvTable(COMMAND, "", (CsvRow(0, held),)), read_document(project), add_dimensions)


def write_observations(plan: ObservationPlan) -> ObservationsTaken:
    """Add the rows of a plan to the document, all or none; its comments stay.

    Raises NotWritten where the document is no longer the one that the plan was checked against.
    """
    editor = DocumentEditor(plan.path)
    if read_document(plan.path).sha256 != plan.sha256:
        what = "the document was changed since the table was checked against it"
        raise NotWritten(what, str(plan.path), "check the table once more, then write it")
    _add(editor, plan.dimensions, plan.observations)
    editor.save()
    return ObservationsTaken(plan, True)


def _plan(table: CsvTable, document: Document, add_dimensions: bool) -> ObservationPlan:
    project = document.project
    known = [item.id for item in project.dimensions]
    had = {item.id: "in the document" for item in project.observations}
    had |= {item.id: "a relation of the document" for item in project.relations}
    faults = list(table.faults)
    planned: list[PlannedObservation] = []
    new: dict[str, None] = {}
    for row in table.rows:
        where = table.where(row.line) if row.line else table.name
        values, own = read_cells(row.cells, where)
        findings: list[Finding] = []
        found = None if own else read_row(values, (), ObservationRow, findings)
        own += [_fault(where, finding) for finding in findings]
        for id in _dimensions(values):
            if id not in known and not add_dimensions:
                own.append(_unknown(id, known, where))
            elif id not in known:
                new.setdefault(id)
        id = row.cells["id"]
        if id in had:
            own.append(Fault(where, f"the id {quote(id)} is there already: {had[id]}", "give it another id"))
        had.setdefault(id, f"in line {row.line}" if row.line else COMMAND)
        faults += own
        if found is not None and not own:
            planned.append(PlannedObservation(row.line, values, found.to_model()))
    if faults:
        raise refuse_rows(table, faults)
    editor = DocumentEditor(document.path)
    _add(editor, tuple(new), planned)
    parse_document(editor.text, document.path.name)
    return ObservationPlan(
        project.name, table.name, document.path, document.sha256, tuple(planned), tuple(new), editor.diff()
    )


def _add(editor: DocumentEditor, dimensions: Sequence[str], planned: Sequence[PlannedObservation]) -> None:
    editor.add_rows("dimension", [{"id": id} for id in dimensions])
    editor.add_rows("observation", [item.row for item in planned])


def read_cells(cells: Mapping[str, str], where: str) -> tuple[dict[str, Any], list[Fault]]:
    """Keys of an [[observation]] in their usual order, and what cannot be read."""
    faults: list[Fault] = []
    values: dict[str, Any] = {"id": cells["id"]}
    if "over" in cells:
        values["ratio"] = [cells["of"], cells["over"]]
    else:
        values["of"] = _terms(cells["of"], where, faults)
    for key in ("value", "unit", "std", "within"):
        if key in cells:
            values[key] = _quantity(cells[key]) if key in _QUANTITIES else cells[key]
    ends = [key for key in ("low", "high") if key in cells]
    if len(ends) == 1:
        other = "high" if ends == ["low"] else "low"
        faults.append(Fault(where, f"{ends[0]} is given without {other}", f"fill in {other}"))
    elif ends:
        values["limits"] = [_quantity(cells[key]) for key in ends]
    for key in ("distribution", "given_at", "source", "date", "reliability"):
        if key in cells:
            values[key] = cells[key]
    return values, faults


def _quantity(text: str) -> float | str:
    """A plain number, in the unit of its row; else a text that holds its unit."""
    if not _NUMBER.fullmatch(text):
        return text
    number = float(text)
    return number if math.isfinite(number) else text


def _terms(text: str, where: str, faults: list[Fault]) -> str | dict[str, float]:
    """One dimension, or a sum: terms stand between spaced signs, a coefficient before x or *."""
    pieces = _SIGN.split(text)
    if len(pieces) == 1 and not re.match(r"\s*[\d.]+\s*[*x]\s", text):
        return text
    terms: dict[str, float] = {}
    for sign, piece in zip(["+", *pieces[1::2]], pieces[::2], strict=True):
        number, _, name = ("1", "", piece.strip())
        head = _TIMES.split(piece.strip(), maxsplit=1)
        if len(head) == 2 and _NUMBER.fullmatch(head[0]):
            number, name = head
        if not name:
            faults.append(
                Fault(where, f"{quote(text)} is not read as a sum", 'write "drum.height + dome.rise"')
            )
        elif name in terms:
            faults.append(
                Fault(where, f"{quote(name)} stands twice in the sum", "write it once, as 2 x NAME")
            )
        else:
            terms[name] = float(number) * (-1.0 if sign == "-" else 1.0)
    return terms


def _dimensions(values: Mapping[str, Any]) -> list[str]:
    of = values.get("of", values.get("ratio", ()))
    return list(dict.fromkeys([of] if isinstance(of, str) else of))


def _unknown(id: str, known: Sequence[str], where: str) -> Fault:
    do = suggest(id, known, "dimensions") if known else "the project has no dimensions yet"
    return Fault(where, f"there is no dimension {quote(id)}", f"{do}; or add what is new: --add-dimensions")


def _fault(where: str, finding: Finding) -> Fault:
    key = ".".join(str(step) for step in finding.path[:1])
    what = finding.what if not key or key in finding.what else f"{key}: {finding.what}"
    return Fault(where, what, finding.do)
