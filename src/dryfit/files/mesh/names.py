"""Names of the objects of a file: as in the file, and each of them once."""

from __future__ import annotations

from collections.abc import Sequence


def name_objects(names: Sequence[str], stem: str) -> list[tuple[str, str | None]]:
    """A distinct name for every object, with a note where it is not the file's own.

    An unnamed object gets the file's stem, with -1, -2 ... where there are several. A repeated name gets
    -2, -3 ... from its second appearance on.
    """
    unnamed = sum(1 for name in names if not name)
    taken = {name for name in names if name}
    used: set[str] = set()
    counted = 0
    result: list[tuple[str, str | None]] = []
    for name in names:
        note = None
        if not name:
            counted += 1
            chosen = stem if unnamed == 1 else f"{stem}-{counted}"
            if chosen in taken or chosen in used:
                chosen = _suffixed(chosen, taken | used)
        elif name in used:
            chosen = _suffixed(name, taken | used)
            note = f"the name {name!r} occurs more than once in the file; this one is called {chosen!r}"
        else:
            chosen = name
        used.add(chosen)
        result.append((chosen, note))
    return result


def _suffixed(name: str, taken: set[str]) -> str:
    number = 2
    while f"{name}-{number}" in taken:
        number += 1
    return f"{name}-{number}"


def decode_name(raw: bytes) -> str:
    """The text of a name; bytes that are not UTF-8 are shown as backslash escapes rather than lost."""
    return raw.decode("utf-8", errors="backslashreplace").strip()
