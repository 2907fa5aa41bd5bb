"""A mesh file's bytes, and refusals that name the file."""

from __future__ import annotations

import errno
import hashlib
from dataclasses import dataclass
from pathlib import Path

from dryfit.base.errors import MeshRefused

EXPORT_AGAIN = "export the mesh again from the modelling program"
COPY_AGAIN = "copy or export the file again: it was cut short or damaged on the way"


@dataclass(frozen=True, slots=True)
class Source:
    """The whole content of a file, read once, so that the hash is of what was parsed."""

    path: Path
    data: bytes

    @property
    def name(self) -> str:
        return self.path.name

    @property
    def stem(self) -> str:
        return self.path.stem

    def refuse(self, what: str, place: str = "", do: str = EXPORT_AGAIN) -> MeshRefused:
        """The refusal to raise; place: object, line or byte within the file."""
        return MeshRefused(what, f"{self.path}: {place}" if place else str(self.path), do)

    def hash_with(self, *others: bytes) -> str:
        """SHA-256 of the file's bytes, followed by those of the files that it draws on."""
        digest = hashlib.sha256(self.data)
        for other in others:
            digest.update(other)
        return digest.hexdigest()


def read_source(path: Path) -> Source:
    """The file's bytes. Raises MeshRefused where there is no readable file or it is empty."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        raise MeshRefused("there is no such mesh file", str(path), "check the name and the folder") from None
    except IsADirectoryError:
        raise MeshRefused("this is a folder, not a mesh file", str(path), "name a file in it") from None
    except OSError as fault:
        reason = errno.errorcode.get(fault.errno or 0, "no code")
        what = f"the mesh file cannot be read ({reason}: {fault.strerror})"
        raise MeshRefused(what, str(path), "check that it is a file and who may read it") from fault
    except ValueError as fault:  # a zero byte in the name
        raise MeshRefused(f"this is no file name ({fault})", repr(str(path)), "name a file") from fault
    if not data:
        raise MeshRefused("the mesh file is empty (0 bytes)", str(path), COPY_AGAIN)
    return Source(path, data)
