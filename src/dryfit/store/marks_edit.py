"""Editing a file of marks: only what is meant to change changes, comments stay."""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dryfit.base.errors import NotWritten, ReferenceUnknown
from dryfit.model.photo import Marks
from dryfit.store import toml_edit
from dryfit.store.atomic import write_atomically
from dryfit.store.marks import NAMED, SCHEMA, TABLES, parse_marks, read_marks_text
from dryfit.store.reading_rows import holds_exactly
from dryfit.store.toml_layout import Path as KeyPath
from dryfit.store.toml_layout import scan_layout
from dryfit.store.toml_values import tidy
from dryfit.store.words import quote, suggest

# Where rows of other tables name a point or a plane.
REFERENCES: Mapping[str, tuple[tuple[str, str], ...]] = {
    "point": (("line", "through"), ("length", "between"), ("size", "between")),
    "plane": (("point", "plane"), ("line", "plane"), ("plane", "parallel_to")),
}
TEMPLATE = """\
# Marks on {picture}. Edit by hand as you like; the program keeps your comments.
# Pixels count right and down from the centre of the first pixel of the upright picture.
schema = {schema}
photo_sha256 = "{sha256}"
std_px = {std}  # standard uncertainty of a mark that states none of its own
"""


class MarksEditor:
    """A file of marks under change. Nothing reaches it before save()."""

    def __init__(self, path: Path, picture: str, sha256: str, std_px: float) -> None:
        """Load the file at path, or begin one for a picture with a standard uncertainty of its marks.

        Raises MarksRefused or DocumentRefused: only valid marks can be edited.
        """
        self.path = path
        self._loaded = read_marks_text(path)
        shown = "".join(c if c.isprintable() else "?" for c in picture)
        head = TEMPLATE.format(picture=shown, schema=SCHEMA, sha256=sha256, std=repr(float(std_px)))
        self._text = head if self._loaded is None else self._loaded
        parse_marks(self._text, path.name)
        self._raw: dict[str, Any] = tomllib.loads(self._text)

    @property
    def is_new(self) -> bool:
        """Whether there was no file."""
        return self._loaded is None

    @property
    def marks(self) -> Marks:
        """As they would be saved. Raises MarksRefused where they would not be valid."""
        return parse_marks(self._text, self.path.name)

    def put(self, table: str, row: Mapping[str, Any]) -> bool:
        """Add a row, or change the stated keys of the one with its name or its ends; whether it was there.

        A key whose value is None is left as it is.
        """
        values = {key: tidy(value, key) for key, value in row.items() if value is not None}
        index = self._find(table, _name(table, values))
        if index is None:
            self._refuse_in_line(table)
            raw = copy.deepcopy(self._raw)
            raw.setdefault(table, []).append(values)
            layout = scan_layout(self._text)
            self._take(toml_edit.insert_rows(layout, table, [values], is_item=True, order=TABLES), raw)
            return False
        for key, value in values.items():
            self._set((table, index, key), value)
        return True

    def remove(self, table: str, name: str) -> None:
        """Remove the row with a name. Raises ReferenceUnknown where there is none."""
        index = self._find(table, name)
        if index is None:
            known = [str(_name(table, row)) for row in self._raw.get(table, [])]
            what = f"there is no {table} {quote(name)}"
            raise ReferenceUnknown(what, str(self.path), suggest(name, known, f"{table}s"))
        self._refuse_in_line(table)
        raw = copy.deepcopy(self._raw)
        del raw[table][index]
        if not raw[table]:
            del raw[table]
        self._take(toml_edit.remove_tables(scan_layout(self._text), (table, index)), raw)

    def unset(self, table: str, name: str, key: str) -> None:
        """Remove one key of a row, where it is stated. Raises ReferenceUnknown where there is no such row."""
        index = self._find(table, name)
        if index is None:
            raise ReferenceUnknown(
                f"there is no {table} {quote(name)}", str(self.path), "load the marks again"
            )
        entry = (table, index, key)
        layout = scan_layout(self._text)
        if entry in layout.entries:
            raw = copy.deepcopy(self._raw)
            del raw[table][index][key]
            self._take(toml_edit.remove_entry(layout, layout.entries[entry]), raw)

    def rename(self, table: str, name: str, new: str) -> None:
        """Give a row another name, here and wherever the file refers to it.

        Raises ReferenceUnknown where there is none; a name that is taken is refused when the marks are saved.
        """
        index = self._find(table, name)
        if index is None:
            raise ReferenceUnknown(
                f"there is no {table} {quote(name)}", str(self.path), "load the marks again"
            )
        self._set((table, index, NAMED[table]), new)
        for other, key in REFERENCES.get(table, ()):
            for place, row in enumerate(self._raw.get(other, [])):
                if isinstance(row.get(key), list) and name in row[key]:
                    self._set((other, place, key), [new if each == name else each for each in row[key]])
                elif row.get(key) == name:
                    self._set((other, place, key), new)

    def set_head(self, key: str, value: Any) -> None:
        """Another photo_sha256 or std_px."""
        self._set((key,), tidy(value, key))

    @property
    def text(self) -> str:
        """As it would be saved."""
        return self._text

    @property
    def loaded(self) -> str | None:
        """The text that was there; None where there was no file."""
        return self._loaded

    def save(self) -> Marks:
        """Write the marks, if they are valid and nobody else has changed them meanwhile.

        Raises MarksRefused with every fault, or NotWritten; the file is then as it was.
        """
        marks = self.marks
        if read_marks_text(self.path) != self._loaded:
            what = "the marks were changed on disk since they were loaded"
            raise NotWritten(what, str(self.path), "load them again and repeat the change")
        if self._text != self._loaded:
            write_atomically(self.path, self._text.encode("utf-8"))
        self._loaded = self._text
        return marks

    def _find(self, table: str, name: Any) -> int | None:
        rows = self._raw.get(table, [])
        return next((i for i, row in enumerate(rows) if _name(table, row) == name), None)

    def _set(self, path: KeyPath, value: Any) -> None:
        layout = scan_layout(self._text)
        raw = copy.deepcopy(self._raw)
        row: Any = raw
        for step in path[:-1]:
            row = row[step]
        row[path[-1]] = value
        if path in layout.entries:
            self._take(toml_edit.replace_value(layout, layout.entries[path], value), raw)
        elif path[:-1] in layout.entries:
            inner = layout.entries[path[:-1]]
            self._take(toml_edit.insert_in_line(layout, inner, str(path[-1]), value), raw)
        else:
            header = next(header for header in layout.headers if header.path == path[:-1])
            self._take(toml_edit.insert_statement(layout, header, (path[-1],), value), raw)

    def _refuse_in_line(self, table: str) -> None:
        if (table,) in scan_layout(self._text).entries:
            what, do = f"{table} is written as one list in line", f"write it as [[{table}]] tables"
            raise NotWritten(what, str(self.path), do)

    def _take(self, text: str, raw: dict[str, Any]) -> None:
        """Accept an edited text if it holds exactly the values that it should."""
        if not holds_exactly(text, raw):
            what = "this edit cannot be made without touching something else in the file"
            raise NotWritten(what, str(self.path), "make the change by hand in the file")
        self._text, self._raw = text, raw


def _name(table: str, row: Mapping[str, Any]) -> str:
    """What names a row: its name, or of a length its ends, whichever comes first."""
    return ":".join(sorted(row["between"])) if table == "length" else str(row.get(NAMED[table]))


def exchange_text(path: Path, now: str | None, then: str | None) -> None:
    """Put one text of marks in the place of another, if that is still the one on disk; None: no file.

    Raises NotWritten where the file is another by now, or cannot be written; MarksRefused for a text that is not valid.
    """
    if read_marks_text(path) != now:
        what = "the marks were changed on disk since that step"
        raise NotWritten(what, str(path), "look at the marks as they are now, and make the change by hand")
    if then is None:
        path.unlink(missing_ok=True)
        return
    parse_marks(then, path.name)
    write_atomically(path, then.encode("utf-8"))
