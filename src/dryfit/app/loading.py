"""Open a project folder: the document, its meshes in the assembly, and what was assumed in reading them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from dryfit.app.geometry import PartShape, shape_in_assembly
from dryfit.app.photo_sizes import photo_evidence
from dryfit.app.qualification_records import qualification_notes, read_qualifications, with_qualifications
from dryfit.app.schedule_decisions import read_decisions
from dryfit.app.schedule_solving import has_evidence, with_schedule
from dryfit.base.arrays import Array
from dryfit.base.errors import MeshRefused, UnitUnknown
from dryfit.base.units import LengthUnit
from dryfit.calc.units import rank_units
from dryfit.files.mesh import MeshFile, read_meshes, read_raw, select_object
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.project import Project
from dryfit.store.document import Document, read_document

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True, eq=False)
class Opened:
    """An open project.

    folder   the project folder
    document the document as read; machines without stated figures have those of their last qualification, and
             dimensions the sizes of the schedule where there is evidence of them
    shapes   every part's mesh in the assembly, by part id
    notes    what was assumed: by the document, by the mesh readers
    """

    folder: Path
    document: Document
    shapes: Mapping[str, PartShape]
    notes: tuple[str, ...]

    @property
    def project(self) -> Project:
        return self.document.project

    @property
    def mesh_hashes(self) -> tuple[tuple[str, str], ...]:
        """(part id, hash of its mesh file), in the order of the document."""
        return tuple((part.id, self.shapes[part.id].mesh.sha256) for part in self.project.parts)


def open_project(path: Path, progress: Progress | None = None) -> Opened:
    """Read a project folder (or its project.toml), every mesh that it names, and what its ledger knows of machines.

    Raises ProjectMissing, DocumentRefused, LedgerRefused, MeshRefused or UnitUnknown, with what to do.
    """
    document = read_document(path)
    folder = document.path.parent
    # A ledger that cannot be read refuses only what rests on it.
    needs_it = any(machine.error.knowledge == "prior" for machine in document.project.machines)
    latest = read_qualifications(folder) if needs_it else {}
    whence = qualification_notes(document.project, latest)
    extras = photo_evidence(folder, document.project).extras
    decisions = read_decisions(folder) if has_evidence(document.project, extras) else {}
    project = with_schedule(with_qualifications(document.project, latest), decisions, extras)
    document = replace(document, project=project)
    meshes, notes = _read_parts(folder, document.project, progress)
    shapes = {part.id: shape_in_assembly(part, meshes[part.id]) for part in document.project.parts}
    return Opened(folder, document, shapes, (*document.assumptions, *whence, *notes))


def split_reference(mesh: str) -> tuple[str, str | None]:
    """File and object of a reference like "file#object"; no object where it names the file only."""
    file, mark, name = mesh.partition("#")
    return file, name if mark else None


def _read_parts(
    folder: Path, project: Project, progress: Progress | None
) -> tuple[dict[str, TriangleMesh], tuple[str, ...]]:
    """Each file is read once per unit, however many parts it holds."""
    read: dict[tuple[str, LengthUnit | None], MeshFile] = {}
    meshes: dict[str, TriangleMesh] = {}
    notes: dict[str, None] = {}
    for done, part in enumerate(project.parts):
        file, name = split_reference(part.mesh)
        key = (file, part.unit)
        if key not in read:
            others = [np.ptp(mesh.vertices, axis=0) for mesh in meshes.values()]
            read[key] = _read_file(folder / file, name, part, project, others)
            notes.update(dict.fromkeys(f"{file}: {note}" for note in read[key].notes))
        mesh = select_object(read[key], name)
        _check_hash(part, mesh, file)
        meshes[part.id] = mesh
        notes.update(dict.fromkeys(f"{file}: {note}" for note in mesh.notes))
        if progress is not None:
            progress(done + 1, len(project.parts))
    return meshes, tuple(notes)


def _read_file(
    path: Path, name: str | None, part: Part, project: Project, other_extents_mm: Iterable[Array]
) -> MeshFile:
    if part.unit is None:
        raw = read_raw(path)
        if raw.unit_stated is None:
            volume = project.machine(part.machine).build_volume_mm
            extent = np.ptp(select_object(raw, name).vertices, axis=0)
            raise refuse_unit(raw, extent, f'part "{part.id}".mesh', volume, other_extents_mm)
    return read_meshes(path, part.unit)


def refuse_unit(
    raw: MeshFile,
    extent: Array,
    where: str,
    build_volume_mm: tuple[float, float, float] | None,
    other_extents_mm: Iterable[Array],
) -> UnitUnknown:
    """The refusal of a mesh without unit: what its size would mean in each, likeliest first.

    extent : (3,) in the file's own, unknown unit
    """
    candidates = rank_units(extent, build_volume_mm, list(other_extents_mm))
    listed = "; ".join(candidate.words for candidate in candidates)
    likeliest = candidates[0].unit
    return UnitUnknown(
        f"{raw.name} states no length unit. Likeliest first: {listed}",
        where,
        f'state the unit that the modeller exported, for instance unit = "{likeliest}"; nothing is rescaled unasked',
    )


def _check_hash(part: Part, mesh: TriangleMesh, file: str) -> None:
    if part.sha256 is not None and part.sha256 != mesh.sha256:
        raise MeshRefused(
            f"{file} is not the file that was imported: its content has changed",
            f'part "{part.id}".sha256',
            "look at the change, then accept it (dryfit import --again FILE), or put the old file back",
        )
