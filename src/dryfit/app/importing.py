"""Bring mesh files into a project: parts with names and hashes, and what was found and assumed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.loading import refuse_unit
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError, MeshRefused, ReferenceUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import MeshFile, read_meshes, read_raw
from dryfit.model.joint import GROUND
from dryfit.model.mesh import TriangleMesh
from dryfit.model.project import Project
from dryfit.store.atomic import write_atomically
from dryfit.store.document import read_document
from dryfit.store.edit import DocumentEditor

Progress = Callable[[int, int], None]


class ImportRefused(DryfitError):
    """A mesh file cannot become parts of this project as asked."""


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
    """What was found and assumed."""

    project: str
    machine: str
    material: str
    parts: tuple[ImportedPart, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Planned:
    """A file that was read and whose parts can be added; target: where it will lie in the project."""

    source: Path
    target: Path
    relative: str
    meshes: MeshFile
    unit: LengthUnit | None
    ids: tuple[str, ...]
    renewed: tuple[bool, ...]


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

    machine, material : ids; may be left out where the project has just one
    unit : length unit of files whose format states none
    again : take a file once more whose parts are in the project already; their rows keep everything but
    the hash
    All files are read and checked before anything is written. Raises MeshRefused, UnitUnknown,
    ImportRefused, ReferenceUnknown or NotWritten; the project is then as it was.
    """
    document = read_document(path)
    project, folder = document.project, document.path.parent
    machine_id = _only(machine, [item.id for item in project.machines], "machine", document.path.name)
    material_id = _only(material, [item.id for item in project.materials], "material", document.path.name)
    planned: list[_Planned] = []
    for done, file in enumerate(files):
        planned.append(_plan(file, folder, project, machine_id, unit, again, planned))
        if progress is not None:
            progress(done + 1, len(files))
    _write(document.path, planned, machine_id, material_id)
    parts = [part for plan in planned for part in _describe(plan)]
    notes = [note for plan in planned for note in _notes(plan)]
    if machine is None:
        notes.append(f'machine "{machine_id}" taken: it is the only one')
    if material is None:
        notes.append(f'material "{material_id}" taken: it is the only one')
    return ImportReport(project.name, machine_id, material_id, tuple(parts), tuple(dict.fromkeys(notes)))


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


def _plan(
    file: Path,
    folder: Path,
    project: Project,
    machine: str,
    unit: LengthUnit | None,
    again: bool,
    planned: Sequence[_Planned],
) -> _Planned:
    raw = read_raw(file)
    if raw.unit_stated is None and unit is None:
        extent = np.ptp(np.vstack([item.vertices for item in raw.objects]), axis=0)
        volume = project.machine(machine).build_volume_mm
        raise refuse_unit(raw, extent, str(file), volume, _known_extents(planned))
    meshes = read_meshes(file, unit)
    target, relative = _target(file, folder)
    _check_target(file, target, relative, again)
    single = len(meshes.objects) == 1
    known = {part.mesh: part.id for part in project.parts}
    taken = {part.id for part in project.parts} | {name for plan in planned for name in plan.ids}
    ids, renewed = [], []
    for mesh in meshes.objects:
        references = [f"{relative}#{mesh.name}", *([relative] if single else [])]
        already = next((known[reference] for reference in references if reference in known), None)
        if already is not None and not again:
            raise ImportRefused(
                f'{references[0]} is part "{already}" already',
                str(file),
                "use --again to take the file once more",
            )
        name = already or _part_id(mesh.name, taken, file)
        taken.add(name)
        ids.append(name)
        renewed.append(already is not None)
    stated = None if raw.unit_stated is not None else unit
    return _Planned(file, target, relative, meshes, stated, tuple(ids), tuple(renewed))


def _known_extents(planned: Sequence[_Planned]) -> list[Array]:
    return [np.ptp(mesh.vertices, axis=0) for plan in planned for mesh in plan.meshes.objects]


def _target(file: Path, folder: Path) -> tuple[Path, str]:
    """Where the file lies in the project: in place if it is inside already, else in meshes/."""
    resolved, home = file.resolve(), folder.resolve()
    if resolved.is_relative_to(home):
        return resolved, resolved.relative_to(home).as_posix()
    return folder / "meshes" / file.name, f"meshes/{file.name}"


