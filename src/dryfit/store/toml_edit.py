"""Edits of a TOML text that leave every other character as it was.

Each function takes the layout of a valid text and returns the whole new text. A row that is removed takes
the lines from its header to its last statement; comments outside those lines stay.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from dryfit.store.tables import TABLES
from dryfit.store.toml_layout import Entry, Header, Layout, Path
from dryfit.store.toml_values import SUB_TABLES, render_key, render_row, render_value

_COMMENT_LINES = re.compile(r"(?:[ \t]*#[^\n]*(?:\n|\Z))+")
_INDENT = re.compile(r"[ \t]*")


def insert_rows(
    layout: Layout, name: str, rows: list[dict[str, Any]], is_item: bool, order: Sequence[str] = TABLES
) -> str:
    """New tables after the last of their name, or else where the program would write their first.

    order : of the tables in this kind of file
    """
    places = order[: order.index(name) + 1] if name in order else order
    for known in reversed(places):
        indices = [i for i, header in enumerate(layout.headers) if header.path[:1] == (known,)]
        if indices:
            return _insert_block(layout, indices[-1], _render_rows(name, rows, is_item))
    return _insert_block(layout, 0, _render_rows(name, rows, is_item))


def insert_sub_table(layout: Layout, row: Path, key: str, values: dict[str, Any]) -> str:
    """A [name.key] table after everything else of the last row of a list, or of any row of it."""
    last = max(i for i, header in enumerate(layout.headers) if header.path[: len(row)] == row)
    return _insert_block(layout, last, render_row(f"{row[0]}.{key}", values, is_item=False), gap=False)


def replace_value(layout: Layout, entry: Entry, value: Any) -> str:
    """Another value in the place of one; what follows it on the line stays."""
    rendered = render_value(value, _find_indent(layout.text, entry.key_start))
    return _splice(layout.text, entry.value_start, entry.value_end, _fit(layout.text, rendered))


def insert_statement(layout: Layout, header: Header, keys: Path, value: Any) -> str:
    """key = value after the last statement below a header."""
    text = layout.text
    block = layout.headers.index(header)
    entries = [e for e in layout.entries.values() if e.block == block and not e.in_line]
    near = max((entry.key_start for entry in entries), default=header.start)
    indent = _find_indent(text, near)
    dotted = ".".join(render_key(str(key)) for key in keys)
    line = f"{indent}{dotted} = {render_value(value, indent)}\n"
    return _insert_lines(text, _end_of_statements(layout, block), line)


def insert_in_line(layout: Layout, entry: Entry, key: str, value: Any) -> str:
    """key = value as the last of an inline table."""
    pair = f"{render_key(key)} = {render_value(value)}"
    inner = [e for e in layout.entries.values() if e is not entry and _is_in(e.path, entry.path)]
    if not inner:
        return _splice(layout.text, entry.value_start, entry.value_end, f"{{ {pair} }}")
    end = max(child.value_end for child in inner)
    return _splice(layout.text, end, end, f", {pair}")


def remove_tables(layout: Layout, path: Path) -> str:
    """The text without the tables at and below path."""
    text = layout.text
    blocks = [index for index, header in enumerate(layout.headers) if _is_in(header.path, path)]
    for block in reversed(blocks):
        start = _start_of_line(text, layout.headers[block].start)
        end = _end_of_statements(layout, block)
        # One of the two blank lines that would otherwise meet goes too.
        if text[:start].endswith(("\n\n", "\n\r\n")) or start == 0:
            end += next((len(mark) for mark in ("\r\n", "\n") if text.startswith(mark, end)), 0)
        text = _splice(text, start, end, "")
    return text


def remove_entry(layout: Layout, entry: Entry) -> str:
    """The text without one key and its value; a comment on its line goes with it."""
    text = layout.text
    if not entry.in_line:
        return _splice(text, _start_of_line(text, entry.key_start), _end_of_line(text, entry.value_end), "")
    parent = entry.path[:-1]
    siblings = sorted(
        (e for e in layout.entries.values() if e.path[:-1] == parent and e.in_line), key=lambda e: e.key_start
    )
    index = siblings.index(entry)
    if index + 1 < len(siblings):
        return _splice(text, entry.key_start, siblings[index + 1].key_start, "")
    start = siblings[index - 1].value_end if index else entry.key_start
    return _splice(text, start, entry.value_end, "")


def _render_rows(name: str, rows: list[dict[str, Any]], is_item: bool) -> str:
    return "\n".join(render_row(name, row, is_item) for row in rows)


def _is_in(path: Path, whole: Path) -> bool:
    return path[: len(whole)] == whole


def _insert_block(layout: Layout, block: int, lines: str, gap: bool = True) -> str:
    text = layout.text
    at = _end_of_block(layout, block)
    before = "\n" if gap and text[:at].strip() else ""
    follows = text[at:].lstrip(" \t")
    after = "\n" if follows and not follows.startswith(("\n", "\r\n")) and gap else ""
    return _insert_lines(text, at, before + lines + after)


def _insert_lines(text: str, at: int, lines: str) -> str:
    """Whole lines at the start of a line, or at the end of a text whose last line is not ended."""
    missing = "\n" if at and text[at - 1] != "\n" else ""
    return _splice(text, at, at, _fit(text, missing + lines))


def _fit(text: str, lines: str) -> str:
    """Lines with the line ends that the text has."""
    return lines.replace("\n", "\r\n") if "\r\n" in text else lines


def _splice(text: str, start: int, end: int, middle: str) -> str:
    return text[:start] + middle + text[end:]


def _end_of_statements(layout: Layout, block: int) -> int:
    ends = [entry.value_end for entry in layout.entries.values() if entry.block == block]
    return _end_of_line(layout.text, max([layout.headers[block].end, *ends])) if block or ends else 0


def _end_of_block(layout: Layout, block: int) -> int:
    """After the statements of a block, and after the comments that follow them without a gap.

    Comments that touch the next header belong to that one.
    """
    end = _end_of_statements(layout, block)
    comments = _COMMENT_LINES.match(layout.text, end)
    if comments is None:
        return end
    rest = layout.text[comments.end() :].lstrip(" \t")
    return end if rest.startswith("[") else comments.end()


def _start_of_line(text: str, at: int) -> int:
    return text.rfind("\n", 0, at) + 1


def _end_of_line(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _find_indent(text: str, at: int) -> str:
    match = _INDENT.match(text, _start_of_line(text, at))
    return match.group() if match else ""


def is_sub_table(path: Path, value: Any) -> bool:
    """Whether a new value at path is written as a table below its row rather than in line."""
    return len(path) == 3 and isinstance(path[1], int) and path[2] in SUB_TABLES and isinstance(value, dict)
