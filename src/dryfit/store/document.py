"""Reading the project document: text -> the records of model/, or every fault at once."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dryfit.base.errors import DocumentRefused, ProjectMissing
from dryfit.model.project import Project
from dryfit.store.assumptions import list_assumptions
from dryfit.store.migrations import SCHEMA, migrate
from dryfit.store.reading_rows import place_faults
from dryfit.store.references import check_references
from dryfit.store.row import Finding, parse_scale
from dryfit.store.row import Path as KeyPath
from dryfit.store.tables import LISTS, Tables, read_tables
from dryfit.store.toml_text import LARGEST_BYTES, decode, parse_toml, refuse_whole
from dryfit.store.words import describe_value

DOCUMENT_NAME = "project.toml"


@dataclass(frozen=True, slots=True)
class Document:
    """A document that was read and holds no fault.

    path         where it lies
    text         as it stands in the file
    sha256       of the text as UTF-8, which is the file's own
    project      the records
    assumptions  what the document left open and what was taken, in words
    """

    path: Path
    text: str
    sha256: str
    project: Project
    assumptions: tuple[str, ...]


def read_document(path: Path) -> Document:
    """The document at path, or project.toml where path is a folder.

    Raises ProjectMissing where there is none, DocumentRefused with all faults where it is not valid.
    """
    # A name without an ending is a folder that is not there, rather than a document without one.
    file = path / DOCUMENT_NAME if path.is_dir() or not path.suffix else path
    text = read_text(file)
    return replace(parse_document(text, file.name), path=file)


def read_text(file: Path) -> str:
    """The text of a document file, its line ends as they are.

    Raises ProjectMissing, or DocumentRefused where it cannot be read, is too large or not UTF-8.
    """
    try:
        with file.open("rb") as stream:
            # One byte past the limit is enough to tell; a file of gigabytes is never held.
            data = stream.read(LARGEST_BYTES + 1)
    except (FileNotFoundError, NotADirectoryError) as error:
        folder = file.parent
        raise ProjectMissing(
            f"no {file.name} here", str(folder), f"`dryfit new {folder}` makes one, or name another folder"
        ) from error
    except OSError as error:
        what = f"the document cannot be read: {error.strerror}"
        raise refuse_whole(str(file), what, "check the permissions of the file") from error
    return decode(data, file.name)


def parse_document(text: str, name: str) -> Document:
    """The document of a text; name stands in the faults, as "project.toml".

    Raises DocumentRefused with all faults, sorted by line.
    """
    raw = parse_toml(text, name)
    version, findings = _check_schema(raw)
    if version is not None:
        if version > SCHEMA:
            raise _refuse(text, raw, name, findings)
        raw = migrate(raw, version)
    tables = read_tables(raw)
    findings += [*tables.findings, *check_references(raw)]
    if findings:
        raise _refuse(text, raw, name, findings)
    sha256 = hashlib.sha256(text.encode("utf-8")).hexdigest()
    return Document(Path(name), text, sha256, _build(tables), list_assumptions(tables))


def _check_schema(raw: dict[str, Any]) -> tuple[int | None, list[Finding]]:
    """The version, or None where it is not known and the newest is assumed for the remaining checks."""
    path: KeyPath = ("schema",)
    do = f"write schema = {SCHEMA} as the first line"
    if "schema" not in raw:
        return None, [Finding(path, "the document does not state its schema", do)]
    version = raw["schema"]
    if isinstance(version, bool) or not isinstance(version, int):
        return None, [Finding(path, f"a whole number is expected here, not {describe_value(version)}", do)]
    if version > SCHEMA:
        what = f"the document has schema {version}, written by a newer program"
        return version, [Finding(path, what, f"update dryfit, which knows schema {SCHEMA} and older")]
    if version < 1:
        return None, [Finding(path, f"there has never been a schema {version}", do)]
    return version, []


def _refuse(text: str, raw: dict[str, Any], name: str, findings: Iterable[Finding]) -> DocumentRefused:
    return DocumentRefused(name, place_faults(text, raw, name, findings, dict.fromkeys(LISTS, "id")))


def _build(tables: Tables) -> Project:
    row = tables.project
    if row is None:
        raise ValueError("a document without [project] has a fault")
    lenses = {lens.id: lens.to_model() for lens in tables.lenses}
    return Project(
        name=row.name,
        scale=None if row.scale is None else parse_scale(row.scale),
        risk=row.risk,
        invented=row.invented,
        machines=tuple(machine.to_model() for machine in tables.machines),
        materials=tuple(material.to_model() for material in tables.materials),
        parts=tuple(part.to_model() for part in tables.parts),
        joints=tuple(joint.to_model() for joint in tables.joints),
        characteristics=tuple(characteristic.to_model() for characteristic in tables.characteristics),
        assembly=tables.assembly.to_model(),
        search=tables.search.to_model(),
        dimensions=tuple(dimension.to_model() for dimension in tables.dimensions),
        features=tuple(feature.to_model() for feature in tables.features),
        adhesives=tuple(adhesive.to_model() for adhesive in tables.adhesives),
        instruments=tuple(instrument.to_model() for instrument in tables.instruments),
        photos=tuple(
            replace(photo.to_model(), calibrated=lenses.get(photo.lens or "")) for photo in tables.photos
        ),
        lenses=tuple(lenses.values()),
        observations=tuple(observation.to_model() for observation in tables.observations),
        relations=tuple(relation.to_model() for relation in tables.relations),
        scale_from=None if row.scale_from is None else row.scale_from.to_model(),
    )
