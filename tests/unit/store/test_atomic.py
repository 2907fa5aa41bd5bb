"""Whole files or none."""

import os
import stat

import pytest

from dryfit.base.errors import NotWritten
from dryfit.store.atomic import write_atomically


def test_new_and_replaced(tmp_path):
    file = tmp_path / "a.txt"
    write_atomically(file, b"one")
    write_atomically(file, b"two\r\n\x00")
    assert file.read_bytes() == b"two\r\n\x00"
    assert os.listdir(tmp_path) == ["a.txt"]


def test_mode_is_kept(tmp_path):
    file = tmp_path / "a.txt"
    file.write_bytes(b"one")
    file.chmod(0o640)
    write_atomically(file, b"two")
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "elsewhere").mkdir()
    target = tmp_path / "elsewhere" / "a.txt"
    target.write_bytes(b"one")
    link = tmp_path / "link.txt"
    link.symlink_to(target)
    write_atomically(link, b"two")
    assert link.is_symlink()
    assert target.read_bytes() == b"two"


@pytest.mark.parametrize("step", ["fsync", "replace", "chmod"])
def test_a_failure_leaves_the_old_file_and_nothing_else(tmp_path, monkeypatch, step):
    file = tmp_path / "a.txt"
    file.write_bytes(b"one")

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, step, fail)
    with pytest.raises(NotWritten, match="No space left") as caught:
        write_atomically(file, b"two")
    assert caught.value.where == str(file)
    assert file.read_bytes() == b"one"
    assert os.listdir(tmp_path) == ["a.txt"]


def test_an_interrupt_leaves_nothing_either(tmp_path, monkeypatch):
    def interrupt(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(tmp_path / "a.txt", b"two")
    assert os.listdir(tmp_path) == []


def test_no_folder(tmp_path):
    with pytest.raises(NotWritten, match="No such file"):
        write_atomically(tmp_path / "nowhere" / "a.txt", b"")
