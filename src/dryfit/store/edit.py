"""Editing the project document: only what is meant to change changes."""

from __future__ import annotations

import copy
import difflib
import hashlib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from dryfit.base.errors import NotWritten, ReferenceUnknown
from dryfit.model.joint import FaceContacts
from dryfit.store import toml_edit
from dryfit.store.atomic import write_atomically
from dryfit.store.document import DOCUMENT_NAME, Document, parse_document, read_text
from dryfit.store.reading_rows import holds_exactly
from dryfit.store.tables import LISTS, TABLES
from dryfit.store.toml_layout import Layout, scan_layout
from dryfit.store.toml_layout import Path as KeyPath
from dryfit.store.toml_values import tidy
from dryfit.store.words import quote, suggest


class DocumentEditor:
    """A document under change. Nothing reaches the file before save().

    The text is spliced, not written anew, so comments, order and blank lines stay. After each edit the text
    is parsed again and compared with what the edit should have made of the values; an edit that would
    change anything else is refused.
    """

    def __init__(self, path: Path) -> None:
        """Load the document at path, or project.toml where path is a folder.

        Raises ProjectMissing or DocumentRefused: only a valid document can be edited.
        """
        self.path = path / DOCUMENT_NAME if path.is_dir() else path
        self._loaded = read_text(self.path)
        parse_document(self._loaded, self.path.name)
        self._text = self._loaded
        self._raw: dict[str, Any] = tomllib.loads(self._loaded)
        self._layout: Layout | None = None

    @property
    def text(self) -> str:
        """The document as it would be saved."""
        return self._text

    def add_rows(self, table: str, rows: Sequence[Mapping[str, Any]]) -> None:
        """Add rows to a list of tables: "material", "part", "feature" and the others of LISTS.

        Keys are those of the document; a key whose value is None is left out.
        """
        if table not in LISTS:
            raise ValueError(f"{table} is no list of tables")
        if (table,) in self._scan().entries:
            raise self._refuse(f"{table} is written as one list in line", f"write it as [[{table}]] tables")
        if not rows:
            return
        tidied = [tidy(row) for row in rows]
        raw = copy.deepcopy(self._raw)
        raw.setdefault(table, []).extend(tidied)
        self._take(toml_edit.insert_rows(self._scan(), table, tidied, is_item=True), raw)

    def add_part(
        self,
        id: str,
        mesh: str,
        machine: str,
        material: str,
        *,
        unit: str | None = None,
        bed: Sequence[float] | None = None,
        rests: Sequence[Sequence[float]] | None = None,
        placement: Mapping[str, Any] | None = None,
        sha256: str | None = None,
    ) -> None:
        """Add a part; bed and rests are extrinsic x, y, z turns in degrees."""
        row = {
            "id": id,
            "mesh": mesh,
            "unit": unit,
            "machine": machine,
            "material": material,
            "bed": None if bed is None else {"euler_xyz_deg": bed},
            "rests": None if rests is None else [{"euler_xyz_deg": rest} for rest in rests],
            "placement": placement,
            "sha256": sha256,
        }
        self.add_rows("part", [row])

    def add_joint(
        self, id: str, parts: tuple[str, str], *, faces: FaceContacts | None = None, **keys: Any
    ) -> None:
        """Add a joint; keys are the others of a [[joint]], such as locators or bond_line_mm."""
        self.add_rows("joint", [make_joint_row(id, parts, faces=faces, **keys)])

    def add_feature(self, id: str, kind: str, **keys: Any) -> None:
        """Add a feature; keys are the others of a [[feature]], such as faces, nominal_mm or limits_mm."""
        self.add_rows("feature", [{"id": id, "kind": kind, **keys}])

    def set_value(self, path: Sequence[str], value: Any) -> None:
        """Set one value, such as ("part", "ring-1", "bed"), ("assembly", "order") or ("project", "risk").

        A table that is there already is changed key by key. Raises ReferenceUnknown for an unknown id.
        """
        self._set(self._resolve(path), tidy(value, path[-1]))

    def remove_value(self, path: Sequence[str]) -> None:
        """Remove one key, or a table below a row. Raises ReferenceUnknown where it is not there."""
        self._remove(self._resolve(path))

    def remove(self, table: str, id: str) -> None:
        """Remove the row with an id; what refers to it must go too before the document can be saved."""
        path = self._resolve((table, id))
        if not any(header.path == path for header in self._scan().headers):
            raise self._refuse(f"{table} is written as one list in line", f"write it as [[{table}]] tables")
        raw = copy.deepcopy(self._raw)
        del raw[table][path[1]]
        if not raw[table]:
            del raw[table]
        self._take(toml_edit.remove_tables(self._scan(), path), raw)

    def diff(self) -> str:
        """What has changed since the document was loaded, as a unified diff; empty where nothing has."""
        name = self.path.name
        old, new = (text.splitlines(keepends=True) for text in (self._loaded, self._text))
        lines = difflib.unified_diff(old, new, name, name)
        return "".join(line if line.endswith("\n") else line + "\n" for line in lines)

    def save(self) -> Document:
        """Write the document, if it is valid and nobody else has changed it, and return it as read.

        Raises DocumentRefused with every fault, or NotWritten; the file is then as it was.
        """
        document = parse_document(self._text, self.path.name)
        if _hash(read_text(self.path)) != _hash(self._loaded):
            raise self._refuse(
                "the document was changed on disk since it was loaded", "load it again and repeat the change"
            )
        if self._text != self._loaded:
            write_atomically(self.path, self._text.encode("utf-8"))
        self._loaded = self._text
        return replace(document, path=self.path)

    def _set(self, path: KeyPath, value: Any) -> None:
        layout = self._scan()
        if path in layout.entries:
            raw = copy.deepcopy(self._raw)
            _reach(raw, path[:-1])[path[-1]] = value
            self._take(toml_edit.replace_value(layout, layout.entries[path], value), raw)
        elif _holds(self._raw, path):
            self._set_table(path, value)
        else:
            self._insert(path, value)

    def _set_table(self, path: KeyPath, value: Any) -> None:
        """A table with lines of its own: key by key, so that their comments stay."""
        if not isinstance(value, dict):
            raise self._refuse(f"{_name(path)} is a table and cannot become a value", "set the keys in it")
        for key in list(_reach(self._raw, path)):
            if key not in value:
                self._remove((*path, key))
        for key, inner in value.items():
            self._set((*path, key), inner)

    def _insert(self, path: KeyPath, value: Any) -> None:
        layout = self._scan()
        depth = max(d for d in range(len(path)) if _holds(self._raw, path[:d]))
        for key in reversed(path[depth + 1 :]):
            value = {key: value}
        parent, key = path[:depth], path[depth]
        raw = copy.deepcopy(self._raw)
        _reach(raw, parent)[key] = value
        header = max(
            (h for h in layout.headers if parent[: len(h.path)] == h.path), key=lambda h: len(h.path)
        )
        if not parent and isinstance(value, dict):
            text = toml_edit.insert_rows(layout, str(key), [value], is_item=False)
        elif parent in layout.entries:
            text = toml_edit.insert_in_line(layout, layout.entries[parent], str(key), value)
        elif toml_edit.is_sub_table((*parent, key), value):
            text = toml_edit.insert_sub_table(layout, parent, str(key), value)
        else:
            text = toml_edit.insert_statement(layout, header, (*parent, key)[len(header.path) :], value)
        self._take(text, raw)

    def _remove(self, path: KeyPath) -> None:
        layout = self._scan()
        if not _holds(self._raw, path):
            raise ReferenceUnknown(f"{_name(path)} is not stated", self.path.name, "name a key that is there")
        raw = copy.deepcopy(self._raw)
        del _reach(raw, path[:-1])[path[-1]]
        if path in layout.entries:
            text = toml_edit.remove_entry(layout, layout.entries[path])
        else:
            text = toml_edit.remove_tables(layout, path)
        self._take(text, raw)

    def _resolve(self, path: Sequence[str]) -> KeyPath:
        """Ids become indices. Raises ReferenceUnknown."""
        table = path[0]
        if table not in TABLES:
            do = suggest(table, TABLES, "tables")
            raise ReferenceUnknown(f"there is no table {quote(table)}", self.path.name, do)
        if table not in LISTS:
            return tuple(path)
        ids = [row["id"] for row in self._raw.get(table, [])]
        if path[1] not in ids:
            do = suggest(path[1], ids, f"{table}s")
            raise ReferenceUnknown(f"there is no {table} {quote(path[1])}", self.path.name, do)
        return (table, ids.index(path[1]), *path[2:])

    def _scan(self) -> Layout:
        if self._layout is None:
            self._layout = scan_layout(self._text)
        return self._layout

    def _take(self, text: str, raw: dict[str, Any]) -> None:
        """Accept an edited text if it holds exactly the values that it should."""
        if not holds_exactly(text, raw):
            what = "this edit cannot be made without touching something else in the document"
            raise self._refuse(what, "make the change by hand in the file")
        self._text, self._raw, self._layout = text, raw, None

    def _refuse(self, what: str, do: str) -> NotWritten:
        return NotWritten(what, str(self.path), do)


def make_joint_row(
    id: str, parts: tuple[str, str], *, faces: FaceContacts | None = None, **keys: Any
) -> dict[str, Any]:
    """A [[joint]] as add_rows takes it; stated faces keep one normal where all are the same."""
    row: dict[str, Any] = {"id": id, "parts": list(parts), **keys}
    if faces is None:
        return row
    points, second, normals = (
        array.tolist() for array in (faces.points_on_first, faces.points_on_second, faces.normals)
    )
    table: dict[str, Any] = {"points_mm": points}
    if second != points:
        table["points_on_second_mm"] = second
    table |= {"normal": normals[0]} if all(n == normals[0] for n in normals) else {"normals": normals}
    if faces.area_mm2:
        table["area_mm2"] = faces.area_mm2
    return {**row, "faces": table}


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _name(path: KeyPath) -> str:
    return ".".join(str(step) for step in path)


def _reach(raw: Any, path: KeyPath) -> Any:
    for step in path:
        raw = raw[step]
    return raw


def _holds(raw: Any, path: KeyPath) -> bool:
    for step in path:
        is_there = step in raw if isinstance(raw, dict) else isinstance(raw, list) and isinstance(step, int)
        if not is_there:
            return False
        raw = raw[step]
    return True
