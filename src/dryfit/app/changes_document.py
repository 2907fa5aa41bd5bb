"""What differs between two documents, row by row and key by key: comments, layout and order of rows are no change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dryfit.model.project import Project
from dryfit.store.migrations import SCHEMA, migrate
from dryfit.store.tables import LISTS, TABLES
from dryfit.store.toml_text import parse_toml

Raw = dict[str, Any]
ABSENT = object()
# Follows from the file of the mesh, which is compared by itself.
_NO_CHANGE = frozenset({("part", "sha256")})

# Where rows name rows of another table: keys of the row, and the table that they name.
_NAMES: Mapping[str, tuple[tuple[str, str], ...]] = {
    "part": (("machine", "machine"), ("material", "material")),
    "joint": (("parts", "part"),),
    "characteristic": (("joint", "joint"), ("parts", "part")),
    "feature": (("part", "part"), ("parts", "part"), ("dimension", "dimension")),
    "observation": (("of", "dimension"), ("ratio", "dimension")),
    "relation": (("whole", "dimension"), ("of", "dimension"), ("same_as", "dimension")),
    "assembly": (("datum", "part"), ("order", "part")),
}
# Names of a table must be known before those of tables that use them are compared.
_IN_TURN = ("material", "machine", "dimension", "part", "joint", "characteristic", "feature")


@dataclass(frozen=True, slots=True)
class DocumentChange:
    """One difference.

    table, row  where: "part", "ring-1"; row is "" in tables that stand once
    key         path of the key, as ("bed", "euler_xyz_deg"); () where a whole row is new, gone or renamed
    kind        what happened to it
    before, after  plain values; None where there was or is none
    touches     what hangs on the row, as "part ring-1": parts, joints, characteristics
    """

    table: str
    row: str
    key: tuple[str, ...]
    kind: str  # "changed", "stated", "left out", "new", "gone", "renamed"
    before: Any
    after: Any
    touches: tuple[str, ...] = ()


def read_raw(text: str, name: str) -> Raw:
    """The plain values of a document, in the form of the newest schema."""
    raw = parse_toml(text, name)
    return migrate(raw, int(raw.get("schema", SCHEMA)))


def document_changes(
    before: Raw, after: Raw, old: Project, new: Project, renamed: Mapping[str, str]
) -> tuple[DocumentChange, ...]:
    """What differs, in the order of the tables.

    renamed : parts recognised by their shape, new id by old id; other rows are taken as renamed where they are alike
    """
    names: dict[str, dict[str, str]] = {"part": dict(renamed)}
    for table in _IN_TURN:
        if table != "part":
            names[table] = _find_renamed(table, before, after, names)
    found: list[DocumentChange] = []
    for table in TABLES:
        if table in LISTS:
            found += _list_changes(table, before, after, names)
        else:
            rows = (_translated(table, before.get(table, {}), names), after.get(table, {}))
            found += [DocumentChange(table, "", *rest) for rest in _row_changes(*rows)]
    return tuple(_with_touches(change, old, new) for change in found)


def _list_changes(
    table: str, before: Raw, after: Raw, names: Mapping[str, Mapping[str, str]]
) -> Iterator[DocumentChange]:
    given = names.get(table, {})
    old = {row["id"]: row for row in before.get(table, [])}
    new = {row["id"]: row for row in after.get(table, [])}
    taken = {}
    for id, row in old.items():
        now = given.get(id, id)
        if now in new:
            taken[now] = id
            if now != id:
                yield DocumentChange(table, now, (), "renamed", id, now)
            known = {**_translated(table, row, names), "id": now}
            for rest in _row_changes(known, new[now]):
                if (table, rest[0][0]) not in _NO_CHANGE:
                    yield DocumentChange(table, now, *rest)
        else:
            yield DocumentChange(table, id, (), "gone", row, None)
    for id, row in new.items():
        if id not in taken:
            yield DocumentChange(table, id, (), "new", None, row)


def _find_renamed(
    table: str, before: Raw, after: Raw, names: Mapping[str, Mapping[str, str]]
) -> dict[str, str]:
    """Rows whose id has changed and nothing else. Of rows that are alike none is guessed."""
    old = {row["id"]: _rest(_translated(table, row, names)) for row in before.get(table, [])}
    new = {row["id"]: _rest(row) for row in after.get(table, [])}
    gone = [id for id in old if id not in new]
    fresh = [id for id in new if id not in old]
    found = {}
    for id in gone:
        alike = [other for other in fresh if new[other] == old[id]]
        twins = [other for other in gone if old[other] == old[id]]
        if len(alike) == 1 and len(twins) == 1:
            found[id] = alike[0]
    return found


def _rest(row: Raw) -> Raw:
    return {key: value for key, value in row.items() if key != "id"}


def _translated(table: str, row: Raw, names: Mapping[str, Mapping[str, str]]) -> Raw:
    """The row with the names that rows of other tables have now."""
    result = dict(row)
    for key, target in _NAMES.get(table, ()):
        if key in result:
            result[key] = _renamed_in(result[key], names.get(target, {}))
    if table == "feature" and isinstance(result.get("faces"), list):
        given = names.get("part", {})
        result["faces"] = [
            {**face, "part": _renamed_in(face["part"], given)} if "part" in face else face
            for face in result["faces"]
        ]
    return result


def _renamed_in(value: Any, names: Mapping[str, str]) -> Any:
    if isinstance(value, str):
        return names.get(value, value)
    if isinstance(value, list):
        return [_renamed_in(item, names) for item in value]
    if isinstance(value, dict):
        return {names.get(key, key): item for key, item in value.items()}
    return value


Rest = tuple[tuple[str, ...], str, Any, Any]


def _row_changes(old: Raw, new: Raw, path: tuple[str, ...] = ()) -> Iterator[Rest]:
    """Key by key; tables within a row are gone through, lists are compared whole."""
    for key in dict.fromkeys([*old, *new]):
        was, now = old.get(key, ABSENT), new.get(key, ABSENT)
        here = (*path, key)
        if (isinstance(was, dict) or was is ABSENT) and (isinstance(now, dict) or now is ABSENT):
            yield from _row_changes(_table(was), _table(now), here)
        elif was is ABSENT:
            yield here, "stated", None, now
        elif now is ABSENT:
            yield here, "left out", was, None
        elif was != now or isinstance(was, bool) != isinstance(now, bool):
            yield here, "changed", was, now


def _table(value: Any) -> Raw:
    return {} if value is ABSENT else value


def _with_touches(change: DocumentChange, old: Project, new: Project) -> DocumentChange:
    touches = dict.fromkeys([*_touched(change, new), *_touched(change, old)])
    return DocumentChange(
        change.table, change.row, change.key, change.kind, change.before, change.after, tuple(touches)
    )


def _touched(change: DocumentChange, project: Project) -> Iterator[str]:
    """What hangs on a row in one of the projects."""
    row = change.row
    if change.table == "machine":
        yield from (f"part {part.id}" for part in project.parts if part.machine == row)
    elif change.table == "material":
        yield from (f"part {part.id}" for part in project.parts if part.material == row)
    elif change.table == "part":
        yield f"part {row}"
        yield from (f"joint {joint.id}" for joint in project.joints if row in joint.parts)
    elif change.table == "joint":
        for joint in project.joints:
            if joint.id == row:
                yield from (f"part {part}" for part in joint.parts if part != "ground")
        yield from (f"characteristic {item.id}" for item in project.characteristics if item.joint == row)
    elif change.table == "dimension":
        yield from (f"feature {item.id}" for item in project.features if item.dimension == row)
    elif change.table == "observation":
        of = {dimension for item in project.observations if item.id == row for dimension in item.dimensions}
        yield from (f"dimension {id}" for id in sorted(of))
        yield from (f"feature {item.id}" for item in project.features if item.dimension in of)
    elif change.table == "feature":
        for feature in project.features:
            if feature.id == row:
                yield from (f"part {part}" for part in feature.parts)
    elif change.table == "assembly" or (change.table == "search"):
        yield "assembly"
