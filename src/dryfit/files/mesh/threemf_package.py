"""The package of a 3MF file: a ZIP archive with a model part, opened with its sizes held down."""

from __future__ import annotations

import io
import posixpath
import zipfile
import zlib
from typing import IO
from urllib.parse import unquote

from dryfit.base.errors import MeshRefused
from dryfit.files.mesh.source import COPY_AGAIN, Source
from dryfit.files.mesh.xml_events import parse_xml

# A mesh of twenty million triangles needs about a gigabyte of XML. Deflate of repetitive coordinates
# seldom gains more than a factor of thirty; a bomb gains a thousand (common practice, no source).
MOST_PART_BYTES = 4 << 30
MOST_RATIO = 200
_RATIO_FREE_BYTES = 1 << 20
_MOST_RELATION_BYTES = 1 << 20
_MODEL_RELATION = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
_RELATIONS = "_rels/.rels"
# What zipfile and zlib raise on damaged archives.
ZIP_FAULTS = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    RuntimeError,
    OSError,
    ValueError,
    OverflowError,
    KeyError,
)


class _Relations:
    """Targets of the relationships that name a 3D model."""

    def __init__(self) -> None:
        self.models: list[str] = []

    def start(self, name: str, attributes: dict[str, str], line: int) -> None:
        if name.endswith("}Relationship") and attributes.get("Type") == _MODEL_RELATION:
            self.models.append(attributes.get("Target", ""))

    def end(self, name: str, line: int) -> None:
        """Nothing hangs on where a relationship ends."""

    def name_space(self, prefix: str | None, uri: str | None) -> None:
        """Nor on the prefixes that the file chose."""


class Package:
    """Parts of a 3MF archive by name; names are compared without regard to case, as OPC asks."""

    def __init__(self, source: Source) -> None:
        self.source = source
        try:
            self._archive = zipfile.ZipFile(io.BytesIO(source.data))
        except ZIP_FAULTS as fault:
            raise self.damaged(fault) from fault
        self._parts: dict[str, zipfile.ZipInfo] = {}
        for info in self._archive.infolist():
            name = info.filename.replace("\\", "/").lstrip("/").lower()
            if name in self._parts:
                raise source.refuse(f"two parts of the archive are called {info.filename!r}")
            self._parts[name] = info

    def damaged(self, fault: BaseException, place: str = "") -> MeshRefused:
        """The refusal for an archive that zipfile cannot read."""
        words = str(fault) or type(fault).__name__
        return self.source.refuse(f"the ZIP archive is damaged or not supported ({words})", place, COPY_AGAIN)

    def model_name(self) -> str:
        """Name of the part that the package's relationships call its 3D model."""
        if _RELATIONS not in self._parts:
            what = "the archive has no _rels/.rels and so no model part: not a 3MF package"
            raise self.source.refuse(what, do="name a 3MF file")
        if self._parts[_RELATIONS].file_size > _MOST_RELATION_BYTES:
            raise self.source.refuse("the relationships part is absurdly large", _RELATIONS)
        relations = _Relations()
        with self.open(_RELATIONS) as stream:
            try:
                parse_xml(self.source, stream, _RELATIONS, relations)
            except ZIP_FAULTS as fault:
                raise self.damaged(fault, _RELATIONS) from fault
        targets = relations.models
        if len(targets) != 1:
            words = "no model part" if not targets else f"{len(targets)} model parts"
            raise self.source.refuse(f"the package names {words}", _RELATIONS)
        return posixpath.normpath("/" + unquote(targets[0])).lstrip("/")

    def open(self, name: str) -> IO[bytes]:
        """A part's uncompressed content as a stream.

        Raises MeshRefused for a missing part, a part of absurd size or ratio, and a damaged archive.
        """
        info = self._parts.get(name.lstrip("/").lower())
        if info is None:
            raise self.source.refuse(f"the archive lacks the part {name!r} that it refers to", do=COPY_AGAIN)
        is_bomb = info.file_size > _RATIO_FREE_BYTES and info.file_size > MOST_RATIO * info.compress_size
        if info.file_size > MOST_PART_BYTES or is_bomb:
            what = (
                f"the part {name!r} would grow from {info.compress_size} to {info.file_size} bytes: "
                f"more than {MOST_PART_BYTES} bytes or {MOST_RATIO} times is not unpacked"
            )
            raise self.source.refuse(what)
        try:
            return self._archive.open(info)
        except ZIP_FAULTS as fault:
            raise self.damaged(fault, name) from fault
