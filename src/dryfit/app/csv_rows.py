"""Rows of a CSV file under known heads, each with its line, or every fault of the file at once."""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from dryfit.base.errors import DryfitError, Fault, RowsRefused
from dryfit.store.words import count_things, suggest

LARGEST_BYTES = 5_000_000

Read = TypeVar("Read")
_LINE = re.compile(r"\(line (\d+)\)$")


@dataclass(frozen=True, slots=True)
class CsvRow:
    """One row: the line that it stands in, counted from 1, and its cells by head; empty ones are left out."""

    line: int
    cells: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class CsvTable:
    """A file that was read: its name for messages, the hash of its bytes, its rows.

    faults  of rows that are left out: whoever reads the others adds theirs and refuses them together
    """

    name: str
    sha256: str
    rows: tuple[CsvRow, ...]
    faults: tuple[Fault, ...] = ()

    def where(self, line: int) -> str:
        return f"{self.name} (line {line})"


def read_csv(path: Path, required: Sequence[str], optional: Sequence[str] = ()) -> CsvTable:
    """The rows of a file, as of scan_csv. Raises RowsRefused with every fault of its shape."""
    table = scan_csv(path, required, optional)
    if table.faults:
        raise refuse_rows(table, table.faults)
    return table


def scan_csv(path: Path, required: Sequence[str], optional: Sequence[str] = ()) -> CsvTable:
    """The rows of a comma-separated UTF-8 file whose first line names its columns; blank lines are skipped.

    Rows of a wrong shape are left out, and stand in the table's faults.
    Raises RowsRefused where the file or its first line cannot be read, or it holds no row.
    """
    data, text = _read_text(path)
    return _scan(data, text, path.name, required, optional)


def scan_csv_text(text: str, name: str, required: Sequence[str], optional: Sequence[str] = ()) -> CsvTable:
    """The same of a text that was pasted; name stands in its faults."""
    data = text.encode("utf-8")
    if len(data) > LARGEST_BYTES:
        what = f"the text is larger than {LARGEST_BYTES / 1e6:g} MB"
        raise RowsRefused(name, [Fault(name, what, "take it in parts")])
    return _scan(data, text, name, required, optional)


def _scan(data: bytes, text: str, name: str, required: Sequence[str], optional: Sequence[str]) -> CsvTable:
    reader = csv.reader(io.StringIO(text, newline=""))
    heads: list[str] | None = None
    rows: list[CsvRow] = []
    faults: list[Fault] = []
    try:
        for cells in reader:
            cells = [cell.strip() for cell in cells]
            where = f"{name} (line {reader.line_num})"
            if not any(cells):
                continue
            if heads is None:
                heads = cells
                in_heads = _check_heads(heads, required, optional, where)
                if in_heads:
                    raise RowsRefused(name, in_heads)
            elif len(cells) != len(heads):
                what = (
                    f"{count_things(len(cells), 'cell')} in a table of {count_things(len(heads), 'column')}"
                )
                faults.append(Fault(where, what, "separate cells by commas; write decimals with a point"))
            else:
                held = {head: cell for head, cell in zip(heads, cells, strict=True) if cell}
                lacking = [head for head in required if head not in held]
                faults += [Fault(where, f"no {head} is given", f"fill in {head}") for head in lacking]
                if not lacking:
                    rows.append(CsvRow(reader.line_num, held))
    except csv.Error as error:
        faults.append(Fault(f"{name} (line {reader.line_num})", f"no CSV: {error}", "write it anew"))
    if not rows and not faults:
        do = f"the first line names the columns ({', '.join(required)}), each further line is one reading"
        raise RowsRefused(name, [Fault(name, "the file holds no row", do)])
    return CsvTable(name, hashlib.sha256(data).hexdigest(), tuple(rows), tuple(faults))


def attempt(faults: list[Fault], where: str, read: Callable[[], Read]) -> Read | None:
    """What was read; or None, and its refusal is added to the faults, at a place."""
    try:
        return read()
    except DryfitError as error:
        faults.append(Fault(where, error.what, error.do))
        return None


def refuse_rows(table: CsvTable, faults: Sequence[Fault]) -> RowsRefused:
    """The refusal of a table, its faults in the order of its lines."""

    def line_of(fault: Fault) -> int:
        found = _LINE.search(fault.where)
        return int(found.group(1)) if found else 0

    return RowsRefused(table.name, sorted(faults, key=line_of))


def read_lines(text: str, option: str) -> frozenset[int]:
    """Line numbers such as "4,7-9". Raises RowsRefused where they are none."""
    lines: set[int] = set()
    for piece in text.split(","):
        first, dash, last = (word.strip() for word in piece.partition("-"))
        ends = [first, last if dash else first]
        if not all(end.isdecimal() and len(end) < 10 for end in ends) or int(ends[0]) > int(ends[1]):
            what = f'"{piece.strip()}" is no line number'
            raise RowsRefused(option, [Fault(option, what, "write line numbers, such as 4,7-9")])
        if int(ends[1]) - int(ends[0]) > 100_000:
            raise RowsRefused(
                option, [Fault(option, f'"{piece.strip()}" spans too many lines', "name fewer")]
            )
        lines.update(range(int(ends[0]), int(ends[1]) + 1))
    return frozenset(lines)


def _read_text(path: Path) -> tuple[bytes, str]:
    try:
        with path.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except OSError as error:
        what = f"the file cannot be read: {error.strerror}"
        raise RowsRefused(str(path), [Fault(str(path), what, "name a CSV file that is there")]) from error
    if len(data) > LARGEST_BYTES:
        what = f"the file is larger than {LARGEST_BYTES / 1e6:g} MB: no table of readings is"
        raise RowsRefused(path.name, [Fault(path.name, what, "name the CSV file of the readings")])
    try:
        return data, data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        where = f"{path.name} (line {line})"
        raise RowsRefused(
            path.name, [Fault(where, "no UTF-8 text", "save the table as CSV, UTF-8")]
        ) from error


def _check_heads(
    heads: Sequence[str], required: Sequence[str], optional: Sequence[str], where: str
) -> list[Fault]:
    known = [*required, *optional]
    if len(heads) == 1 and ";" in heads[0]:
        do = "separate columns by commas, and write decimals with a point"
        return [Fault(where, "the columns are separated by semicolons", do)]
    faults = [
        Fault(where, f'the column "{head}" is unknown', suggest(head, known, "columns"))
        for head in heads
        if head not in known
    ]
    faults += [
        Fault(where, f'the column "{head}" stands there twice', "keep one of them")
        for head in dict.fromkeys(heads)
        if heads.count(head) > 1
    ]
    faults += [
        Fault(
            where, f'the column "{head}" is missing', f"the first line names the columns: {', '.join(known)}"
        )
        for head in required
        if head not in heads
    ]
    return faults
