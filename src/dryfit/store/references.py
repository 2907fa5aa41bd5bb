"""References between rows: ids stated twice, names of nothing, and the bonding order.

These checks read the plain values, so that a fault elsewhere in a row hides none of them, and a row with
such a fault still counts as being there for the references to it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

from pydantic_core import PydanticCustomError

from dryfit.base.errors import ComputationRefused
from dryfit.calc.limits import iso_286_limits, iso_2768_linear
from dryfit.model.joint import GROUND
from dryfit.store.feature_limits import is_class
from dryfit.store.row import Finding, Path, parse_scale
from dryfit.store.tables import LISTS, list_rows
from dryfit.store.words import join_words, quote, suggest

Raw = dict[str, Any]

LARGEST_SIZE_MM = 1e12  # beyond it a number may not even be one that can be multiplied

# Table, key, and the table that the key names a row of.
_SINGLES = (
    ("part", "machine", "machine"),
    ("part", "material", "material"),
    ("joint", "adhesive", "adhesive"),
    ("characteristic", "joint", "joint"),
    ("feature", "part", "part"),
    ("feature", "dimension", "dimension"),
)


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
    yield from _check_lenses(raw, ids["lens"])
    yield from _check_grades(raw)
    yield from _check_order(raw, ids["part"])


def _list_ids(raw: Raw, name: str) -> list[str]:
    return [row["id"] for _, row in list_rows(raw, name) if isinstance(row.get("id"), str)]


def _read_id(row: Raw) -> str:
    id = row.get("id")
    return id if isinstance(id, str) else ""


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
    for table, key, target in _SINGLES:
        for index, row in list_rows(raw, table):
            if isinstance(row.get(key), str):
                yield (table, index, key), target, row[key]
    for table in ("joint", "characteristic", "feature"):
        for index, row in list_rows(raw, table):
            yield from _list_parts((table, index, "parts"), row.get("parts"))
    for index, row in list_rows(raw, "feature"):
        yield from _list_faces(("feature", index, "faces"), row.get("faces"))
    yield from _list_evidence(raw)
    assembly = raw.get("assembly")
    if isinstance(assembly, dict):
        if isinstance(assembly.get("datum"), str):
            yield ("assembly", "datum"), "part", assembly["datum"]
        yield from _list_parts(("assembly", "order"), assembly.get("order"))


def _list_evidence(raw: Raw) -> Iterator[tuple[Path, str, str]]:
    """Dimensions that observations, relations and the scale name."""
    for table, keys in (("observation", ("of", "ratio")), ("relation", ("whole", "of", "pairs", "same_as"))):
        for index, row in list_rows(raw, table):
            for key in keys:
                yield from _list_dimensions((table, index, key), row.get(key))
    project = raw.get("project")
    fixed = project.get("scale_from") if isinstance(project, dict) else None
    if isinstance(fixed, dict):
        yield from _list_dimensions(("project", "scale_from", "dimension"), fixed.get("dimension"))


def _list_dimensions(path: Path, value: Any) -> Iterator[tuple[Path, str, str]]:
    """Of a name, a list of names or of pairs, or the keys of a table of coefficients."""
    if isinstance(value, str):
        yield path, "dimension", value
    elif isinstance(value, dict):
        for key in value:
            yield (*path, key), "dimension", key
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            if isinstance(inner, str | list):
                yield from _list_dimensions((*path, index), inner)


def _list_parts(path: Path, values: Any) -> Iterator[tuple[Path, str, str]]:
    for index, value in enumerate(values if isinstance(values, list) else []):
        if isinstance(value, str):
            yield (*path, index), "part", value


def _list_faces(path: Path, faces: Any) -> Iterator[tuple[Path, str, str]]:
    for index, face in enumerate(faces if isinstance(faces, list) else []):
        if isinstance(face, dict) and isinstance(face.get("part"), str):
            yield (*path, index, "part"), "part", face["part"]


def _may_be_ground(path: Path) -> bool:
    """The jig has no mesh that could be measured, and is not bonded."""
    return path[:2] != ("assembly", "order") and path[0] != "feature"


def _check_lenses(raw: Raw, lenses: list[str]) -> Iterator[Finding]:
    """Figures that a photograph states although its lens has them."""
    for index, row in list_rows(raw, "photo"):
        if row.get("lens") not in lenses:
            continue
        for key in ("focal_px", "centre_px", "distortion", "sensor_width_mm"):
            if key in row:
                what = f"{key} is stated beside the lens {quote(row['lens'])}, whose figures are known"
                yield Finding(("photo", index, key), what, f"remove {key}, or lens")


def _check_grades(raw: Raw) -> Iterator[Finding]:
    """Classes of limits that do not cover the size which a dimension gives through the scale.

    Where the size itself has a fault, or the class, that is reported with its own row.
    """
    project = raw.get("project")
    text = project.get("scale") if isinstance(project, dict) else None
    try:
        scale = float(parse_scale(text)) if isinstance(text, str) else None
    except PydanticCustomError:
        scale = None
    sizes = {id: row.get("prototype_mm") for _, row in list_rows(raw, "dimension") if (id := _read_id(row))}
    for index, row in list_rows(raw, "feature"):
        name = row.get("dimension")
        size = sizes.get(name) if isinstance(name, str) else None
        if scale is None or isinstance(size, bool) or not isinstance(size, int | float):
            continue
        if not 0 < size < LARGEST_SIZE_MM:
            continue
        for key, find_limits in (("iso_286", iso_286_limits), ("iso_2768", iso_2768_linear)):
            if isinstance(row.get(key), str) and is_class(key, row[key]):
                try:
                    find_limits(size * scale, row[key])
                except ComputationRefused as error:
                    yield Finding(("feature", index, key), error.what, error.do)


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
