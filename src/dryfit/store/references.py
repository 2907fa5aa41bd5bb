"""References between rows: ids stated twice, names of nothing, and the bonding order.

These checks read the plain values, so that a fault elsewhere in a row hides none of them, and a row with
such a fault still counts as being there for the references to it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from dryfit.model.joint import GROUND
from dryfit.store.row import Finding, Path
from dryfit.store.tables import LISTS, list_rows
from dryfit.store.words import join_words, quote, suggest

Raw = dict[str, Any]


def check_references(raw: Raw) -> Iterator[Finding]:
    """Everything that only shows between rows."""
    ids = {name: _list_ids(raw, name) for name in LISTS}
    for name in LISTS:
        yield from _find_duplicates(raw, name)
    for path, name, target in _list_references(raw):
        if target in ids[name] or (name == "part" and target == GROUND and _may_be_ground(path)):
            continue
        plural = f"{name}s"
        yield Finding(path, f"there is no {name} {quote(target)}", suggest(target, ids[name], plural))
    yield from _check_order(raw, ids["part"])


def _list_ids(raw: Raw, name: str) -> list[str]:
    return [row["id"] for _, row in list_rows(raw, name) if isinstance(row.get("id"), str)]


def _find_duplicates(raw: Raw, name: str) -> Iterator[Finding]:
    first: dict[str, int] = {}
    for index, row in list_rows(raw, name):
        id = row.get("id")
        if not isinstance(id, str):
            continue
        if id in first:
            what = f"the id {quote(id)} is already that of {name}[{first[id] + 1}]"
            yield Finding((name, index, "id"), what, f"give each {name} an id of its own")
        first.setdefault(id, index)


def _list_references(raw: Raw) -> Iterator[tuple[Path, str, str]]:
    """(path, table referred to, id referred to) of every reference that is a text."""
    singles = (("part", "machine", "machine"), ("part", "material", "material"))
    for table, key, target in (*singles, ("characteristic", "joint", "joint")):
        for index, row in list_rows(raw, table):
            if isinstance(row.get(key), str):
                yield (table, index, key), target, row[key]
    for table in ("joint", "characteristic"):
        for index, row in list_rows(raw, table):
            yield from _list_parts((table, index, "parts"), row.get("parts"))
    assembly = raw.get("assembly")
    if isinstance(assembly, dict):
        if isinstance(assembly.get("datum"), str):
            yield ("assembly", "datum"), "part", assembly["datum"]
        yield from _list_parts(("assembly", "order"), assembly.get("order"))


def _list_parts(path: Path, values: Any) -> Iterator[tuple[Path, str, str]]:
    for index, value in enumerate(values if isinstance(values, list) else []):
        if isinstance(value, str):
            yield (*path, index), "part", value


def _may_be_ground(path: Path) -> bool:
    return path[:2] != ("assembly", "order")


def _check_order(raw: Raw, parts: list[str]) -> Iterator[Finding]:
    assembly = raw.get("assembly")
    order = assembly.get("order") if isinstance(assembly, dict) else None
    if not isinstance(assembly, dict) or not isinstance(order, list):
        return
    if not all(isinstance(id, str) for id in order):
        return
    path: Path = ("assembly", "order")
    for id, count in Counter(order).items():
        if count > 1:
            second = order.index(id, order.index(id) + 1)
            what = f"the order is cyclic: {quote(id)} stands in it {count} times"
            yield Finding((*path, second), what, "name every part exactly once")
    missing = [quote(id) for id in dict.fromkeys(parts) if id not in set(order)]
    if missing:
        what = f"the order is incomplete: {join_words(missing[:10])}{', ...' if len(missing) > 10 else ''}"
        yield Finding(path, f"{what} not in it", "name every part exactly once, or remove the key")
    datum = assembly.get("datum")
    if isinstance(datum, str) and datum in parts and order and order[0] != datum:
        what = f"the order begins with {quote(order[0])}, not with the datum {quote(datum)}"
        yield Finding((*path, 0), what, "put the datum first")
