"""Bring mesh files into a project: parts with names and hashes, and what was found and assumed."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import numpy as np

from dryfit.app.loading import refuse_unit, split_reference
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError, MeshRefused, NotWritten, ReferenceUnknown
from dryfit.base.units import MM_PER_UNIT, LengthUnit
from dryfit.calc.mesh import measure_mesh
from dryfit.files.mesh import MeshFile, read_meshes, read_raw
from dryfit.model.joint import GROUND
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
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
    """What was found and assumed. machine, material: of the new parts; None where there are none."""

    project: str
    machine: str | None
    material: str | None
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
    planned: list[_Planned] = []
    for done, file in enumerate(files):
        planned.append(_plan(file, folder, project, volume, unit, again, planned))
        if progress is not None:
            progress(done + 1, len(files))
    owners = None
    if not all(renewed for plan in planned for renewed in plan.renewed):
        name = document.path.name
        owners = (
            _only(machine, [item.id for item in project.machines], "machine", name),
            _only(material, [item.id for item in project.materials], "material", name),
        )
    _write(document.path, planned, owners)
    notes = [note for plan in planned for note in _notes(plan)]
    notes += _owner_notes(owners, machine, material)
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


def _plan(
    file: Path,
    folder: Path,
    project: Project,
    volume: tuple[float, float, float] | None,
    unit: LengthUnit | None,
    again: bool,
    planned: Sequence[_Planned],
) -> _Planned:
    raw = read_raw(file)
    target, relative = _target(file, folder)
    _check_target(file, target, relative, again, planned)
    held = [
        part for part in project.parts if PurePosixPath(split_reference(part.mesh)[0]).as_posix() == relative
    ]
    if raw.unit_stated is None:
        unit = _unit_of(held, unit, file)
        if unit is None:
            extent = np.ptp(np.vstack([item.vertices for item in raw.objects]), axis=0)
            raise refuse_unit(raw, extent, str(file), volume, _known_extents(planned))
    meshes = read_meshes(file, unit)
    known = _match_objects(held, meshes, file)
    taken = {part.id for part in project.parts} | {name for plan in planned for name in plan.ids}
    ids, renewed = [], []
    for mesh in meshes.objects:
        already = known.get(mesh.name)
        if already is not None and not again:
            raise ImportRefused(
                f'{relative}#{mesh.name} is part "{already}" already',
                str(file),
                "use --again to take the file once more",
            )
        name = already or _part_id(mesh.name, taken, file)
        taken.add(name)
        ids.append(name)
        renewed.append(already is not None)
    stated = None if raw.unit_stated is not None else unit
    return _Planned(file, target, relative, meshes, stated, tuple(ids), tuple(renewed))


def _unit_of(held: Sequence[Part], unit: LengthUnit | None, file: Path) -> LengthUnit | None:
    """The unit of a file without one: as asked, or as its parts in the document state it."""
    stated = {part.unit for part in held if part.unit is not None}
    if not stated:
        return unit
    if len(stated) > 1 or unit not in (None, *stated):
        words = " and ".join(sorted(stated))
        raise ImportRefused(
            f"its parts are stated in {words}" + (f", not in {unit}" if unit else ""),
            str(file),
            "change unit in project.toml first, then take the file again",
        )
    return stated.pop()


def _match_objects(held: Sequence[Part], meshes: MeshFile, file: Path) -> dict[str, str]:
    """Ids of the parts that the file's objects are already. A part must not lose its object."""
    names = [mesh.name for mesh in meshes.objects]
    known: dict[str, str] = {}
    for part in held:
        name = split_reference(part.mesh)[1]
        if name is None and len(names) == 1:
            name = names[0]
        if name not in names:
            raise ImportRefused(
                f'part "{part.id}" is {part.mesh}, which the file holds no longer: it holds {", ".join(names[:20])}',
                str(file),
                "name the object as before, or remove or rename the part in project.toml first",
            )
        known[name] = part.id
    return known


def _known_extents(planned: Sequence[_Planned]) -> list[Array]:
    return [np.ptp(mesh.vertices, axis=0) for plan in planned for mesh in plan.meshes.objects]


def _target(file: Path, folder: Path) -> tuple[Path, str]:
    """Where the file lies in the project: in place if it is inside already, else in meshes/."""
    resolved, home = file.resolve(), folder.resolve()
    if resolved.is_relative_to(home):
        return resolved, resolved.relative_to(home).as_posix()
    return folder / "meshes" / file.name, f"meshes/{file.name}"


def _check_target(file: Path, target: Path, relative: str, again: bool, planned: Sequence[_Planned]) -> None:
    if "#" in relative:
        raise ImportRefused(
            "the file's name holds a #, which separates file and object", str(file), "rename the file"
        )
    if any(plan.relative == relative for plan in planned):
        raise ImportRefused(
            f"two of the files would become {relative}", str(file), "give each a name of its own"
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


def _write(document: Path, planned: Sequence[_Planned], owners: tuple[str, str] | None) -> None:
    """Copy the files, then save the document; the copies go again where it cannot be saved."""
    editor = DocumentEditor(document)
    for plan in planned:
        _enter(editor, plan, owners)
    before: list[tuple[Path, bytes | None]] = []
    try:
        for plan in planned:
            if plan.target.exists() and plan.target.samefile(plan.source):
                continue
            before.append((plan.target, plan.target.read_bytes() if plan.target.exists() else None))
            _copy(plan)
        editor.save()
    except BaseException:
        for target, content in before:
            if content is not None:
                write_atomically(target, content)
            elif target.exists():
                target.unlink()
        raise


def _enter(editor: DocumentEditor, plan: _Planned, owners: tuple[str, str] | None) -> None:
    """Rows of new parts, and hashes of those whose file is taken again."""
    single = len(plan.meshes.objects) == 1
    for mesh, name, renewed in zip(plan.meshes.objects, plan.ids, plan.renewed, strict=True):
        if renewed:
            editor.set_value(("part", name, "sha256"), mesh.sha256)
        elif owners is not None:
            reference = plan.relative if single else f"{plan.relative}#{mesh.name}"
            editor.add_part(name, reference, *owners, unit=plan.unit, sha256=mesh.sha256)


def _copy(plan: _Planned) -> None:
    try:
        plan.target.parent.mkdir(parents=True, exist_ok=True)
        content = plan.source.read_bytes()
    except OSError as error:
        raise NotWritten(
            f"the file cannot be copied into the project: {error.strerror}",
            str(error.filename or plan.source),
            "check that meshes/ is a folder that may be written to",
        ) from error
    write_atomically(plan.target, content)
    _check_copy(plan)


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
