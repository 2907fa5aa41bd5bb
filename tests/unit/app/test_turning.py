"""Searching bed poses of a folder, and writing them when told."""

import pytest

from dryfit.app.prediction import predict
from dryfit.app.turning import OrientOptions, turn_parts
from dryfit.base.errors import ComputationRefused, NotWritten
from dryfit.store.document import read_document
from support.projects import contents, document, write_project

COARSE = OrientOptions(grid_deg=90.0, is_refined=False)


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


def test_looking_writes_nothing(folder):
    before = contents(folder)
    turned = turn_parts(folder, COARSE)
    assert turned.report.has_changes
    assert not turned.written
    assert contents(folder) == before


def test_the_diff_is_what_is_written(folder):
    shown = turn_parts(folder, COARSE).diff
    old = (folder / "project.toml").read_text().splitlines()
    turned = turn_parts(folder, COARSE, write=True)
    assert (turned.diff, turned.written) == (shown, True)
    new = (folder / "project.toml").read_text().splitlines()
    added = [line[1:] for line in shown.splitlines() if line.startswith("+") and not line.startswith("+++")]
    assert [line for line in new if line not in old] == added
    for change in turned.report.parts:
        assert read_document(folder).project.part(change.part).bed == change.chosen


def test_what_is_written_forecasts_as_announced(folder):
    turned = turn_parts(folder, OrientOptions(), write=True)
    after = {item.id: item for item in predict(folder).characteristics}
    for change in turned.report.characteristics:
        assert after[change.id].predicted == pytest.approx(change.predicted_after, abs=1e-9)
        assert after[change.id].std == pytest.approx(change.std_after, rel=1e-9)
        assert after[change.id].p_out == pytest.approx(change.p_out_after, abs=1e-9)


def test_a_second_search_changes_nothing_more(folder):
    turn_parts(folder, OrientOptions(), write=True)
    again = turn_parts(folder, OrientOptions(), write=True)
    assert not again.written
    assert again.diff == ""


def test_what_ifs_shape_the_search_and_are_not_written(folder):
    straight = turn_parts(folder, COARSE, ("tall.skew_xz_deg=0+-0",), write=True)
    leaning = turn_parts(folder, COARSE, write=True)
    assert straight.report.loss_before < leaning.report.loss_before
    assert "skew_xz_deg = 0.4" in (folder / "project.toml").read_text()


def test_comments_stay(folder):
    turn_parts(folder, COARSE, write=True)
    assert "# measured last winter" in (folder / "project.toml").read_text()


def test_a_document_changed_meanwhile_is_not_overwritten(folder, monkeypatch):
    from dryfit.app import turning

    original = turning.DocumentEditor.save

    def somebody_else_first(self):
        path = folder / "project.toml"
        path.write_text(path.read_text() + "# mine\n")
        return original(self)

    monkeypatch.setattr(turning.DocumentEditor, "save", somebody_else_first)
    with pytest.raises(NotWritten, match="changed on disk"):
        turn_parts(folder, COARSE, write=True)
    assert (folder / "project.toml").read_text().endswith("# mine\n")


def test_nothing_to_judge_is_refused(tmp_path):
    with pytest.raises(ComputationRefused, match="no characteristic"):
        turn_parts(write_project(tmp_path, document(characteristics="")), COARSE)
