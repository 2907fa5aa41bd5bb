"""The file of marks beside a photograph: text -> the records of model/photo.py, or every fault at once."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from dryfit.base.errors import DocumentRefused, Fault
from dryfit.model.photo import Marks
from dryfit.store.reading_rows import place_faults, read_row
from dryfit.store.row import Finding, Row
from dryfit.store.rows_marks import HeadRow, LengthRow, LineRow, PlaneRow, PointRow, SizeRow
from dryfit.store.toml_text import LARGEST_BYTES, decode, parse_toml, refuse_whole
from dryfit.store.words import count_things, describe_value, quote, suggest

SCHEMA = 1
ENDING = ".marks.toml"
# In the order in which the program writes them; what names a row of each, "" nothing.
TABLES = ("plane", "point", "line", "length", "size")
NAMED = {"plane": "name", "point": "name", "line": "name", "length": "", "size": "id"}
HEAD = ("schema", "photo_sha256", "std_px")

RowType = TypeVar("RowType", bound=Row)


class MarksRefused(DocumentRefused):
    """A file of marks holds one or more faults; all of them are listed."""

    def __init__(self, path: str, faults: tuple[Fault, ...]) -> None:
        super().__init__(path, faults)
        self.what = f"the marks have {count_things(len(self.faults), 'fault')}"


@dataclass(slots=True)
class _Rows:
    head: HeadRow | None
    planes: list[PlaneRow]
    points: list[PointRow]
    lines: list[LineRow]
    lengths: list[LengthRow]
    sizes: list[SizeRow]


def marks_path(picture: Path) -> Path:
    """Where the marks of a picture lie: front.jpg.marks.toml beside front.jpg."""
    return picture.with_name(picture.name + ENDING)


def read_marks(file: Path) -> Marks | None:
    """The marks in a file; None where there is none.

    Raises MarksRefused or DocumentRefused with every fault.
    """
    text = read_marks_text(file)
    return None if text is None else parse_marks(text, file.name)


def read_marks_text(file: Path) -> str | None:
    """The text of a file of marks, its line ends as they are; None where there is no file."""
    try:
        with file.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except (FileNotFoundError, NotADirectoryError):
        return None
    except OSError as error:
        what = f"the marks cannot be read: {error.strerror}"
        raise refuse_whole(str(file), what, "check that it is a file and who may read it") from error
    return decode(data, file.name)


def parse_marks(text: str, name: str) -> Marks:
    """The marks of a text; name stands in the faults.

    Raises MarksRefused with all faults, sorted by line, or DocumentRefused where it is no TOML.
    """
    raw = parse_toml(text, name)
    found: list[Finding] = [*_check_head(raw)]
    rows = _Rows(
        head=read_row({key: raw[key] for key in HEAD[1:] if key in raw}, (), HeadRow, found),
        planes=_read_many(raw, "plane", PlaneRow, found),
        points=_read_many(raw, "point", PointRow, found),
        lines=_read_many(raw, "line", LineRow, found),
        lengths=_read_many(raw, "length", LengthRow, found),
        sizes=_read_many(raw, "size", SizeRow, found),
    )
    found += [*_find_repeated(raw), *_find_unknown_names(raw), *_find_parallel(raw)]
    if found or rows.head is None:
        raise _refuse(text, raw, name, found)
    return _build(rows, rows.head)


def _build(rows: _Rows, head: HeadRow) -> Marks:
    std = head.std_px
    axes = {row.name: (row.axes[0], row.axes[1]) for row in rows.planes if row.axes is not None}
    planes = tuple(row.to_model(axes[row.parallel_to or row.name]) for row in rows.planes)
    points = tuple(row.to_model(std) for row in rows.points)
    by_name = {point.name: point for point in points}
    return Marks(
        photo_sha256=head.photo_sha256,
        std_px=std,
        points=points,
        lines=tuple(row.to_model(std, by_name) for row in rows.lines),
        lengths=tuple(row.to_model() for row in rows.lengths),
        planes=planes,
        sizes=tuple(row.to_model() for row in rows.sizes),
    )


def _check_head(raw: dict[str, Any]) -> Iterator[Finding]:
    do = f"write schema = {SCHEMA} as the first line"
    version = raw.get("schema")
    if version is None:
        yield Finding(("schema",), "the marks do not state their schema", do)
    elif isinstance(version, bool) or not isinstance(version, int):
        yield Finding(("schema",), f"a whole number is expected here, not {describe_value(version)}", do)
    elif version > SCHEMA:
        what = f"the marks have schema {describe_value(version)}, written by a newer program"
        yield Finding(("schema",), what, f"update dryfit, which knows schema {SCHEMA}")
    elif version < SCHEMA:
        yield Finding(("schema",), f"there has never been a schema {describe_value(version)}", do)
    for key in raw:
        if key not in TABLES and key not in HEAD:
            noun = "table" if isinstance(raw[key], dict | list) else "key"
            yield Finding(
                (key,), f"the {noun} {quote(key)} is unknown", suggest(key, (*HEAD, *TABLES), "keys")
            )


def _read_many(raw: dict[str, Any], name: str, kind: type[RowType], found: list[Finding]) -> list[RowType]:
    values = raw.get(name, [])
    if not isinstance(values, list):
        what = f"a list of tables is expected here, not {describe_value(values)}"
        found.append(Finding((name,), what, f"write [[{name}]] with two brackets"))
        return []
    rows = (read_row(value, (name, index), kind, found) for index, value in enumerate(values))
    return [row for row in rows if row is not None]


def _rows(raw: dict[str, Any], name: str) -> Iterator[tuple[int, dict[str, Any]]]:
    rows = raw.get(name)
    for index, row in enumerate(rows if isinstance(rows, list) else []):
        if isinstance(row, dict):
            yield index, row


def _names(raw: dict[str, Any], table: str) -> list[str]:
    key = NAMED[table]
    return [row[key] for _, row in _rows(raw, table) if isinstance(row.get(key), str)]


def _find_repeated(raw: dict[str, Any]) -> Iterator[Finding]:
    for table, key in NAMED.items():
        first: dict[str, int] = {}
        for index, row in _rows(raw, table) if key else ():
            name = row.get(key)
            if not isinstance(name, str):
                continue
            if name in first:
                what = f"the {key} {quote(name)} is already that of {table}[{first[name] + 1}]"
                yield Finding((table, index, key), what, f"a {table} is marked once; give it another {key}")
            first.setdefault(name, index)


def _find_unknown_names(raw: dict[str, Any]) -> Iterator[Finding]:
    points, planes = _names(raw, "point"), _names(raw, "plane")
    for table, key in (("line", "through"), ("length", "between"), ("size", "between")):
        for index, row in _rows(raw, table):
            names = row.get(key)
            for place, name in enumerate(names if isinstance(names, list) else []):
                if isinstance(name, str) and name not in points:
                    path = (table, index, key, place)
                    yield Finding(path, f"there is no point {quote(name)}", suggest(name, points, "points"))
    for table, key in (("point", "plane"), ("line", "plane"), ("plane", "parallel_to")):
        for index, row in _rows(raw, table):
            name = row.get(key)
            if isinstance(name, str) and name not in planes:
                what = f"there is no plane {quote(name)}"
                yield Finding((table, index, key), what, suggest(name, planes, "planes"))


def _find_parallel(raw: dict[str, Any]) -> Iterator[Finding]:
    """Offsets count from a plane that has axes of its own."""
    own = {
        row["name"] for _, row in _rows(raw, "plane") if isinstance(row.get("name"), str) and "axes" in row
    }
    names = _names(raw, "plane")
    for index, row in _rows(raw, "plane"):
        other = row.get("parallel_to")
        if isinstance(other, str) and other in names and other not in own:
            what = f"the plane {quote(other)} is itself given by another"
            yield Finding(("plane", index, "parallel_to"), what, "count the offset from a plane with axes")


def _refuse(text: str, raw: dict[str, Any], name: str, findings: list[Finding]) -> MarksRefused:
    return MarksRefused(name, place_faults(text, raw, name, findings, NAMED))
