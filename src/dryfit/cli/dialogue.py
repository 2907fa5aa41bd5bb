"""A conversation line by line: on a terminal, or through a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterable


class Dialogue:
    """Questions and answers. With --json everything said goes to standard error."""

    def __init__(self, as_json: bool) -> None:
        self._stream = sys.stderr if as_json else sys.stdout
        reconfigure = getattr(sys.stdin, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")  # bytes that are no text are answered, not a traceback

    def say(self, lines: str | Iterable[str]) -> None:
        """Print lines at once."""
        for line in [lines] if isinstance(lines, str) else lines:
            print(line, file=self._stream)
        self._stream.flush()

    def ask(self, prompt: str) -> str | None:
        """The answer, without spaces around it; None where there is no more input."""
        self._stream.write(prompt)
        self._stream.flush()
        if sys.stdin is None:  # closed by whoever started the program
            return None
        line = sys.stdin.readline()
        if not sys.stdin.isatty():
            self.say(line.rstrip("\n"))  # so that what was piped in stands behind its question
        return line.strip() if line else None
