"""Bring mesh files into a project: parts with names and hashes, and what was found and assumed."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.import_plan import ImportRefused, Planned, plan_file
from dryfit.app.mesh_words import mesh_cautions
from dryfit.base.errors import MeshRefused, NotWritten, ReferenceUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.calc.mesh import measure_mesh
from dryfit.store.atomic import write_atomically
from dryfit.store.document import read_document
from dryfit.store.edit import DocumentEditor

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class ImportedPart:
    """A part that was added, or whose file was taken again."""

    id: str
    mesh: str
    size_mm: tuple[float, float, float]
    triangles: int
    volume_mm3: float
    is_closed: bool
    cautions: tuple[str, ...]
    renewed: bool


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What was found and assumed. machine, material: of the new parts; None where there are none."""

    project: str
    machine: str | None
    material: str | None
    parts: tuple[ImportedPart, ...]
    notes: tuple[str, ...]


def import_meshes(
    path: Path,
    files: Sequence[Path],
    machine: str | None = None,
    material: str | None = None,
    unit: LengthUnit | None = None,
    again: bool = False,
    progress: Progress | None = None,
) -> ImportReport:
    """Read mesh files, copy them into the project and add a part for each object.

    machine, material : ids; may be left out where the project has just one, or no part is new
    unit : length unit of files whose format states none
    again : take a file once more whose parts are in the project already; their rows keep everything but
    the hash
    All files are read and checked before anything is written. Raises MeshRefused, UnitUnknown,
    ImportRefused, ReferenceUnknown or NotWritten; the project is then as it was.
    """
    document = read_document(path)
    project, folder = document.project, document.path.parent
    volume = next((item.build_volume_mm for item in project.machines if machine in (item.id, None)), None)
    planned: list[Planned] = []
    for done, file in enumerate(files):
        planned.append(plan_file(file, folder, project, volume, unit, again, planned))
        if progress is not None:
            progress(done + 1, len(files))
    owners = None
    if not all(entry.renewed for plan in planned for entry in plan.entries):
        name = document.path.name
        owners = (
            _only(machine, [item.id for item in project.machines], "machine", name),
            _only(material, [item.id for item in project.materials], "material", name),
        )
    _write(document.path, planned, owners, project.assembly.order)
    notes = [note for plan in planned for note in _notes(plan)]
    notes += _owner_notes(owners, machine, material)
    if project.assembly.order and owners is not None:
        notes.append(
            "the new parts come last in the stated bonding order: move them in [assembly] where they belong"
        )
    return ImportReport(
        project.name,
        owners[0] if owners else None,
        owners[1] if owners else None,
        tuple(part for plan in planned for part in _describe(plan)),
        tuple(dict.fromkeys(notes)),
    )


def _owner_notes(owners: tuple[str, str] | None, machine: str | None, material: str | None) -> list[str]:
    if owners is None:
        return ["no part is new: machines and materials stay as the document states them"]
    notes = [f'machine "{owners[0]}" taken: it is the only one'] if machine is None else []
    return notes + ([f'material "{owners[1]}" taken: it is the only one'] if material is None else [])


def _only(given: str | None, ids: Sequence[str], noun: str, name: str) -> str:
    if given is not None:
        if given not in ids:
            raise ReferenceUnknown(
                f'there is no {noun} "{given}"',
                name,
                f"known: {', '.join(ids) or 'none'}; or add a [[{noun}]]",
            )
        return given
    if len(ids) != 1:
        what = f"the project has no {noun} yet" if not ids else f"the project has {len(ids)} {noun}s"
        do = f"add a [[{noun}]] first" if not ids else f"name one: --{noun} {' | '.join(ids)}"
        raise ImportRefused(what, name, do)
    return ids[0]


def _write(
    document: Path, planned: Sequence[Planned], owners: tuple[str, str] | None, order: Sequence[str]
) -> None:
    """Copy the files, then save the document; the copies go again where it cannot be saved."""
    editor = DocumentEditor(document)
    for plan in planned:
        _enter(editor, plan, owners)
    new = [entry.id for plan in planned for entry in plan.entries if not entry.renewed]
    if order and new:
        editor.set_value(("assembly", "order"), [*order, *new])
    before: list[tuple[Path, bytes | None]] = []
    try:
        for plan in planned:
            for source, target in plan.copies:
                before.append((target, target.read_bytes() if target.exists() else None))
                _copy(source, target)
            _check_copy(plan)
        editor.save()
    except BaseException:
        for target, content in reversed(before):
            if content is not None:
                write_atomically(target, content)
            elif target.exists():
                target.unlink()
        raise


def _enter(editor: DocumentEditor, plan: Planned, owners: tuple[str, str] | None) -> None:
    """Rows of new parts, all at once, and hashes of those whose file is taken again."""
    rows: list[dict[str, str | None]] = []
    for entry in plan.entries:
        if entry.renewed:
            editor.set_value(("part", entry.id, "sha256"), entry.mesh.sha256)
        elif owners is not None:
            row = {"id": entry.id, "mesh": plan.reference(entry.mesh), "unit": plan.unit}
            keys = {"machine": owners[0], "material": owners[1], "sha256": entry.mesh.sha256}
            rows.append({**row, **keys})
    if rows:
        editor.add_rows("part", rows)


def _copy(source: Path, target: Path) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        content = source.read_bytes()
    except OSError as error:
        raise NotWritten(
            f"the file cannot be copied into the project: {error.strerror}",
            str(error.filename or source),
            "check that meshes/ is a folder that may be written to",
        ) from error
    write_atomically(target, content)


def _check_copy(plan: Planned) -> None:
    """No file must have changed between reading and copying."""
    digest = hashlib.sha256()
    for _, target in plan.copies:
        digest.update(target.read_bytes())
    if plan.copies and digest.hexdigest() != plan.meshes.sha256:
        raise MeshRefused(
            "the copy is not what was read: the file changed meanwhile",
            str(plan.source),
            "import it once more when nothing writes to it",
        )


def _describe(plan: Planned) -> list[ImportedPart]:
    described = []
    for entry in plan.entries:
        measures = measure_mesh(entry.mesh)
        x, y, z = (float(value) for value in measures.extent_mm)
        described.append(
            ImportedPart(
                id=entry.id,
                mesh=plan.reference(entry.mesh),
                size_mm=(x, y, z),
                triangles=len(entry.mesh.faces),
                volume_mm3=measures.volume_mm3,
                is_closed=measures.is_closed,
                cautions=mesh_cautions(measures),
                renewed=entry.renewed,
            )
        )
    return described


def _notes(plan: Planned) -> list[str]:
    notes = [f"{plan.relative}: {note}" for note in plan.meshes.notes]
    notes += [f"{plan.relative}: {note}" for mesh in plan.meshes.objects for note in mesh.notes]
    if plan.meshes.unit_stated is not None:
        notes.append(f"{plan.relative}: the file states {_unit_word(plan.meshes.unit_stated)}")
    elif plan.unit is not None:
        notes.append(f"{plan.relative}: {_unit_word(plan.unit)} taken as asked; the format states no unit")
    return notes


def _unit_word(unit: LengthUnit) -> str:
    return f"{unit} (1 {unit} = {MM_PER_UNIT[unit]:g} mm)" if unit != "mm" else "mm"


def check_unit(unit: str | None) -> LengthUnit | None:
    """A length unit by its name. Raises ReferenceUnknown for another word."""
    if unit is None:
        return None
    for known in MM_PER_UNIT:
        if unit == known:
            return known
    raise ReferenceUnknown(f'there is no length unit "{unit}"', "--unit", f"known: {', '.join(MM_PER_UNIT)}")
