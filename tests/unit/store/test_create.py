"""A new project folder."""

import os

import pytest

from dryfit.base.errors import DocumentRefused, NotWritten
from dryfit.store import create
from dryfit.store.create import new_project
from dryfit.store.document import read_document


@pytest.mark.parametrize("exists", [False, True])
def test_a_new_project_reads_as_it_stands(tmp_path, exists):
    folder = tmp_path / "fell"
    if exists:
        folder.mkdir()
    path = new_project(folder, 'Harrow "Fell"\n', "1:20")
    assert sorted(os.listdir(folder)) == ["meshes", "photos", "project.toml", "released"]
    assert os.listdir(tmp_path) == ["fell"]
    document = read_document(path)
    assert document.project.name == 'Harrow "Fell"\n'
    assert document.project.parts == ()


def test_the_commented_examples_of_the_template_are_valid():
    text = create.TEMPLATE.format(name='"x"', scale='"1:20"')
    lines = []
    for line in text.split("\n"):
        is_example = line.startswith("# [") or (line.startswith("# ") and " = " in line)
        lines.append(line[2:] if is_example else line)
    uncommented = "\n".join(lines)
    assert lines.count("[[part]]") == 1
    second = '\n[[part]]\nid = "ring-2"\nmesh = "a.stl"\nmachine = "tall"\nmaterial = "pla"\n'
    uncommented = uncommented.replace("ring-6:ring-1", "ring-1:ring-2") + second
    document = create.parse_document(uncommented, "project.toml")
    assert len(document.project.characteristics) == len(document.project.joints) == 1


def test_a_folder_in_use_is_refused(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(NotWritten, match="not empty"):
        new_project(tmp_path, "x", "1:20")
    with pytest.raises(NotWritten, match="a file of that name"):
        new_project(tmp_path / "notes.txt", "x", "1:20")
    with pytest.raises(NotWritten, match="No such file"):
        new_project(tmp_path / "no" / "where", "x", "1:20")
    assert os.listdir(tmp_path) == ["notes.txt"]


def test_a_scale_that_is_none_makes_nothing(tmp_path):
    with pytest.raises(DocumentRefused, match="is not a scale"):
        new_project(tmp_path / "fell", "x", "twenty")
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("exists", [False, True])
def test_nothing_half_made_is_left(tmp_path, monkeypatch, exists):
    folder = tmp_path / "fell"
    if exists:
        folder.mkdir()

    def fail(path, data):
        raise NotWritten("full", str(path), "make room")

    monkeypatch.setattr(create, "write_atomically", fail)
    with pytest.raises(NotWritten, match="full"):
        new_project(folder, "x", "1:20")
    assert os.listdir(tmp_path) == (["fell"] if exists else [])
    assert not exists or os.listdir(folder) == []
