"""Files that are either the old ones or the new ones, whole, whatever happens in between."""

from __future__ import annotations

import os
import secrets
import stat
from pathlib import Path

from dryfit.base.errors import NotWritten


def write_atomically(path: Path, data: bytes) -> None:
    """Write data to path: a temporary file in the same folder, synced, then renamed over it.

    The mode of a file that was there is kept; a link stays a link and its target is written.
    Raises NotWritten where that fails; what was there before is untouched and no temporary file is left.
    """
    target = path.resolve()
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(6)}.tmp")
    try:
        try:
            _write_synced(temporary, data, _find_mode(target))
            os.replace(temporary, target)
        finally:
            temporary.unlink(missing_ok=True)
        sync_folder(target.parent)
    except OSError as error:
        do = "check that the folder exists and may be written to, and that the disk has room"
        raise NotWritten(f"the file cannot be written: {error.strerror}", str(path), do) from error


def sync_folder(folder: Path) -> None:
    """Make renames in a folder durable, on systems where a folder can be opened."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _find_mode(target: Path) -> int | None:
    try:
        return stat.S_IMODE(target.stat().st_mode)
    except FileNotFoundError:
        return None


def _write_synced(temporary: Path, data: bytes, mode: int | None) -> None:
    # os.open, unlike tempfile, lets the umask decide on the mode of a new file.
    handle = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    with os.fdopen(handle, "wb") as stream:
        stream.write(data)
        stream.flush()
        if mode is not None:
            os.chmod(temporary, mode)
        os.fsync(stream.fileno())
