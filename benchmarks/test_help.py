"""`dryfit --help` as a process, beside an interpreter that does nothing: the bar is 0.2 s.

The bytecode is compiled by the warm-up round.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

COMMANDS = {
    "python -c pass": [sys.executable, "-c", "pass"],
    "dryfit --help": [str(Path(sys.executable).with_name("dryfit")), "--help"],
    "dryfit forecast --help": [str(Path(sys.executable).with_name("dryfit")), "forecast", "--help"],
    "dryfit --version": [str(Path(sys.executable).with_name("dryfit")), "--version"],
}


@pytest.mark.parametrize("command", COMMANDS)
def test_process(benchmark, command):
    def call():
        return subprocess.run(COMMANDS[command], capture_output=True, check=True)

    benchmark.pedantic(call, rounds=10, warmup_rounds=1)


def test_help_imports_no_numbers():
    """The heavy libraries are imported by the commands that need them, not by the list of commands."""
    code = "import sys, dryfit.cli.main; print(*sorted(sys.modules))"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8"
    ).stdout.split()
    assert not {"numpy", "scipy", "trimesh", "pydantic", "sqlite3", "tomlkit"} & set(loaded)
