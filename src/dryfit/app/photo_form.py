"""What is typed into the forms beside a photograph, as changes of its marks."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dryfit.app.photo_desk import Kind
from dryfit.app.photo_marking import MarkChanges, MarkRefused

Typed = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class FormChange:
    """Changes with the rows that they touch. words: what is done;  name: what the row is called afterwards."""

    changes: MarkChanges
    touched: tuple[tuple[Kind, str], ...]
    words: str
    kind: Kind
    name: str


def change_point(name: str, typed: Typed) -> FormChange:
    """A point: name, x, y, std, plane, and its place on the prototype with its std. An empty field is not stated.

    Raises MarkRefused for what cannot be read.
    """
    new = _name(typed, name)
    row: dict[str, Any] = {"name": new, "at_px": [_number(typed, "x"), _number(typed, "y")]}
    unset: list[tuple[str, str, str]] = []
    _state(row, unset, "point", new, "std_px", _optional(typed, "std"))
    _state(row, unset, "point", new, "plane", typed.get("plane", "") or None)
    known = [typed.get(key, "").strip() for key in ("known x", "known y", "known z")]
    place = [_number(typed, key) for key in ("known x", "known y", "known z")] if any(known) else None
    _state(row, unset, "point", new, "prototype_mm", place)
    std = None if place is None else _number(typed, "known std")
    _state(row, unset, "point", new, "prototype_std_mm", std)
    changes = MarkChanges(points=(row,), rename=_renamed("point", name, new), unset=tuple(unset))
    return FormChange(changes, _touched("point", name, new), f"change {new}", "point", new)


def change_line(name: str, typed: Typed, is_through: bool) -> FormChange:
    """A line: name, axis, straight, plane, and the std of its own marks. Raises MarkRefused."""
    new = _name(typed, name)
    row: dict[str, Any] = {"name": new}
    unset: list[tuple[str, str, str]] = []
    _state(row, unset, "line", new, "along", typed.get("along", "") or None)
    _state(row, unset, "line", new, "straight", True if typed.get("straight") == "yes" else None)
    _state(row, unset, "line", new, "plane", typed.get("plane", "") or None)
    if not is_through:
        _state(row, unset, "line", new, "std_px", _optional(typed, "std"))
    changes = MarkChanges(lines=(row,), rename=_renamed("line", name, new), unset=tuple(unset))
    return FormChange(changes, _touched("line", name, new), f"change {new}", "line", new)


def change_length(typed: Typed, before: str = "") -> FormChange:
    """A known length between two points. before: its ends "FOOT:TOP" where it is changed. Raises MarkRefused."""
    ends = [_needed(typed, "from"), _needed(typed, "to")]
    name = ":".join(sorted(ends))
    row: dict[str, Any] = {
        "between": ends,
        "length": _needed(typed, "length"),
        "std": _needed(typed, "std"),
        "along": typed.get("along", "") or None,
        "source": typed.get("source", "").strip() or None,
    }
    unset = tuple(("length", name, key) for key in ("along", "source") if before and row[key] is None)
    remove = (before,) if before and before != name else ()
    changes = MarkChanges(lengths=(row,), remove=remove, unset=() if remove else unset)
    touched: tuple[tuple[Kind, str], ...] = _touched("length", before or name, name)
    words = f"{'change' if before else 'state'} the length {ends[0]} to {ends[1]}"
    return FormChange(changes, touched, words, "length", name)


def change_plane(typed: Typed, before: str = "") -> FormChange:
    """A plane by its axes, or parallel to another at an offset. Raises MarkRefused."""
    new = _name(typed, before)
    parallel = typed.get("parallel to", "")
    row: dict[str, Any] = {"name": new}
    if parallel:
        row |= {
            "parallel_to": parallel,
            "offset_mm": _number(typed, "offset"),
            "offset_std_mm": _number(typed, "offset std"),
        }
        other: tuple[str, ...] = ("axes",)
    else:
        row["axes"] = list(_needed(typed, "axes"))
        other = ("parallel_to", "offset_mm", "offset_std_mm")
    unset = tuple(("plane", new, key) for key in other) if before else ()
    rename = _renamed("plane", before, new) if before else ()
    words = f"{'change' if before else 'state'} the plane {new}"
    changes = MarkChanges(planes=(row,), rename=rename, unset=unset)
    return FormChange(changes, _touched("plane", before or new, new), words, "plane", new)


def change_size(typed: Typed, before: str = "") -> FormChange:
    """A size to be measured. before: its id where it is changed. Raises MarkRefused."""
    new = _name(typed, before)
    row: dict[str, Any] = {
        "id": new,
        "between": [_needed(typed, "from"), _needed(typed, "to")],
        "of": _needed(typed, "of"),
        "along": typed.get("along", "") or None,
    }
    unset = (("size", new, "along"),) if before and row["along"] is None else ()
    rename = _renamed("size", before, new) if before else ()
    words = f"{'change' if before else 'ask for'} the size {new}"
    changes = MarkChanges(sizes=(row,), rename=rename, unset=unset)
    return FormChange(changes, _touched("size", before or new, new), words, "size", new)


def change_std(typed: Typed) -> MarkChanges:
    """Standard uncertainty of the marks that state none of their own. Raises MarkRefused."""
    return MarkChanges(std_px=_number(typed, "std"))


def _touched(kind: Kind, name: str, new: str) -> tuple[tuple[Kind, str], ...]:
    return ((kind, name),) if name == new else ((kind, name), (kind, new))


def _renamed(kind: str, name: str, new: str) -> tuple[tuple[str, str, str], ...]:
    return ((kind, name, new),) if name and name != new else ()


def _state(
    row: dict[str, Any], unset: list[tuple[str, str, str]], kind: str, name: str, key: str, value: Any
) -> None:
    """State a key, or have it no longer stated."""
    if value is None:
        unset.append((kind, name, key))
    else:
        row[key] = value


def _name(typed: Typed, before: str) -> str:
    return typed.get("name", "").strip() or _missing("name") if "name" in typed or not before else before


def _needed(typed: Typed, field: str) -> str:
    return typed.get(field, "").strip() or _missing(field)


def _missing(field: str) -> str:
    raise MarkRefused(f"{field} is empty", f"the field {field}", "fill it in")


def _optional(typed: Typed, field: str) -> float | None:
    return _number(typed, field) if typed.get(field, "").strip() else None


def _number(typed: Typed, field: str) -> float:
    words = _needed(typed, field)
    try:
        value = float(words)
    except ValueError as error:
        do = "write it with a point, such as 20.5"
        raise MarkRefused(f'"{words}" is no number', f"the field {field}", do) from error
    if not math.isfinite(value):
        raise MarkRefused(f'"{words}" is no finite number', f"the field {field}", "write a number")
    return value
