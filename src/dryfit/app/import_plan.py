"""What importing a mesh file would do: which of its objects are new parts, and which are parts already."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

import numpy as np

from dryfit.app.loading import refuse_unit, split_reference
from dryfit.base.arrays import Array
from dryfit.base.errors import DryfitError
from dryfit.base.units import LengthUnit
from dryfit.files.mesh import MeshFile, read_meshes, read_raw
from dryfit.model.joint import GROUND
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.model.project import Project


class ImportRefused(DryfitError):
    """A mesh file cannot become parts of this project as asked."""


@dataclass(frozen=True, slots=True, eq=False)
class Entry:
    """One part of the file. renewed: whether the project holds it already."""

    mesh: TriangleMesh
    id: str
    renewed: bool


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """A file that was read and whose parts can be added.

    target    where it will lie in the project
    relative  the same, as the document writes it
    unit      that the document must state; None where the format states one
    """

    source: Path
    target: Path
    relative: str
    meshes: MeshFile
    unit: LengthUnit | None
    entries: tuple[Entry, ...]

    @property
    def copies(self) -> tuple[tuple[Path, Path], ...]:
        """Source and target of each file to copy, in the order of the hash; none where it is in the project."""
        if self.target.exists() and self.target.samefile(self.source):
            return ()
        here, there = self.source.parent, self.target.parent
        beside = ((here / name, there / name) for name in self.meshes.beside)
        return ((self.source, self.target), *beside)

    def reference(self, mesh: TriangleMesh) -> str:
        """How the document names an object of the file."""
        return self.relative if len(self.meshes.objects) == 1 else f"{self.relative}#{mesh.name}"


def plan_file(
    file: Path,
    folder: Path,
    project: Project,
    volume: tuple[float, float, float] | None,
    unit: LengthUnit | None,
    again: bool,
    planned: Sequence[Planned],
) -> Planned:
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
    taken = {part.id for part in project.parts} | {entry.id for plan in planned for entry in plan.entries}
    entries: list[Entry] = []
    for mesh in meshes.objects:
        already = known.get(mesh.name, [])
        if already and not again:
            raise ImportRefused(
                f"{relative}#{mesh.name} is in the project already, as {', '.join(already)}",
                str(file),
                "use --again to take the file once more",
            )
        entries += [Entry(mesh, name, True) for name in already]
        if not already:
            entries.append(Entry(mesh, _part_id(mesh.name, taken, file), False))
            taken.add(entries[-1].id)
    stated = None if raw.unit_stated is not None else unit
    plan = Planned(file, target, relative, meshes, stated, tuple(entries))
    _check_beside(plan, again, planned)
    return plan


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


def _match_objects(held: Sequence[Part], meshes: MeshFile, file: Path) -> dict[str, list[str]]:
    """Ids of the parts that each of the file's objects is already: several parts may share an object.

    A part must not lose its object.
    """
    names = [mesh.name for mesh in meshes.objects]
    known: dict[str, list[str]] = {}
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
        known.setdefault(name, []).append(part.id)
    return known


def _known_extents(planned: Sequence[Planned]) -> list[Array]:
    return [np.ptp(mesh.vertices, axis=0) for plan in planned for mesh in plan.meshes.objects]


def _target(file: Path, folder: Path) -> tuple[Path, str]:
    """Where the file lies in the project: in place if it is inside already, else in meshes/."""
    resolved, home = file.resolve(), folder.resolve()
    if resolved.is_relative_to(home):
        return resolved, resolved.relative_to(home).as_posix()
    return folder / "meshes" / file.name, f"meshes/{file.name}"


def _check_target(file: Path, target: Path, relative: str, again: bool, planned: Sequence[Planned]) -> None:
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


def _check_beside(plan: Planned, again: bool, planned: Sequence[Planned]) -> None:
    """A buffer file must not take the place of another file's."""
    taken = {target: source for other in planned for source, target in other.copies}
    for source, target in plan.copies[1:]:
        other = taken.get(target, target if target.exists() and not again else None)
        if other is not None and other.read_bytes() != source.read_bytes():
            raise ImportRefused(
                f"its geometry is in {source.name}, and there is another file of this name for meshes/ already",
                str(plan.source),
                "put the file and its buffers into a folder of their own below meshes/ and import it from there",
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
