"""What every file of rows needs: a row out of plain values, and its faults with their lines."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from typing import Any, TypeVar

from pydantic import ValidationError

from dryfit.base.errors import Fault
from dryfit.store.explain import explain
from dryfit.store.row import Finding, Row
from dryfit.store.row import Path as KeyPath
from dryfit.store.toml_layout import scan_layout

RowType = TypeVar("RowType", bound=Row)


def read_row(values: Any, place: KeyPath, kind: type[RowType], found: list[Finding]) -> RowType | None:
    """The row, or None and its findings; faults between fields are looked for only in a well-shaped row."""
    try:
        row = kind.model_validate(values)
    except ValidationError as error:
        found.extend(finding._replace(path=place + finding.path) for finding in explain(error, kind))
        return None
    faults = [finding._replace(path=place + finding.path) for finding in row.findings()]
    found.extend(faults)
    return None if faults else row


def place_faults(
    text: str, raw: Mapping[str, Any], name: str, findings: Iterable[Finding], named: Mapping[str, str]
) -> tuple[Fault, ...]:
    """The findings as faults of a file, sorted by line.

    named : by list of tables the key that names a row of it
    """
    layout = scan_layout(text)
    placed = []
    for finding in findings:
        line = layout.find_line(finding.path)
        path = write_path(finding.path, raw, named)
        where = (f"{name}: {path}" if path else name) + (f" (line {line})" if line else "")
        placed.append((line, Fault(where, finding.what, finding.do)))
    return tuple(fault for _, fault in sorted(placed))


def write_path(path: KeyPath, raw: Mapping[str, Any], named: Mapping[str, str]) -> str:
    """part[3] "ring-3".mesh: counted from 1, with the name of a row that has one."""
    words = ""
    for depth, step in enumerate(path):
        if isinstance(step, str):
            words += ("." if words else "") + step
            continue
        words += f"[{step + 1}]"
        if depth == 1 and named.get(str(path[0])):
            row = raw[str(path[0])][step]
            name = row.get(named[str(path[0])]) if isinstance(row, dict) else None
            words += f' "{name}"' if isinstance(name, str) and name.isprintable() and len(name) <= 60 else ""
    return words


def holds_exactly(text: str, raw: Mapping[str, Any]) -> bool:
    """Whether an edited text holds the values that it should, and no others."""
    try:
        return tomllib.loads(text) == raw
    except tomllib.TOMLDecodeError:
        return False
