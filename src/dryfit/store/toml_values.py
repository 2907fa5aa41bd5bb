"""Values as TOML text, numbers as a person would type them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import tomlkit

# Coordinates are kept to a nanometre; everything else to twelve significant digits, which drops the tail
# that binary fractions leave (0.30000000000000004) and nothing that anybody measured.
COORDINATE_KEYS = frozenset(
    {
        *("points_mm", "points_on_second_mm", "locator_points_mm", "translation_mm"),
        *("point_mm", "at_mm", "size_mm"),
    }
)
COORDINATE_DECIMALS = 6
SIGNIFICANT_DIGITS = 12
WIDEST = 100

# Written as a table of their own below the row, where a line each is easier to read and to comment.
SUB_TABLES = frozenset({"faces", "error"})


def tidy(value: Any, key: str = "") -> Any:
    """Plain lists, dicts and numbers; floats rounded for writing, by the key they stand under."""
    if isinstance(value, np.ndarray | np.generic):
        return tidy(value.tolist(), key)
    if isinstance(value, Mapping):
        return {name: tidy(inner, name) for name, inner in value.items() if inner is not None}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [tidy(inner, key) for inner in value]
    if isinstance(value, float):
        if key in COORDINATE_KEYS:
            return round(value, COORDINATE_DECIMALS) + 0.0  # no -0.0
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") + 0.0
    return value


def render_value(value: Any, indent: str = "") -> str:
    """A tidy value as TOML; a list that would be too wide has one entry on each line."""
    if isinstance(value, dict):
        inner = ", ".join(f"{render_key(key)} = {render_value(item)}" for key, item in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list):
        entries = [render_value(entry, indent + "    ") for entry in value]
        flat = f"[{', '.join(entries)}]"
        if len(flat) <= WIDEST or len(entries) < 2 or not isinstance(value[0], list | str | dict):
            return flat
        return "[\n" + "".join(f"{indent}    {entry},\n" for entry in entries) + f"{indent}]"
    return str(tomlkit.item(value).as_string())


def render_key(key: str) -> str:
    """A key, quoted where it must be."""
    return tomlkit.key(key).as_string()


def render_pair(key: str, value: Any) -> str:
    """key = value"""
    return f"{render_key(key)} = {render_value(value)}"


def render_row(name: str, row: Mapping[str, Any], is_item: bool) -> str:
    """A table with its sub-tables, each line ended."""
    opening, closing = ("[[", "]]") if is_item else ("[", "]")
    lines = [f"{opening}{name}{closing}"]
    below = []
    for key, value in row.items():
        if key in SUB_TABLES and isinstance(value, dict):
            below.append(render_row(f"{name}.{key}", value, is_item=False).rstrip("\n"))
        else:
            lines.append(render_pair(key, value))
    return "\n".join([*lines, *below]) + "\n"
