"""Forecasting a project folder: the record that is kept, and numbers beyond all bounds."""

import dataclasses

import pytest

from dryfit.app.loading import open_project
from dryfit.app.magnitudes import LARGEST, check_magnitudes
from dryfit.app.prediction import chain_of, machine_figures, predict, predict_opened
from dryfit.base.errors import ComputationRefused, LedgerRefused, ReferenceUnknown
from dryfit.store.document import parse_document
from dryfit.store.ledger import open_ledger
from support.projects import document, write_project


def records(folder):
    with open_ledger(folder / "ledger.db") as ledger:
        assert ledger.verify() == ()
        return ledger.records("forecast")


def test_a_record_holds_what_was_forecast_and_on_what(tmp_path):
    folder = write_project(tmp_path)
    report = predict(folder, what_if=("tall.skew_xz_deg=0.1",))
    payload = records(folder)[0].payload
    assert payload["input_hash"] == report.input_hash
    assert payload["what_if"] == ["tall.skew_xz_deg=0.1"]
    assert payload["document_sha256"] == open_project(folder).document.sha256
    assert set(payload["mesh_sha256"]) == {"base", "post-1", "post-2", "lintel"}
    for kept, item in zip(payload["characteristics"], report.characteristics, strict=True):
        assert kept == {name: getattr(item, name) for name in kept}


def test_a_forecast_that_fails_leaves_no_record(tmp_path):
    folder = write_project(tmp_path)
    with pytest.raises(ReferenceUnknown):
        predict(folder, what_if=("nothing.scale_x=1",))
    assert not (folder / "ledger.db").exists()


def test_a_ledger_that_cannot_be_used_refuses_the_forecast(tmp_path):
    folder = write_project(tmp_path)
    (folder / "ledger.db").write_text("no ledger at all, but long enough to be looked at" * 20)
    with pytest.raises(LedgerRefused):
        predict(folder)
    with pytest.raises(LedgerRefused):
        predict(folder, record=False)
    predict(folder, record=False, with_readings=False)


def test_the_same_seed_gives_the_same_figures(tmp_path):
    text = document().replace(
        "shrinkage_std = 0.0002", 'shrinkage_std = 0.002\nshrinkage_distribution = "uniform"'
    )
    opened = open_project(write_project(tmp_path, text))
    first, again, other = (predict_opened(opened, (), 1000, seed) for seed in (1, 1, 2))
    assert first == again
    assert first.input_hash != other.input_hash
    assert [item.p_out for item in first.characteristics] != [item.p_out for item in other.characteristics]
    assert first.characteristics[0].samples == 1000


def test_machine_figures_are_those_of_the_document(tmp_path):
    figures = machine_figures(open_project(write_project(tmp_path)))
    assert figures["tall.skew_xz_deg"] == [0.4, 0.02]
    assert len(figures) == 8


class TestMagnitudes:
    @pytest.mark.parametrize(
        ("old", "new", "where"),
        [
            ("repeatability_mm = 0.03", "repeatability_mm = 1e10", "repeatability_mm"),
            ("skew_xz_deg = 0.02", "skew_xz_deg = 1e300", "skew_xz_deg.std"),
            ("points_mm = [[100, 30, 140]]", "points_mm = [[100, 30, -1e10]]", '"lintel-height".points_mm'),
            ("limits_mm = [139, 141]", "limits_mm = [139, 1e10]", '"lintel-height".upper'),
            ("bond_line_mm = 0.0", "bond_line_mm = 1e10", '"base:post-1".bond_line_mm'),
        ],
    )
    def test_what_is_too_large_is_named(self, old, new, where):
        assert old in document()
        project = parse_document(document().replace(old, new, 1), "project.toml").project
        with pytest.raises(ComputationRefused) as caught:
            check_magnitudes(project)
        assert where in caught.value.where

    def test_the_bound_itself_is_allowed(self):
        project = parse_document(document(), "project.toml").project
        check_magnitudes(dataclasses.replace(project, risk=LARGEST))
        with pytest.raises(ComputationRefused):
            check_magnitudes(dataclasses.replace(project, risk=LARGEST * 1.001))

    def test_a_what_if_is_checked_too(self, tmp_path):
        opened = open_project(write_project(tmp_path))
        with pytest.raises(ComputationRefused, match="too large"):
            chain_of(opened, ("tall.boundary_offset_mm=1e10",))
