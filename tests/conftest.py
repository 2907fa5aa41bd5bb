"""Puts this folder on the import path, so that the tests share the builders in building/.

With DRYFIT_SLOW=2 half of the files with tests that are marked slow and need no browser are run, in turn with the
commits, so that all come round; without it all are run. What is left out is counted as deselected.

Started where interrupts are ignored (in the background of a script, for one), the tests take them up again: the
commands that they start and interrupt would inherit the deafness.
"""

from __future__ import annotations

import os
import signal
import subprocess
from pathlib import Path

import pytest

SHARE = int(os.environ.get("DRYFIT_SLOW", "1"))
# Pages of the documentation have a share of their own: DRYFIT_PAGES.
OWN_SHARE = "test_readme.py"


def pytest_configure() -> None:
    if signal.getsignal(signal.SIGINT) == signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if SHARE == 1:
        return
    slow = [
        item
        for item in items
        if item.get_closest_marker("slow")
        and "web" not in item.path.parts
        and not item.get_closest_marker("browser")
        and item.path.name != OWN_SHARE
    ]
    files = sorted({item.path for item in slow})
    due = set(files[turn_of_this_commit() % SHARE :: SHARE])
    later = [item for item in slow if item.path not in due]
    config.hook.pytest_deselected(items=later)
    left = set(later)
    items[:] = [item for item in items if item not in left]


def turn_of_this_commit() -> int:
    """Number of commits so far; 0 outside a checkout."""
    command = ["git", "rev-list", "--count", "HEAD"]
    root = Path(__file__).parent
    done = subprocess.run(command, cwd=root, capture_output=True, encoding="utf-8", check=False)
    return int(done.stdout) if done.returncode == 0 else 0
