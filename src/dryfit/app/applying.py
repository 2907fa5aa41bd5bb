"""Turn what-ifs into edits of the project document, shown first and written after."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryfit.app.whatif import WhatIfRefused, apply_what_if
from dryfit.base.errors import NotWritten
from dryfit.base.estimate import Estimate
from dryfit.model.joint import Joint
from dryfit.model.machine import FIGURES, Machine
from dryfit.model.material import Material
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.store.document import parse_document
from dryfit.store.edit import DocumentEditor

_TABLES = ("machine", "material", "part", "joint")


@dataclass(frozen=True, slots=True)
class Edit:
    """A change of the document that is proposed.

    words   one line per value: its name, what it was and what it becomes
    diff    the same as a unified diff of the text
    sha256  of the document that it was made from
    """

    changes: tuple[str, ...]
    words: tuple[str, ...]
    diff: str
    sha256: str


@dataclass(frozen=True, slots=True)
class _Step:
    """One value to set: where in the document, to what."""

    path: tuple[str, ...]
    value: Any


def propose_edit(path: Path, changes: Sequence[str]) -> Edit:
    """What applying what-ifs would change in the document; nothing is written.

    Only keys that the document states already are changed: a figure that it leaves open is the user's to
    state. A bed pose alone may be added, since leaving it out states "as assembled".
    Raises WhatIfRefused or ReferenceUnknown for a change that cannot be applied, DocumentRefused,
    ProjectMissing or NotWritten as the document's editor does.
    """
    editor, words, sha256 = _edited(path, changes)
    return Edit(tuple(changes), words, editor.diff(), sha256)


def apply_edit(path: Path, edit: Edit) -> None:
    """Write a proposed change. Raises NotWritten where the document is no longer the one it was made from."""
    editor, _, sha256 = _edited(path, edit.changes)
    if sha256 != edit.sha256:
        raise NotWritten(
            "the document was changed on disk since the difference was shown",
            str(editor.path),
            "load it, look at the difference again, and apply",
        )
    editor.save()


def _edited(path: Path, changes: Sequence[str]) -> tuple[DocumentEditor, tuple[str, ...], str]:
    editor = DocumentEditor(path)
    sha256 = hashlib.sha256(editor.text.encode("utf-8")).hexdigest()
    project = parse_document(editor.text, editor.path.name).project
    raw = tomllib.loads(editor.text)
    words = []
    for change in changes:
        changed = apply_what_if(project, [change])
        for step in _steps(project, changed, change):
            old = _stated(raw, step, change)
            words.append(f"{'.'.join(step.path[1:])}: {_word(old)} -> {_word(step.value)}")
            if old != step.value:
                editor.set_value(step.path, step.value)
        project, raw = changed, tomllib.loads(editor.text)
    return editor, tuple(words), sha256


def _steps(before: Project, after: Project, change: str) -> list[_Step]:
    """Values of the document that a what-if sets."""
    owner, _, key = change.partition("=")[0].strip().rpartition(".")
    with_std = "+-" in change or "±" in change
    if owner == "assembly":
        return _with_std(("assembly",), "temp_c", "temp_std_c", after.assembly.temp_c, with_std)
    table, row = _find_row(after, owner, key)
    if table == "machine":
        if key not in FIGURES:
            return [_Step(("machine", owner, "error", key), row.error.repeatability_mm)]
        figure: Estimate = row.error.figures[key]
        steps = [_Step(("machine", owner, "error", key), figure.value)]
        return steps + ([_Step(("machine", owner, "error", "std", key), figure.std)] if with_std else [])
    if table == "part" and key == "bed":
        return [_Step(("part", owner, "bed", "euler_xyz_deg"), list(row.bed.euler_xyz_deg))]
    value = getattr(row, key)
    if key in ("contact_play_mm", "locator_play_mm"):
        return [_Step((table, owner, key), value.std)]
    if isinstance(value, Estimate):
        std = {"bond_line_mm": "bond_line_std_mm", "shrinkage": "shrinkage_std"}.get(
            key, "expansion_std_per_k"
        )
        return _with_std((table, owner), key, std, value, with_std)
    if key in ("locators", "locator_axis") and before.joint(owner).locator_points_mm is not None:
        raise WhatIfRefused(
            "its locator points are stated, which this would make void",
            f'what-if "{change}"',
            "change the joint by hand on the settings sheet",
        )
    return [_Step((table, owner, key), value)]


def _with_std(
    path: tuple[str, ...], key: str, std_key: str, estimate: Estimate, with_std: bool
) -> list[_Step]:
    steps = [_Step((*path, key), estimate.value)]
    return steps + ([_Step((*path, std_key), estimate.std)] if with_std else [])


def _find_row(project: Project, id: str, key: str) -> tuple[str, Any]:
    """The table and the record that a what-if names. The same id may stand in two tables."""
    groups: tuple[Sequence[Machine | Material | Part | Joint], ...] = (
        project.machines,
        project.materials,
        project.parts,
        project.joints,
    )
    for table, rows in zip(_TABLES, groups, strict=True):
        for row in rows:
            if row.id == id and (hasattr(row, key) or (table == "machine" and _is_figure(key))):
                return table, row
    raise WhatIfRefused(f'"{id}.{key}" cannot be written', "the document", "change it by hand")


def _is_figure(key: str) -> bool:
    return key in FIGURES or key == "repeatability_mm"


def _stated(raw: Any, step: _Step, change: str) -> Any:
    """The value that stands in the document. Raises WhatIfRefused where it states none."""
    place = raw
    for depth, name in enumerate(step.path):
        if isinstance(place, list) and depth == 1:
            place = next(row for row in place if row["id"] == name)
        elif name in place:
            place = place[name]
        elif step.path[0] == "part" and step.path[2] == "bed":
            return None
        else:
            key = ".".join(step.path[1:] if step.path[0] != "assembly" else step.path)
            raise WhatIfRefused(
                f"the document does not state {key}, so that it cannot be changed from here",
                f'what-if "{change}"',
                "state it on the settings sheet first, with its std where it was measured",
            )
    return place


def _word(value: Any) -> str:
    if value is None:
        return "not stated"
    if isinstance(value, list):
        return ", ".join(f"{item:g}" for item in value)
    return f"{value:.10g}" if isinstance(value, float | int) else str(value)
