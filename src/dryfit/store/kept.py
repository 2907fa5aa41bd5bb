"""Results kept by what they were made from, so that an unchanged part is not measured again.

A result is found by the hash of everything that it depends on: the content measured, the options and the
version of the program. Nothing else is asked, so that a changed input misses and cannot be answered with
an old result. The folder may be deleted at any time; it holds nothing that cannot be made again.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from dryfit.base.errors import NotWritten
from dryfit.store.atomic import write_atomically
from dryfit.store.records import UnreadableRecord, read_record, write_record

FOLDER = "kept"
UNUSED_DAYS = 60.0  # after which a result that nobody asked for is let go
_NOTE = "Results, kept so that unchanged parts and photographs are not measured again. May be deleted.\n"


def key_of(recipe: Mapping[str, Any]) -> str:
    """The hash of a recipe: text keys, values that JSON knows.

    Raises TypeError or ValueError for a value that JSON does not know, among them NaN.
    """
    text = json.dumps(recipe, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


class Kept:
    """The kept results of a project folder. classes: of the records that may come out of it.

    blind                  nothing is found: everything is to be made anew, and kept
    unreadable, unwritten  how many results could not be read, or not be kept, since it was opened
    """

    def __init__(self, project_folder: Path, classes: Sequence[type], blind: bool = False) -> None:
        self._folder = project_folder / FOLDER
        self._classes = tuple(classes)
        self._blind = blind
        self.unreadable = 0
        self.unwritten = 0

    def find(self, key: str) -> Any | None:
        """The result of a key, or None where none is kept or what is kept is damaged."""
        if self._blind:
            return None
        path = self._path(key)
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError:
            self.unreadable += 1
            return None
        try:
            record = read_record(data, self._classes)
        except UnreadableRecord:
            self.unreadable += 1
            return None
        self._mark_used(path)
        return record

    def keep(self, key: str, record: Any) -> None:
        """Keep a result. A folder that cannot be written to costs time later and nothing else; it is counted."""
        try:
            self._make_folder()
            write_atomically(self._path(key), write_record(record))
        except (OSError, NotWritten):
            self.unwritten += 1

    def forget_unused(self, now: float | None = None) -> int:
        """Remove results that were not asked for in UNUSED_DAYS; returns how many."""
        if not self._folder.is_dir():
            return 0
        oldest = (time.time() if now is None else now) - UNUSED_DAYS * 86400.0
        gone = 0
        for path in self._folder.glob("*.npz"):
            if path.stat().st_mtime < oldest:
                path.unlink(missing_ok=True)
                gone += 1
        return gone

    def _path(self, key: str) -> Path:
        return self._folder / f"{key}.npz"

    def _make_folder(self) -> None:
        if not self._folder.is_dir():
            self._folder.mkdir(parents=True, exist_ok=True)
            (self._folder / "README.txt").write_text(_NOTE, encoding="utf-8")
            (self._folder / ".gitignore").write_text("*\n", encoding="utf-8")

    @staticmethod
    def _mark_used(path: Path) -> None:
        try:
            os.utime(path)
        except OSError:
            return  # a read-only folder: its results age, and are at worst made again
