"""Corrected copies from a page: written only where document and machine are still those that were shown."""

import tomllib

import pytest

from dryfit.app.compensating import CopyOptions
from dryfit.app.machine_page_mend import propose_copies, write_copies
from dryfit.app.qualify import qualify_machine
from dryfit.app.qualify_report import Choices
from dryfit.base.errors import NotWritten
from support.projects import contents, write_project
from support.read_artefacts import write_artefact, write_readings, write_unknown


def test_what_was_shown_is_what_is_written(tmp_path):
    folder = write_project(tmp_path)
    before = contents(folder)
    proposal = propose_copies(folder, "tall", CopyOptions())
    assert contents(folder) == before
    report = write_copies(folder, proposal)
    assert report.written
    parts = tomllib.loads((folder / "project.toml").read_text())["part"]
    assert all((folder / part["compensated"]["file"]).exists() for part in parts)
    assert all(part["compensated"]["sha256"] in proposal.report.diff for part in parts)


def test_a_document_that_changed_meanwhile_is_left_alone(tmp_path):
    folder = write_project(tmp_path)
    proposal = propose_copies(folder, "tall", CopyOptions())
    document = folder / "project.toml"
    document.write_text(document.read_text() + "\n# a word\n")
    before = contents(folder)
    with pytest.raises(NotWritten, match="changed since the copies were shown"):
        write_copies(folder, proposal)
    assert contents(folder) == before


def test_a_machine_qualified_meanwhile_needs_other_copies(tmp_path):
    folder = write_unknown(tmp_path)
    write_readings(folder, write_artefact(folder, repeats=1))
    qualify_machine(folder, "tall", Choices(keep=True))
    proposal = propose_copies(folder, "tall", CopyOptions())
    qualify_machine(folder, "tall", Choices(keep=True))
    with pytest.raises(NotWritten, match="qualified since"):
        write_copies(folder, proposal)
    assert not (folder / "compensated").exists()
