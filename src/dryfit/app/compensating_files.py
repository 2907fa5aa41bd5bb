"""Corrected copies in the project folder: their files, their rows in the document and their record in the ledger."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dryfit.app.compensating_copies import Copy
from dryfit.app.loading import Opened
from dryfit.app.prediction import LEDGER_NAME
from dryfit.base.errors import NotWritten
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.part import Compensation, Part
from dryfit.model.project import Project
from dryfit.store.atomic import write_atomically
from dryfit.store.edit import DocumentEditor
from dryfit.store.ledger import open_ledger

FOLDER = "compensated"


def free_name(folder: Path, part: Part, taken: Sequence[str]) -> str:
    """compensated/<part>.3mf, with a number where that is taken: no file is ever replaced."""
    stem = re.sub(r"[^A-Za-z0-9_.+-]+", "-", part.id)
    number = 1
    while True:
        suffix = "" if number == 1 else f"-{number}"
        name = f"{FOLDER}/{stem}{suffix}.3mf"
        target = folder / name
        if name not in taken and not target.exists() and not target.is_symlink():
            return name
        number += 1


def edit_document(opened: Opened, after: Project, copies: Sequence[Copy]) -> DocumentEditor:
    """The document with the copies named in it, not yet saved."""
    editor = DocumentEditor(opened.document.path)
    for copy in copies:
        made = after.part(copy.part).compensation
        if made is not None:
            editor.set_value(("part", copy.part, "compensated"), compensated_row(made))
    return editor


def compensated_row(made: Compensation) -> dict[str, Any]:
    """The table of the document."""
    row: dict[str, Any] = {
        "file": made.file,
        "sha256": made.sha256,
        "source_sha256": made.source_sha256,
        "machine": made.machine,
        "euler_xyz_deg": list(made.bed.euler_xyz_deg),
        "figures": {name: value for name, value in zip(FIGURES, made.figures, strict=True) if value},
    }
    if made.shrinkage:
        row["shrinkage"] = made.shrinkage
    if made.first_layer_height_mm:
        row["first_layer_height_mm"] = made.first_layer_height_mm
    if made.qualification is not None:
        row["qualification"] = made.qualification
    return row


def write_copies(
    opened: Opened,
    editor: DocumentEditor,
    copies: Sequence[Copy],
    machine: Machine,
    figures: tuple[float, ...],
) -> None:
    """The files, then the document, then the record; the files go again where the document cannot be saved."""
    folder = opened.folder / FOLDER
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        do = f"check that {FOLDER}/ is a folder that may be written to"
        raise NotWritten(f"the folder cannot be made: {error.strerror}", str(folder), do) from error
    with open_ledger(opened.folder / LEDGER_NAME) as ledger:
        made: list[Path] = []
        try:
            for copy in copies:
                made.append(opened.folder / copy.file)
                write_atomically(made[-1], copy.data)
            document = editor.save()
        except BaseException:
            for file in made:
                file.unlink(missing_ok=True)
            raise
        ledger.append(
            "compensation", _payload(opened, document.project, copies, machine, figures, document.sha256)
        )


def _payload(
    opened: Opened,
    after: Project,
    copies: Sequence[Copy],
    machine: Machine,
    figures: tuple[float, ...],
    document_sha256: str,
) -> dict[str, Any]:
    """What the ledger keeps: which file was made from which, for which figures, and how well it prints again."""
    return {
        "machine": machine.id,
        "qualification": machine.error.estimated.record if machine.error.estimated else None,
        "figures": dict(zip(FIGURES, figures, strict=True)),
        "document_sha256": document_sha256,
        "copies": [
            {
                "part": copy.part,
                "mesh": after.part(copy.part).mesh,
                "source_sha256": opened.shapes[copy.part].mesh.sha256,
                "file": copy.file,
                "sha256": copy.sha256,
                "bed_euler_xyz_deg": list(after.part(copy.part).bed.euler_xyz_deg),
                "round_trip_mm": copy.round_trip_mm,
                "round_trip_single_mm": copy.round_trip_single_mm,
            }
            for copy in copies
        ],
    }
