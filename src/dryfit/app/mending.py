"""Make a mended copy of a part's mesh, and say what was done to it."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from dryfit.app.geometry import shape_in_assembly
from dryfit.app.health_words import health_findings
from dryfit.app.loading import split_reference
from dryfit.base.errors import DryfitError, MeshRefused, NotWritten
from dryfit.calc.health import examine
from dryfit.calc.mend import Mended, MendOptions, mend_mesh
from dryfit.files.mesh import read_meshes, select_object
from dryfit.files.mesh.write import encode_ply
from dryfit.model.finding import Finding
from dryfit.model.mesh import TriangleMesh
from dryfit.model.part import Part
from dryfit.store.atomic import write_atomically
from dryfit.store.document import read_document
from dryfit.store.edit import DocumentEditor

Progress = Callable[[int, int], None]

__all__ = ["MendOptions", "MendRefused", "MendReport", "mend_part", "options_for_mending"]


class MendRefused(DryfitError):
    """A mesh needs no mending, or cannot be mended as asked."""


@dataclass(frozen=True, slots=True, eq=False)
class MendReport:
    """What mending a part did, or would do.

    original    how the document names the mesh that was mended; the file stays as it is
    mended      how it names the mended one, sha256 its hash; "" for both where nothing was written
    steps       (what, how often), in order
    not_done    what was asked for and not done, with the reason
    moved_mm, moved_rms_mm  greatest and root mean square distance between the two surfaces
    volume_change_mm3       None where the surface was open before
    triangles   before and after
    before, remaining       the health of the mesh before and after
    """

    project: str
    part: str
    original: str
    mended: str
    sha256: str
    steps: tuple[tuple[str, int], ...]
    not_done: tuple[str, ...]
    moved_mm: float
    moved_rms_mm: float
    volume_change_mm3: float | None
    filled_mm2: float
    triangles: tuple[int, int]
    before: tuple[Finding, ...]
    remaining: tuple[Finding, ...]

    @property
    def is_written(self) -> bool:
        return bool(self.mended)


def options_for_mending(
    weld_mm: float | None, fill_holes_up_to_mm: float | None, drop_shells_below: float | None, unite: bool
) -> MendOptions:
    """Options as typed; None is not asked for. Raises MendRefused for a value out of range."""
    try:
        return MendOptions(weld_mm or 0.0, fill_holes_up_to_mm or 0.0, drop_shells_below or 0.0, unite)
    except ValueError as error:
        raise MendRefused(str(error), "the options of mend", "give lengths in mm, shares as 0.001") from error


def mend_part(
    path: Path,
    part_id: str,
    options: MendOptions | None = None,
    write: bool = True,
    progress: Progress | None = None,
) -> MendReport:
    """Mend the mesh of one part into meshes/<part>-mended.ply and let the document name that file.

    The original file is kept; the part's mesh, unit and sha256 change in project.toml, its comments stay.
    Raises ProjectMissing, DocumentRefused, MeshRefused, UnitUnknown, ReferenceUnknown or NotWritten, and
    MendRefused where nothing is to mend.
    """
    options = options or MendOptions()
    document = read_document(path)
    folder = document.path.parent
    part = _find_part(document.project.parts, part_id)
    mesh = _read_part(folder, part)
    before = examine(shape_in_assembly(part, mesh).mesh, progress)
    mended = _mend(part, mesh, options, before_words=health_findings(part.id, before))
    after = examine(shape_in_assembly(part, mended.mesh).mesh, progress)
    reference, sha256 = _write(document.path, part, mended, mesh) if write else ("", "")
    return MendReport(
        project=document.project.name,
        part=part.id,
        original=part.mesh,
        mended=reference,
        sha256=sha256,
        steps=tuple((step.what, step.count) for step in mended.steps),
        not_done=mended.not_done,
        moved_mm=mended.moved_mm[0],
        moved_rms_mm=mended.moved_mm[1],
        volume_change_mm3=mended.volume_change_mm3,
        filled_mm2=mended.filled_mm2,
        triangles=(len(mesh.faces), len(mended.mesh.faces)),
        before=health_findings(part.id, before),
        remaining=tuple(item for item in health_findings(part.id, after) if item.state != "pass"),
    )


def _find_part(parts: Sequence[Part], part_id: str) -> Part:
    for part in parts:
        if part.id == part_id:
            return part
    known = ", ".join(part.id for part in parts[:20]) or "none"
    raise MendRefused(f'there is no part "{part_id}"', "project.toml", f"known: {known}")


def _read_part(folder: Path, part: Part) -> TriangleMesh:
    """The part's own mesh, in its design frame."""
    file, name = split_reference(part.mesh)
    mesh = select_object(read_meshes(folder / file, part.unit), name)
    if part.sha256 is not None and part.sha256 != mesh.sha256:
        raise MeshRefused(
            f"{file} is not the file that was imported: its content has changed",
            f'part "{part.id}".sha256',
            "look at the change, then accept it (dryfit import --again FILE), or put the old file back",
        )
    return mesh


