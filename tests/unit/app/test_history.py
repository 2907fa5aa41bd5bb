"""Recorded forecasts compared: what differs in their inputs, and in what came out."""

import datetime
import itertools

import pytest

from dryfit.app import prediction
from dryfit.app.history import compare_since, list_forecasts
from dryfit.app.prediction import predict
from dryfit.base.errors import ReferenceUnknown
from dryfit.store import ledger
from support.projects import glb_bytes, write_project


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


def edit(folder, old, new):
    toml = folder / "project.toml"
    assert old in toml.read_text()
    toml.write_text(toml.read_text().replace(old, new, 1))


def causes_of(folder, change):
    predict(folder)
    change()
    predict(folder)
    return compare_since(folder).causes


def test_the_same_inputs_have_no_cause(folder):
    predict(folder)
    predict(folder)
    report = compare_since(folder)
    assert report.causes == ()
    assert not any(item.has_changed for item in report.characteristics)


def test_a_machine_figure(folder):
    causes = causes_of(folder, lambda: edit(folder, "skew_xz_deg = 0.4", "skew_xz_deg = 0.1"))
    assert causes == ("tall.skew_xz_deg: 0.4 (std 0.02) -> 0.1 (std 0.02)", "the document was edited")


def test_a_bed_pose(folder):
    row = 'id = "post-1"'
    causes = causes_of(folder, lambda: edit(folder, row, f"{row}\nbed = {{ euler_xyz_deg = [0, 0, 90] }}"))
    assert causes[0] == "post-1: turned 0, 0, 0 -> turned 0, 0, 90"


SIZES = """
[[dimension]]
id = "width"
prototype_mm = 4000
prototype_std_mm = 20
[[feature]]
id = "base-width"
kind = "extent"
part = "base"
direction = [1, 0, 0]
dimension = "width"
deviations_mm = [-0.5, 0.5]
"""


def test_a_dimension_and_a_feature_are_told_in_words(folder):
    toml = folder / "project.toml"
    toml.write_text(toml.read_text() + SIZES)

    def change():
        edit(folder, "prototype_mm = 4000", "prototype_mm = 3670")
        edit(folder, "deviations_mm = [-0.5, 0.5]", 'iso_2768 = "m"')

    of = "extent of base, along 1 0 0, nominal from width"
    assert causes_of(folder, change) == (
        "dimension width: 4000 mm (std 20) -> 3670 mm (std 20) (no forecast depends on it)",
        f"feature base-width: {of}, limits -0.5 to +0.5 mm from the nominal -> {of}, limits by ISO 2768-1 m "
        "(no forecast depends on it)",
    )


def test_a_record_from_before_there_were_features_says_nothing_of_them(folder, monkeypatch):
    payload = prediction.forecast_payload

    def without_sizes(opened, report):
        return {key: value for key, value in payload(opened, report).items() if key != "sizes"}

    monkeypatch.setattr(prediction, "forecast_payload", without_sizes)
    predict(folder)
    monkeypatch.undo()
    toml = folder / "project.toml"
    toml.write_text(toml.read_text() + SIZES)
    predict(folder)
    assert compare_since(folder).causes == ()


def test_a_mesh(folder):
    bodies = {
        "base": ((200.0, 60.0, 20.0), (0.0, 0.0, 0.0)),
        "post-1": ((20.0, 60.0, 100.0), (0.0, 0.0, 20.0)),
        "post-2": ((20.0, 60.0, 100.0), (180.0, 0.0, 20.0)),
        "lintel": ((200.0, 60.0, 21.0), (0.0, 0.0, 120.0)),
    }
    causes = causes_of(folder, lambda: (folder / "meshes/portal.glb").write_bytes(glb_bytes(bodies)))
    assert len(causes) == 4
    assert all("mesh " in cause and " -> mesh " in cause for cause in causes)


def test_a_what_if(folder):
    predict(folder)
    predict(folder, what_if=("tall.skew_xz_deg=0",))
    assert compare_since(folder).causes == ("what-if: none -> tall.skew_xz_deg=0",)


def test_the_draws(folder):
    predict(folder)
    predict(folder, seed=2)
    assert compare_since(folder).causes == ("number or seed of the Monte Carlo draws",)


def test_another_version_of_the_program(folder, monkeypatch):
    predict(folder)
    monkeypatch.setattr("dryfit.app.forecast.__version__", "9.9")
    predict(folder)
    assert compare_since(folder).causes == ("program version: 0.1.0 -> 9.9",)


def test_characteristics_that_came_and_went(folder):
    predict(folder)
    edit(folder, 'id = "plumb"', 'id = "plumb-2"')
    predict(folder)
    found = {item.id: item for item in compare_since(folder).characteristics}
    assert found["plumb"].predicted_after is None
    assert found["plumb-2"].predicted_before is None
    assert found["plumb"].has_changed
    assert found["plumb-2"].unit == "deg"


@pytest.fixture
def dated(folder, monkeypatch):
    """Three forecasts, at the end of one day, at the start of the next, and two days later."""
    moments = [
        datetime.datetime(2026, 11, 18, 23, 59, 59, 999999, tzinfo=datetime.UTC),
        datetime.datetime(2026, 11, 19, 0, 0, tzinfo=datetime.UTC),
        datetime.datetime(2026, 11, 21, 12, 0, tzinfo=datetime.UTC),
    ]
    clock = itertools.chain(moments)
    original = ledger.open_ledger
    monkeypatch.setattr(prediction, "open_ledger", lambda path: original(path, clock=lambda: next(clock)))
    for lean in ("0.4", "0.3", "0.2"):
        predict(folder, what_if=(f"tall.skew_xz_deg={lean}",))
    return folder


@pytest.mark.parametrize(
    ("when", "record"),
    [
        ("2026-11-18", 1),
        ("2026-11-19", 2),
        ("2026-11-20", 2),
        ("2030-01-01", 2),
        ("1", 1),
        ("2", 2),
        ("002", 2),
        (None, 2),
    ],
)
def test_by_date_the_last_before_its_end(dated, when, record):
    report = compare_since(dated, when)
    assert (report.before, report.after) == (record, 3)


@pytest.mark.parametrize("when", ["2026-11-17", "3", "4", "0", "²", "٣", "x", "", "9" * 5000, "2026-11-31"])
def test_times_at_which_there_was_none(dated, when):
    with pytest.raises(ReferenceUnknown):
        compare_since(dated, when)


def test_the_list(dated):
    records = list_forecasts(dated)
    assert [record.id for record in records] == [1, 2, 3]
    assert records[0].recorded_at == "2026-11-18T23:59:59.999999Z"
    assert records[0].what_if == ("tall.skew_xz_deg=0.4",)
    # the lean of 0.2 degrees is at the limit of plumb, which then is out half of the time
    assert [record.out for record in records] == [2, 2, 2]
    assert records[0].characteristics == 3


def test_looking_back_makes_no_ledger(folder):
    assert list_forecasts(folder) == ()
    with pytest.raises(ReferenceUnknown, match="holds 0 forecasts"):
        compare_since(folder)
    assert not (folder / "ledger.db").exists()