def _check_target(file: Path, target: Path, relative: str, again: bool) -> None:
    if "#" in relative:
        raise ImportRefused(
            "the file's name holds a #, which separates file and object", str(file), "rename the file"
        )
    if not target.exists() or target.samefile(file) or again:
        return
    if target.read_bytes() != file.read_bytes():
        raise ImportRefused(
            f"{relative} is in the project already, with other content",
            str(file),
            "use --again to replace it, or import it under another name",
        )


def _part_id(name: str, taken: set[str], file: Path) -> str:
    cleaned = re.sub(r"[^A-Za-z0-9 _.:+-]+", "-", name).strip(" -_.:+")
    if not cleaned:
        raise ImportRefused(
            f'the object name "{name}" has no letter or digit to make a part id of',
            str(file),
            "name the object",
        )
    if cleaned == GROUND:
        raise ImportRefused('the name "ground" is kept for the jig', str(file), "rename the object")
    if cleaned in taken:
        raise ImportRefused(
            f'there is a part "{cleaned}" already',
            str(file),
            "rename the object in the modeller and export it again",
        )
    return cleaned


def _write(document: Path, planned: Sequence[_Planned], machine: str, material: str) -> None:
    """Copy the files, then save the document; the copies go again where it cannot be saved."""
    editor = DocumentEditor(document)
    for plan in planned:
        single = len(plan.meshes.objects) == 1
        for mesh, name, renewed in zip(plan.meshes.objects, plan.ids, plan.renewed, strict=True):
            if renewed:
                editor.set_value(("part", name, "sha256"), mesh.sha256)
                continue
            reference = plan.relative if single else f"{plan.relative}#{mesh.name}"
            editor.add_part(name, reference, machine, material, unit=plan.unit, sha256=mesh.sha256)
    before: list[tuple[Path, bytes | None]] = []
    try:
        for plan in planned:
            if plan.target.exists() and plan.target.samefile(plan.source):
                continue
            before.append((plan.target, plan.target.read_bytes() if plan.target.exists() else None))
            plan.target.parent.mkdir(parents=True, exist_ok=True)
            write_atomically(plan.target, plan.source.read_bytes())
            _check_copy(plan)
        editor.save()
    except BaseException:
        for target, content in before:
            if content is None:
                target.unlink(missing_ok=True)
            else:
                write_atomically(target, content)
        raise


def _check_copy(plan: _Planned) -> None:
    """The file must not have changed between reading and copying; glTF buffers beside it do not come along."""
    if hashlib.sha256(plan.target.read_bytes()).hexdigest() != plan.meshes.sha256:
        raise MeshRefused(
            "the copy is not what was read: the file changed meanwhile, or keeps its geometry in a second file",
            str(plan.source),
            "put all its files into the project's meshes/ folder and import it from there",
        )


def _describe(plan: _Planned) -> list[ImportedPart]:
    single = len(plan.meshes.objects) == 1
    described = []
    for mesh, name, renewed in zip(plan.meshes.objects, plan.ids, plan.renewed, strict=True):
        measures = measure_mesh(mesh)
        x, y, z = (float(value) for value in measures.extent_mm)
        described.append(
            ImportedPart(
                id=name,
                mesh=plan.relative if single else f"{plan.relative}#{mesh.name}",
                size_mm=(x, y, z),
                triangles=len(mesh.faces),
                volume_mm3=measures.volume_mm3,
                is_closed=measures.is_closed,
                cautions=mesh_cautions(mesh),
                renewed=renewed,
            )
        )
    return described


def mesh_cautions(mesh: TriangleMesh) -> tuple[str, ...]:
    """What is unsound about a mesh that can still be forecast, in words."""
    measures = measure_mesh(mesh)
    found = []
    if measures.open_edges:
        found.append(f"the surface is open: {measures.open_edges} edges border one face only")
    if measures.nonmanifold_edges:
        found.append(f"{measures.nonmanifold_edges} edges border more than two faces")
    if not measures.is_consistently_oriented and measures.is_closed:
        found.append("neighbouring faces do not agree on which side is outside")
    if measures.is_inside_out:
        found.append("the surface is inside out: its volume is negative")
    if measures.degenerate_faces:
        found.append(f"{measures.degenerate_faces} faces have no area")
    return tuple(found)


def _notes(plan: _Planned) -> list[str]:
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
