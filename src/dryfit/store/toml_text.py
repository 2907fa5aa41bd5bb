"""From bytes to TOML values: what can be wrong with the text as a whole."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from dryfit.base.errors import DocumentRefused, Fault

LARGEST_BYTES = 16 * 1024 * 1024
DEEPEST = 32  # the schema needs six levels

_PLACE = re.compile(r"(.*) \(at (?:line (\d+), column (\d+)|end of document)\)", re.DOTALL)

# The parser's words and ours, with what to do.
_SYNTAX = (
    ("Cannot overwrite a value", "a key is stated twice", "remove one of the two"),
    ("Cannot declare", "a table is stated twice", "merge the two, or write [[name]] for a list of tables"),
    ("Unclosed array", "a list is not closed", "add the missing ]"),
    ("Expected '=' after a key", "a key has no =", "write key = value"),
    ("Invalid value", "a value is missing or not TOML", "put texts in quotes, and use a point in decimals"),
    ("Illegal character", "a character cannot stand here", "put texts in quotes on one line"),
)


def refuse_whole(name: str, what: str, do: str, place: str = "") -> DocumentRefused:
    """The refusal of a document for one fault that hides everything else."""
    return DocumentRefused(name, [Fault(name + place, what, do)])


def decode(data: bytes, name: str) -> str:
    """The text of a document.

    Raises DocumentRefused where it is too large, begins with a byte order mark, or is not UTF-8.
    """
    if len(data) > LARGEST_BYTES:
        raise _too_large(name, len(data))
    if data.startswith(b"\xef\xbb\xbf"):
        raise _marked(name)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        what = f"the document is not UTF-8: byte 0x{data[error.start]:02x} cannot stand here"
        raise refuse_whole(name, what, "save it as UTF-8", f" (line {line})") from error


def parse_toml(text: str, name: str) -> dict[str, Any]:
    """The values of a TOML text.

    Raises DocumentRefused with line and column where it is no TOML.
    """
    _check_text(text, name)
    try:
        raw = tomllib.loads(text)
    except RecursionError as error:
        raise _too_deep(name) from error
    except tomllib.TOMLDecodeError as error:
        raise _explain_syntax(str(error), text, name) from error
    except ValueError as error:
        # Python refuses to convert a number of thousands of digits.
        raise refuse_whole(name, f"a number cannot be read: {error}", "write fewer digits") from error
    if _measure_depth(raw) > DEEPEST:
        raise _too_deep(name)
    return raw


def _check_text(text: str, name: str) -> None:
    if text.startswith("\ufeff"):
        raise _marked(name)
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError as error:
        place = f" (line {text.count(chr(10), 0, error.start) + 1})"
        what = "a character is half of a surrogate pair and no text"
        raise refuse_whole(name, what, "save the document as UTF-8", place) from error
    if size > LARGEST_BYTES:
        raise _too_large(name, size)
    zero = text.find("\0")
    if zero >= 0:
        place = f" (line {text.count(chr(10), 0, zero) + 1})"
        do = "the file may be damaged or UTF-16: restore it, or save it as UTF-8"
        raise refuse_whole(name, "the document holds a NUL character", do, place)


def _too_large(name: str, size: int) -> DocumentRefused:
    what = f"the document is {size / 1024**2:.1f} MB large, more than {LARGEST_BYTES // 1024**2} MB"
    return refuse_whole(name, what, "keep meshes and photographs in files of their own")


def _marked(name: str) -> DocumentRefused:
    what = "the document begins with a byte order mark"
    return refuse_whole(name, what, "save it as UTF-8 without a byte order mark", " (line 1)")


def _too_deep(name: str) -> DocumentRefused:
    what = f"lists or tables are nested more than {DEEPEST} deep"
    return refuse_whole(name, what, "remove the surplus brackets")


def _explain_syntax(message: str, text: str, name: str) -> DocumentRefused:
    match = _PLACE.fullmatch(message)
    said = match.group(1) if match else message
    if match and match.group(2):
        place = f" (line {match.group(2)}, column {match.group(3)})"
    else:
        last = text.rstrip("\n").split("\n")
        place = f" (line {len(last)}, column {len(last[-1]) + 1}, the end of the document)"
    for begin, what, do in _SYNTAX:
        if said.startswith(begin):
            return refuse_whole(name, f"{what} ({said})", do, place)
    return refuse_whole(name, f"this is not TOML ({said})", "mend the line, or the one above it", place)


def _measure_depth(raw: dict[str, Any]) -> int:
    """How deep lists and tables are nested, without recursion; stops counting beyond DEEPEST."""
    depth = 0
    level: list[Any] = [raw]
    while level and depth <= DEEPEST:
        depth += 1
        inner = (i for v in level for i in (v.values() if isinstance(v, dict) else v))
        level = [value for value in inner if isinstance(value, dict | list)]
    return depth
