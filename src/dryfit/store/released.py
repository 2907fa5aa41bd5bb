"""Frozen copies of what was released, each under the hash of its content, and never written over."""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import stat
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from dryfit.base.errors import NotWritten
from dryfit.store.atomic import sync_folder

FOLDER = "released"
_NAME_LENGTH = 64
# A temporary file that is older than this belongs to a run that was killed.
_ABANDONED_S = 86400.0
_CHUNK = 1 << 22
_DO = "check that the folder may be written to, and that the disk has room"


@dataclass(frozen=True, slots=True)
class CopyFault:
    """A frozen copy that is not what it was. name: its path in the project when it was released."""

    name: str
    sha256: str
    kind: Literal["missing", "changed"]


def copy_path(folder: Path, sha256: str) -> Path:
    """Where the copy with a hash lies in a project folder."""
    return folder / FOLDER / sha256


def hash_file(path: Path) -> str:
    """SHA-256 of a file. Raises OSError where it cannot be read."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(_CHUNK):
            digest.update(block)
    return digest.hexdigest()


def keep_copy(folder: Path, data: bytes) -> str:
    """Keep data in a project folder and return its hash; once this returns, the copy is on the disk.

    A copy of that hash which is there already is left as it is. Raises NotWritten where it holds something else, or
    where no copy can be written; no half copy is left under the name.
    """
    sha256 = hashlib.sha256(data).hexdigest()
    target = copy_path(folder, sha256)
    try:
        target.parent.mkdir(exist_ok=True)
        if not target.exists():
            _write_new(target, data)
        if hash_file(target) != sha256:
            raise NotWritten(
                "a frozen copy is not what its name says: its content has changed",
                str(target),
                "put the right file there from a backup, or remove it and release again",
            )
    except OSError as error:
        raise NotWritten(f"the copy cannot be written: {error.strerror}", str(target), _DO) from error
    return sha256


def find_faults(folder: Path, files: Iterable[tuple[str, str]]) -> tuple[CopyFault, ...]:
    """Which copies of files (name, hash) are missing from a project folder or hold something else."""
    faults = []
    seen: dict[str, Literal["missing", "changed"] | None] = {}
    for name, sha256 in files:
        if sha256 not in seen:
            seen[sha256] = _fault_of(copy_path(folder, sha256), sha256)
        kind = seen[sha256]
        if kind is not None:
            faults.append(CopyFault(name, sha256, kind))
    return tuple(faults)


def list_copies(folder: Path) -> tuple[str, ...]:
    """Hashes of all copies in a project folder, temporary files left aside."""
    where = folder / FOLDER
    if not where.is_dir():
        return ()
    return tuple(
        sorted(path.name for path in where.iterdir() if path.is_file() and len(path.name) == _NAME_LENGTH)
    )


def remove_abandoned(folder: Path, now_s: float | None = None) -> int:
    """Remove temporary files of runs that were killed long ago; returns how many."""
    where = folder / FOLDER
    oldest = (time.time() if now_s is None else now_s) - _ABANDONED_S
    gone = 0
    for path in where.glob(".*.tmp") if where.is_dir() else ():
        if path.stat().st_mtime < oldest:
            path.unlink(missing_ok=True)
            gone += 1
    return gone


def lay_out(folder: Path, files: Iterable[tuple[str, str]], target: Path) -> None:
    """Put frozen files (name, hash) under their old names into an empty folder, as links where the system has them.

    Raises NotWritten where a name leads out of the target, or a file cannot be put there.
    """
    root = target.resolve()
    for name, sha256 in files:
        place = (root / name).resolve()
        if root not in place.parents:
            raise NotWritten("a released name leads out of its folder", name, "see who changed the ledger")
        place.parent.mkdir(parents=True, exist_ok=True)
        source = copy_path(folder, sha256).resolve()
        if not source.is_file():
            continue  # what needs it says that it is missing
        try:
            place.symlink_to(source)
        except OSError:
            place.write_bytes(source.read_bytes())


def _write_new(target: Path, data: bytes) -> None:
    """Temporary file, synced, then given its name; a name that another run has taken meanwhile stays."""
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(6)}.tmp")
    try:
        handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, stat.S_IMODE(temporary.stat().st_mode) & ~0o222)
        _give_name(temporary, target)
    finally:
        temporary.unlink(missing_ok=True)
    sync_folder(target.parent)


def _give_name(temporary: Path, target: Path) -> None:
    try:
        # Unlike a rename, a link never replaces a file that is there.
        with contextlib.suppress(FileExistsError):
            os.link(temporary, target)
    except OSError:
        # No links on this file system. A file of this name would hold the same content.
        if not target.exists():
            os.replace(temporary, target)


def _fault_of(path: Path, sha256: str) -> Literal["missing", "changed"] | None:
    if not path.is_file():
        return "missing"
    return None if hash_file(path) == sha256 else "changed"
