"""Where each key and value of a TOML text stands: for line numbers, and for edits that touch nothing else.

The standard parser gives values without places. This scan gives places without values; it reads only text
that the parser has accepted, so it need not check anything again.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from dataclasses import dataclass, field

Step = str | int
Path = tuple[Step, ...]

_BLANK = re.compile(r"[ \t]*")
_FILL = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_PLAIN = re.compile(r"[^,\]}#\r\n]+")
_STRINGS = tuple(
    re.compile(pattern)
    for pattern in (
        r'"""(?:\\[\s\S]|[^\\])*?"{3,5}',
        r"'''[\s\S]*?'{3,5}",
        r'"(?:\\.|[^"\\\n])*"',
        r"'[^'\n]*'",
    )
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One value. key_start is where its key begins, or the value itself in a list.

    block  index of the header whose lines it stands in; in_line: inside an inline table or list
    """

    path: Path
    key_start: int
    value_start: int
    value_end: int
    block: int
    in_line: bool


@dataclass(frozen=True, slots=True)
class Header:
    """A [table] or [[table]] line; the first header of a layout is the text before any, path ()."""

    path: Path
    start: int
    end: int
    is_item: bool


@dataclass(slots=True)
class Layout:
    """All headers and values of a text, in the order of the text."""

    text: str
    headers: list[Header] = field(default_factory=list)
    entries: dict[Path, Entry] = field(default_factory=dict)
    _newlines: list[int] = field(default_factory=list)
    _starts: dict[Path, int] = field(default_factory=dict)

    def find_line(self, path: Path) -> int:
        """1-based line of the value at path, or of the nearest table around it; 0 for the whole document."""
        if not self._starts:
            for header in self.headers:
                # A table also shows where the list or the table around it begins, if that has no header.
                for depth in range(len(header.path), 0, -1):
                    self._starts.setdefault(header.path[:depth], header.start)
        while path:
            if path in self.entries:
                return self.count_line(self.entries[path].key_start)
            if path in self._starts:
                return self.count_line(self._starts[path])
            path = path[:-1]
        return 0

    def count_line(self, offset: int) -> int:
        """1-based line of a character."""
        if not self._newlines:
            self._newlines = [match.start() for match in re.finditer("\n", self.text)] or [len(self.text)]
        return bisect_right(self._newlines, offset - 1) + 1


def scan_layout(text: str) -> Layout:
    """The places of everything in a text that is valid TOML."""
    return _Scan(text).run()


class _Scan:
    """One pass over a text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.layout = Layout(text, [Header((), 0, 0, False)])
        self.counts: dict[Path, int] = {}

    def run(self) -> Layout:
        self._skip(_FILL)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                self._read_header()
            else:
                self._read_pair(self.layout.headers[-1].path, in_line=False)
            self._skip(_FILL)
        return self.layout

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        self.at = match.end() if match else self.at

    def _take(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        if match is None:
            raise ValueError(f"no TOML at character {self.at}")
        self.at = match.end()
        return match.group()

    def _read_header(self) -> None:
        start = self.at
        is_item = self.text.startswith("[[", start)
        self.at += 2 if is_item else 1
        keys = self._read_keys()
        self.at += 2 if is_item else 1
        path = self._resolve(keys, is_item)
        self.layout.headers.append(Header(path, start, self.at, is_item))

    def _resolve(self, keys: list[str], is_item: bool) -> Path:
        """The path of a header: a name of a list of tables means its last table so far."""
        path: Path = ()
        for index, key in enumerate(keys):
            path += (key,)
            if is_item and index == len(keys) - 1:
                self.counts[path] = self.counts.get(path, 0) + 1
            if path in self.counts:
                path += (self.counts[path] - 1,)
        return path

    def _read_keys(self) -> list[str]:
        keys = []
        while True:
            self._skip(_BLANK)
            if self.text[self.at] in "\"'":
                keys.append(str(tomllib.loads("key = " + self._take_string())["key"]))
            else:
                keys.append(self._take(_BARE))
            self._skip(_BLANK)
            if self.text[self.at] != ".":
                return keys
            self.at += 1

    def _take_string(self) -> str:
        triple = self.text[self.at : self.at + 3] in ('"""', "'''")
        double = self.text[self.at] == '"'
        return self._take(_STRINGS[(0 if triple else 2) + (0 if double else 1)])

    def _read_pair(self, parent: Path, in_line: bool) -> None:
        start = self.at
        path = parent + tuple(self._read_keys())
        self.at += 1
        self._skip(_BLANK)
        self._read_value(path, start, in_line)

    def _read_value(self, path: Path, key_start: int, in_line: bool) -> None:
        start, begin = self.at, self.text[self.at]
        block = len(self.layout.headers) - 1
        if begin in "\"'":
            self._take_string()
        elif begin == "[":
            self._read_list(path)
        elif begin == "{":
            self._read_inline_table(path)
        else:
            self.at = start + len(self._take(_PLAIN).rstrip())
        self.layout.entries[path] = Entry(path, key_start, start, self.at, block, in_line)

    def _read_list(self, path: Path) -> None:
        self.at += 1
        self._skip(_FILL)
        index = 0
        while self.text[self.at] != "]":
            self._read_value((*path, index), self.at, in_line=True)
            self._skip(_FILL)
            if self.text[self.at] == ",":
                self.at += 1
                self._skip(_FILL)
            index += 1
        self.at += 1

    def _read_inline_table(self, path: Path) -> None:
        self.at += 1
        self._skip(_FILL)
        while self.text[self.at] != "}":
            self._read_pair(path, in_line=True)
            self._skip(_FILL)
            if self.text[self.at] == ",":
                self.at += 1
                self._skip(_FILL)
        self.at += 1
