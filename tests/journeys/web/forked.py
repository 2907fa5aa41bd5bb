"""A workbench in a process that is forked from one which has loaded the program already.

Loading takes seconds of processor time; the tests of pages start some sixty workbenches. How `dryfit serve` itself
starts, answers and ends is tested in test_safety.py with the command.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
from collections.abc import Sequence
from multiprocessing.connection import Connection

_CONTEXT = multiprocessing.get_context("forkserver")
_CONTEXT.set_forkserver_preload(["dryfit.web.server", "dryfit.web.pages", "dryfit.cli.main"])


class Forked:
    """The process, with what tests use of subprocess.Popen. stdout: what it prints, both streams in one."""

    def __init__(self, arguments: Sequence[str]) -> None:
        reader, writer = _CONTEXT.Pipe(duplex=False)
        self._process = _CONTEXT.Process(target=_serve, args=(writer, list(arguments)), daemon=False)
        self._process.start()
        writer.close()
        self.stdout = os.fdopen(os.dup(reader.fileno()), encoding="utf-8")
        reader.close()

    @property
    def pid(self) -> int:
        return self._process.pid

    def poll(self) -> int | None:
        """Its exit status; None while it runs."""
        return self._process.exitcode

    def wait(self, timeout_s: float) -> int:
        """Its exit status once it has ended."""
        self._process.join(timeout_s)
        if self._process.exitcode is None:
            raise subprocess.TimeoutExpired("dryfit serve", timeout_s)
        return self._process.exitcode

    def send_signal(self, number: int) -> None:
        os.kill(self.pid, number)


def _serve(writer: Connection, arguments: list[str]) -> None:
    """Runs in the new process: the command with its arguments, in a session of its own."""
    os.setsid()
    signal.signal(signal.SIGINT, signal.default_int_handler)
    for number in (1, 2):
        os.dup2(writer.fileno(), number)
    writer.close()
    sys.stdout = sys.stderr = os.fdopen(1, "w", encoding="utf-8", buffering=1, closefd=False)
    sys.argv = ["dryfit", *arguments]
    from dryfit.cli.main import main

    raise SystemExit(main())
