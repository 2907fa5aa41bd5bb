"""What-ifs written into the document: shown first, only what was asked for, only what is stated."""

import pytest

from dryfit.app.applying import apply_edit, propose_edit
from dryfit.app.prediction import predict
from dryfit.app.whatif import WhatIfRefused
from dryfit.base.errors import NotWritten
from support.projects import contents, write_project


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


def test_a_proposal_writes_nothing(folder):
    before = contents(folder)
    edit = propose_edit(folder, ["tall.skew_xz_deg=0"])
    assert edit.words == ("tall.error.skew_xz_deg: 0.4 -> 0",)
    assert "-skew_xz_deg = 0.4  # measured last winter" in edit.diff
    assert contents(folder) == before


def test_applied_it_changes_that_value_and_keeps_the_comment(folder):
    before = (folder / "project.toml").read_text().splitlines()
    apply_edit(folder, propose_edit(folder, ["tall.skew_xz_deg=0"]))
    after = (folder / "project.toml").read_text().splitlines()
    changed = [(old, new) for old, new in zip(before, after, strict=True) if old != new]
    assert [old for old, _ in changed] == ["skew_xz_deg = 0.4  # measured last winter"]
    assert changed[0][1].endswith("  # measured last winter")


@pytest.mark.parametrize(
    "change",
    [
        "tall.skew_xz_deg=0.05",
        "tall.skew_xz_deg=0.05+-0.01",
        "tall.repeatability_mm=0.1",
        "pla.shrinkage=0.001",
        "post-1.bed=0,0,90",
        "base:post-1.bond_line_mm=0.2",
        "base:post-1.contact_play_mm=0.1",
        "base:post-1.locators=none",
        "post-2:lintel.role=locating",
    ],
)
def test_the_forecast_after_is_that_of_the_what_if(folder, change):
    tried = predict(folder, [change], record=False)
    apply_edit(folder, propose_edit(folder, [change]))
    applied = predict(folder, record=False)
    assert applied.characteristics == tried.characteristics


def test_several_changes_go_together_and_the_last_wins(folder):
    edit = propose_edit(folder, ["tall.skew_xz_deg=0.2", "post-1.bed=0,0,90", "tall.skew_xz_deg=0.1"])
    apply_edit(folder, edit)
    text = (folder / "project.toml").read_text()
    assert "skew_xz_deg = 0.1" in text
    assert "euler_xyz_deg = [0.0, 0.0, 90.0]" in text or "euler_xyz_deg = [0, 0, 90]" in text


@pytest.mark.parametrize(
    "change", ["assembly.temp_c=25", "base:post-1.locator_axis=short", "pla.expansion_per_k=6e-5"]
)
def test_a_key_that_the_document_does_not_state_is_refused(folder, change):
    with pytest.raises(WhatIfRefused, match="does not state"):
        propose_edit(folder, [change])


def test_a_document_changed_meanwhile_is_not_overwritten(folder):
    edit = propose_edit(folder, ["tall.skew_xz_deg=0"])
    path = folder / "project.toml"
    path.write_text(path.read_text() + "# by another hand\n")
    before = contents(folder)
    with pytest.raises(NotWritten, match="changed on disk"):
        apply_edit(folder, edit)
    assert contents(folder) == before