def _mend(part: Part, mesh: TriangleMesh, options: MendOptions, before_words: Sequence[Finding]) -> Mended:
    try:
        mended = mend_mesh(mesh, options)
    except ValueError as error:
        raise MendRefused(str(error), f'part "{part.id}".mesh', "export the part again") from error
    if mended.steps:
        return mended
    left = [item for item in before_words if item.state in ("stop", "caution")]
    if not left:
        raise MendRefused("nothing is to mend", f'part "{part.id}".mesh', "leave it as it is")
    reasons = "; ".join([item.what for item in left] + list(mended.not_done))
    raise MendRefused(
        f"nothing can be mended as asked: {reasons}",
        f'part "{part.id}".mesh',
        next((item.do for item in left if item.do), "mend it in the modeller"),
    )


def _write(document: Path, part: Part, mended: Mended, original: TriangleMesh) -> tuple[str, str]:
    """The mended file, then the document; the file goes again where the document cannot be saved."""
    target = _free_name(document.parent, part)
    relative = target.relative_to(document.parent).as_posix()
    steps = tuple(f"{step.count} {step.what}" for step in mended.steps)
    data = encode_ply(mended.mesh, (f"mended from {part.mesh}, sha256 {original.sha256}", *steps))
    editor = DocumentEditor(document)
    sha256 = hashlib.sha256(data).hexdigest()
    for key, value in (("mesh", relative), ("unit", "mm"), ("sha256", sha256)):
        editor.set_value(("part", part.id, key), value)
    _make_folder(target.parent)
    write_atomically(target, data)
    try:
        _check_written(target, mended.mesh, sha256)
        editor.save()
    except BaseException:
        target.unlink(missing_ok=True)
        raise
    return relative, sha256


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        do = "check that meshes/ is a folder that may be written to"
        raise NotWritten(f"the folder cannot be made: {error.strerror}", str(folder), do) from error


def _free_name(folder: Path, part: Part) -> Path:
    """meshes/<part>-mended.ply, with a number where that is taken: no file is ever replaced."""
    stem = re.sub(r"[^A-Za-z0-9_.+-]+", "-", part.id)
    number = 1
    while True:
        suffix = "" if number == 1 else f"-{number}"
        target = folder / "meshes" / f"{stem}-mended{suffix}.ply"
        if not target.exists() and not target.is_symlink():
            return target
        number += 1


def _check_written(target: Path, mesh: TriangleMesh, sha256: str) -> None:
    """What was written must read back as what was meant, to the last digit."""
    read = read_meshes(target, "mm").objects[0]
    is_same = (
        read.sha256 == sha256 and (read.vertices == mesh.vertices).all() and (read.faces == mesh.faces).all()
    )
    if not is_same:
        raise NotWritten("the mended file does not read back as it was written", str(target), "try again")
