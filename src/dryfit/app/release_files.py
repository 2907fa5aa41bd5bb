"""Which files a release freezes: meshes with what they draw on, corrected copies, photographs and their marks."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from pathlib import Path

from dryfit.app.loading import Opened, split_reference
from dryfit.base.errors import MeshRefused
from dryfit.files.mesh import read_raw
from dryfit.files.mesh.detect import detect_format
from dryfit.files.mesh.source import read_source
from dryfit.store.marks import marks_path
from dryfit.store.released import hash_file, keep_copy

_DRAW_ON_OTHERS = frozenset({"gltf", "glb"})


def mesh_files(opened: Opened) -> dict[str, tuple[str, ...]]:
    """The mesh files of a project, and beside each the files that it draws on; names from the project folder."""
    found: dict[str, tuple[str, ...]] = {}
    for part in opened.project.parts:
        file, _ = split_reference(part.mesh)
        if file not in found:
            found[file] = tuple(_beside(opened.folder, file))
    return found


def frozen_files(opened: Opened) -> dict[str, str]:
    """Hash of every file that a release freezes, by its name from the project folder; the document is not among it.

    A photograph or corrected copy that is not there is left out: what needs it says so at the hold point.
    Raises MeshRefused where a mesh is no longer the one that was looked at.
    """
    files: dict[str, str] = {}
    hashes = {
        split_reference(part.mesh)[0]: opened.shapes[part.id].mesh.sha256 for part in opened.project.parts
    }
    for file, beside in mesh_files(opened).items():
        whole = hashlib.sha256()
        for name in (file, *beside):
            content = (opened.folder / name).read_bytes()
            whole.update(content)
            files[name] = hashlib.sha256(content).hexdigest()
        if whole.hexdigest() != hashes[file]:
            raise _changed(opened.folder / file)
    for name in _others(opened):
        path = opened.folder / name
        if path.is_file():
            files[name] = hash_file(path)
    return files


def freeze_files(folder: Path, files: Mapping[str, str]) -> None:
    """Keep a copy of each file of a project folder, as it was when it was hashed.

    Raises MeshRefused where one has changed since, NotWritten where a copy cannot be written.
    """
    for name, sha256 in files.items():
        if keep_copy(folder, (folder / name).read_bytes()) != sha256:
            raise _changed(folder / name)


def _changed(path: Path) -> MeshRefused:
    return MeshRefused(
        f"{path.name} has changed while it was being released",
        str(path),
        "nothing was released: wait until the export is done, then release again",
    )


def _others(opened: Opened) -> Iterator[str]:
    for part in opened.project.parts:
        if part.compensation is not None:
            yield part.compensation.file
    for photo in opened.project.photos:
        yield photo.file
        yield str(marks_path(Path(photo.file)).as_posix())


def _beside(folder: Path, file: str) -> Iterator[str]:
    if detect_format(read_source(folder / file)).format not in _DRAW_ON_OTHERS:
        return
    parent = Path(file).parent
    for name in read_raw(folder / file).beside:
        yield (parent / name).as_posix()
