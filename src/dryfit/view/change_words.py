"""A difference between two documents in plain words, values with their unit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dryfit.app.changes_document import DocumentChange

_UNITS: Mapping[str, str] = {
    "_g_per_cm3": "g/cm3",
    "_per_m_mm": "mm per m",
    "_mm2": "mm2",
    "_mm": "mm",
    "_deg": "degrees",
    "_px": "px",
    "_c": "C",
}
_AXES = ("x", "y", "z")
_LONGEST = 60
NOT_STATED = "not stated"


def change_words(change: DocumentChange) -> str:
    """One difference in words, with the row that it is of: "joint a:b: bond line 0.1 -> 0.15 mm"."""
    where = f"{change.table} {change.row}" if change.row else change.table
    if change.kind == "renamed":
        return f"{change.table} {change.before} is named {change.after} now"
    if not change.key:
        return f"{where} is {change.kind}"
    return f"{where}: {key_words(change)}"


def key_words(change: DocumentChange) -> str:
    """The same without the row."""
    if change.key[-1] == "euler_xyz_deg":
        return _turned(change)
    label, unit = _label(change.key)
    before, after = _value(change.before), _value(change.after)
    is_number = any(_is_number(value) for value in (change.before, change.after))
    return f"{label} {before} -> {after}{f' {unit}' if unit and is_number else ''}"


def _turned(change: DocumentChange) -> str:
    """A pose: about the one axis whose angle differs, or all three."""
    old, new = (list(value) if value is not None else [0, 0, 0] for value in (change.before, change.after))
    what = " ".join(change.key[:-1]) or "pose"
    said = {"stated": " (was not stated)", "left out": " (not stated any more)"}.get(change.kind, "")
    differs = [k for k in range(3) if old[k] != new[k]]
    others = [old[k] for k in range(3) if k not in differs]
    if len(differs) == 1 and not any(others):
        k = differs[0]
        return f"{what} turned from {_number(old[k])} to {_number(new[k])} degrees about {_AXES[k]}{said}"
    return f"{what} turned from {_triple(old)} to {_triple(new)} degrees about x, y, z{said}"


def _label(path: Sequence[str]) -> tuple[str, str]:
    """The keys without the unit of the last one, and that unit."""
    last, unit = path[-1], ""
    for ending, name in _UNITS.items():
        if last.endswith(ending):
            last, unit = last.removesuffix(ending), name
            break
    words = [*path[:-1], last]
    # Standard uncertainties stand under std with the names of the figures.
    return " ".join(word.replace("_", " ") for word in words), unit


def _value(value: Any) -> str:
    if value is None:
        return NOT_STATED
    text = _plain(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return _number(value)
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, Mapping):
        return ", ".join(f"{str(key).replace('_', ' ')} {_plain(item)}" for key, item in value.items())
    return f"({', '.join(_plain(item) for item in value)})"


def _is_number(value: Any) -> bool:
    if isinstance(value, list | tuple):
        return any(_is_number(item) for item in value)
    return isinstance(value, int | float) and not isinstance(value, bool)


def _number(value: float) -> str:
    return f"{value:.12g}"


def _triple(values: Sequence[float]) -> str:
    return f"({', '.join(_number(value) for value in values)})"
