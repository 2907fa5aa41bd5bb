"""The demonstration projects: folders written by code, so that a newcomer has something to forecast.

Everything in them is invented: the buildings, the boat, the machines, their faults and every limit.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from dryfit.app.demo_files import DemoFiles
from dryfit.base.errors import NotWritten, ReferenceUnknown
from dryfit.store.atomic import sync_folder, write_atomically
from dryfit.store.create import FOLDERS
from dryfit.store.document import DOCUMENT_NAME, parse_document

Which = Literal["observatory", "lighter", "unqualified", "as-built"]
WHICH: tuple[Which, ...] = get_args(Which)


# Each is imported when it is asked for: two of them need most of the program.
def _observatory() -> DemoFiles:
    from dryfit.app.demo_observatory import observatory_files

    return observatory_files()


def _lighter() -> DemoFiles:
    from dryfit.app.demo_lighter import lighter_files

    return lighter_files()


def _unqualified() -> DemoFiles:
    from dryfit.app.demo_machine import unqualified_files

    return unqualified_files()


def _as_built() -> DemoFiles:
    from dryfit.app.demo_as_built import as_built_files

    return as_built_files()


_BUILDERS: Mapping[str, Callable[[], DemoFiles]] = {
    "observatory": _observatory,
    "lighter": _lighter,
    "unqualified": _unqualified,
    "as-built": _as_built,
}


@dataclass(frozen=True, slots=True)
class DemoWritten:
    """A demonstration project on disk.

    folder, document  where it lies
    name, scale       of the project
    parts, joints, characteristics  how many it holds
    photos            how many photographs it holds
    mesh_bytes        size of its mesh files together
    photo_bytes       size of its photographs and their marks together
    """

    folder: Path
    document: Path
    name: str
    scale: str
    parts: int
    joints: int
    characteristics: int
    photos: int
    mesh_bytes: int
    photo_bytes: int


def choose_demo(lighter: bool, unqualified: bool, has_readings: bool, as_built: bool = False) -> Which:
    """Which demonstration is asked for. Raises ReferenceUnknown where two are."""
    if lighter + unqualified + has_readings + as_built > 1:
        raise ReferenceUnknown(
            "--lighter, --unqualified, --as-built and --readings ask for different things",
            "dryfit demo",
            "name one of them",
        )
    if as_built:
        return "as-built"
    return "lighter" if lighter else "unqualified" if unqualified else "observatory"


def write_demo(directory: Path, which: Which) -> DemoWritten:
    """Write a demonstration project into a new or empty folder.

    The folder is made beside its place and then renamed, so that it appears whole or not at all.
    Raises ReferenceUnknown for a name that is no demonstration, NotWritten where the folder is not empty or
    cannot be made.
    """
    if which not in _BUILDERS:
        raise ReferenceUnknown(
            f'there is no demonstration "{which}"',
            "the name of the demonstration",
            f"use {' or '.join(WHICH)}",
        )
    _refuse_filled(directory)
    files = _BUILDERS[which]()
    project = parse_document(files.document, DOCUMENT_NAME).project
    try:
        _place_whole(directory, files)
    except OSError as error:
        what = f"the project folder cannot be made: {error.strerror}"
        raise NotWritten(what, str(directory), "name a folder that can be made") from error
    scale = project.scale
    return DemoWritten(
        folder=directory,
        document=directory / DOCUMENT_NAME,
        name=project.name,
        scale="" if scale is None else f"{scale.numerator}:{scale.denominator}",
        parts=len(project.parts),
        joints=len(project.joints),
        characteristics=len(project.characteristics),
        photos=len(project.photos),
        mesh_bytes=sum(len(data) for data in files.meshes.values()),
        photo_bytes=sum(len(data) for data in files.photos.values()),
    )


def _refuse_filled(directory: Path) -> None:
    if directory.is_dir() and not any(directory.iterdir()):
        return
    if directory.exists() or directory.is_symlink():
        what = "the folder is not empty" if directory.is_dir() else "a file of that name exists"
        raise NotWritten(what, str(directory), "name a new or empty folder")


def _place_whole(directory: Path, files: DemoFiles) -> None:
    target = directory.resolve()
    staging = target.with_name(f".{target.name}.{secrets.token_hex(6)}.tmp")
    staging.mkdir()
    try:
        for folder in FOLDERS:
            (staging / folder).mkdir()
        for name, data in files.meshes.items():
            write_atomically(staging / "meshes" / name, data)
        for name, data in files.photos.items():
            write_atomically(staging / "photos" / name, data)
        write_atomically(staging / DOCUMENT_NAME, files.document.encode("utf-8"))
        if files.history is not None:
            files.history(staging)
        if target.is_dir():
            target.rmdir()  # refuses where somebody has filled it in the meantime
        os.rename(staging, target)
    except BaseException:
        shutil.rmtree(staging, ignore_errors=True)
        raise
    sync_folder(target.parent)
