"""Frozen copies: named by their content, never written over, never half there."""

from __future__ import annotations

import hashlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from dryfit.base.errors import NotWritten
from dryfit.store.released import (
    copy_path,
    find_faults,
    keep_copy,
    lay_out,
    list_copies,
    remove_abandoned,
)

DATA = b"a mesh"
NAME = hashlib.sha256(DATA).hexdigest()


def test_a_copy_bears_the_hash_of_its_content(tmp_path: Path) -> None:
    assert keep_copy(tmp_path, DATA) == NAME
    assert copy_path(tmp_path, NAME).read_bytes() == DATA
    assert list_copies(tmp_path) == (NAME,)
    assert not os.stat(copy_path(tmp_path, NAME)).st_mode & 0o222


def test_a_copy_that_is_there_is_left_alone(tmp_path: Path) -> None:
    keep_copy(tmp_path, DATA)
    before = copy_path(tmp_path, NAME).stat()
    keep_copy(tmp_path, DATA)
    after = copy_path(tmp_path, NAME).stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    assert len(list((tmp_path / "released").iterdir())) == 1


def test_a_copy_that_holds_something_else_is_neither_used_nor_written_over(tmp_path: Path) -> None:
    keep_copy(tmp_path, DATA)
    path = copy_path(tmp_path, NAME)
    path.chmod(0o644)
    path.write_bytes(b"another")
    with pytest.raises(NotWritten, match="content has changed"):
        keep_copy(tmp_path, DATA)
    assert path.read_bytes() == b"another"


def test_faults_tell_missing_from_changed(tmp_path: Path) -> None:
    first, second = keep_copy(tmp_path, b"one"), keep_copy(tmp_path, b"two")
    files = [("a", first), ("b", second), ("again", first)]
    assert find_faults(tmp_path, files) == ()
    copy_path(tmp_path, second).unlink()
    copy_path(tmp_path, first).chmod(0o644)
    copy_path(tmp_path, first).write_bytes(b"One")
    assert [(fault.name, fault.kind) for fault in find_faults(tmp_path, files)] == [
        ("a", "changed"), ("b", "missing"), ("again", "changed"),
    ]  # fmt: skip


def test_only_files_of_killed_runs_are_removed(tmp_path: Path) -> None:
    keep_copy(tmp_path, DATA)
    old, young = (tmp_path / "released" / f".{name}.tmp" for name in ("old", "young"))
    for path in (old, young):
        path.write_bytes(b"half")
    os.utime(old, (1.0, 1.0))
    assert remove_abandoned(tmp_path) == 1
    assert not old.exists()
    assert young.exists()
    assert list_copies(tmp_path) == (NAME,)


def test_files_come_back_under_their_names(tmp_path: Path) -> None:
    target = tmp_path / "out"
    target.mkdir()
    sha256 = keep_copy(tmp_path, DATA)
    lay_out(tmp_path, [("meshes/part.stl", sha256), ("meshes/gone.stl", "0" * 64)], target)
    assert (target / "meshes" / "part.stl").read_bytes() == DATA
    assert not (target / "meshes" / "gone.stl").exists()


def test_no_name_leads_out_of_the_folder(tmp_path: Path) -> None:
    target = tmp_path / "out"
    target.mkdir()
    with pytest.raises(NotWritten, match="leads out"):
        lay_out(tmp_path, [("../there.stl", keep_copy(tmp_path, DATA))], target)


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "released").write_bytes(b"a file of that name")
    with pytest.raises(NotWritten, match="cannot be written"):
        keep_copy(tmp_path, DATA)


WRITER = """
import sys
from pathlib import Path
from dryfit.store.released import keep_copy
folder = Path(sys.argv[1])
for number in range(100_000):
    keep_copy(folder, str(number).encode() * 20_000)
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_a_killed_run_leaves_no_half_copy(tmp_path: Path) -> None:
    process = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)])
    deadline = time.monotonic() + 10.0
    while len(list_copies(tmp_path)) < 5 and time.monotonic() < deadline:
        time.sleep(0.01)
    process.send_signal(signal.SIGKILL)
    process.wait()
    names = list_copies(tmp_path)
    assert len(names) >= 5
    assert find_faults(tmp_path, [(name, name) for name in names]) == ()
