"""Observations out of a table: all or none, every fault by its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryfit.app.observation_csv import plan_observation, plan_observations, write_observations
from dryfit.base.errors import NotWritten, RowsRefused
from dryfit.store.document import read_document
from support.command import refusal, run, run_json

HEAD = "id,of,over,value,unit,std,within,low,high,distribution,source,date,reliability\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run("new", tmp_path / "p", "--scale", "1:20")
    document = tmp_path / "p" / "project.toml"
    rows = '\n# what governs\n[[dimension]]\nid = "drum"\n\n[[dimension]]\nid = "dome"  # the shell\n'
    document.write_text(document.read_text() + rows)
    return tmp_path / "p"


def test_every_form_of_a_value_is_understood(folder: Path) -> None:
    text = HEAD + (
        'a,drum,,"12 ft 3 1/2 in",,1/2 in,,,,,"survey, north",1987-06,good\n'
        "b,drum + dome,,12900,mm,20,,,,,,,\n"
        "c,2 x dome - drum,,14.7 m,,,3 cm,,,uniform,,,\n"
        "d,dome,,,,,,9.1 m,9.3 m,triangular,,,\n"
        "e,dome,drum,2.5,,0.1,,,,,,,\n"
        "f,drum,,3.7 m,,0,,,,,,,\n"
    )
    taken = write_observations(plan_observations(text, folder))
    assert taken.is_written
    found = {item.id: item for item in read_document(folder).project.observations}
    assert found["a"].value.value == pytest.approx(147.5 * 25.4)
    assert found["a"].value.std == pytest.approx(12.7)
    assert found["a"].source == "survey, north"
    assert found["b"].terms == (("drum", 1.0), ("dome", 1.0))
    assert found["c"].terms == (("dome", 2.0), ("drum", -1.0))
    assert found["c"].value.std == pytest.approx(30.0 / 3**0.5)
    assert found["d"].value.std == pytest.approx(100.0 / 6**0.5)
    assert (found["e"].terms, found["e"].over) == ((("dome", 1.0),), "drum")
    assert found["f"].value.std == 0.0
    document = (folder / "project.toml").read_text()
    assert "# what governs" in document
    assert "# the shell" in document


def test_all_faults_come_together_and_nothing_is_written(folder: Path) -> None:
    before = (folder / "project.toml").read_bytes()
    text = HEAD + (
        "a,drum,,3.7 m,,5 mm,,,,,,,\n"
        "a,drum,,3.7 m,,5 mm,,,,,,,\n"
        "b,dorm,,3.7 m,,5 mm,,,,,,,\n"
        "c,drum,,3700,,5,,,,,,,\n"
        "d,drum,,,,,,3.6 m,,uniform,,,\n"
        "e,drum,,3.7 m,,5 mm\n"
        "f,drum,,3.7 m,,5 mm,,,,,,June,\n"
        "g,drum,,-3.7 m,,5 mm,,,,,,,\n"
    )
    with pytest.raises(RowsRefused) as caught:
        plan_observations(text, folder)
    lines = sorted({int(fault.where.split("line ")[1].rstrip(")")) for fault in caught.value.faults})
    assert lines == [3, 4, 5, 6, 7, 8, 9]
    assert 'did you mean "drum"' in next(f.do for f in caught.value.faults if "line 4" in f.where)
    assert (folder / "project.toml").read_bytes() == before


def test_unknown_dimensions_are_added_when_asked(folder: Path) -> None:
    plan = plan_observation({"id": "a", "of": "porch", "value": "2 m", "std": "1 cm"}, folder, True)
    assert plan.dimensions == ("porch",)
    write_observations(plan)
    assert [item.id for item in read_document(folder).project.dimensions] == ["drum", "dome", "porch"]


def test_a_document_that_changed_meanwhile_is_not_written(folder: Path) -> None:
    plan = plan_observation({"id": "a", "of": "drum", "value": "2 m", "std": "1 cm"}, folder)
    document = folder / "project.toml"
    document.write_text(document.read_text() + "# later\n")
    with pytest.raises(NotWritten):
        write_observations(plan)


def test_commands_look_take_and_add(folder: Path, tmp_path: Path) -> None:
    table = tmp_path / "survey.csv"
    table.write_text(HEAD + "a,drum,,3.7 m,,5 mm,,,,,,,\n")
    status, plain = run_json("observation", "take", table, "-p", folder, "--look")
    assert (status, plain["is_written"]) == (0, False)
    assert plain["observations"][0]["value_mm"] == pytest.approx(3700.0)
    assert '+id = "a"' in plain["diff"]
    assert not read_document(folder).project.observations
    assert "1 observation taken" in run("observation", "take", table, "-p", folder).stdout
    refused = refusal("observation", "take", table, "-p", folder)
    assert "in the document" in refused["faults"][0]["what"]
    run("observation", "add", "b", "--of", "dome", "--value", "9 m", "--std", "1 cm", "-p", folder)
    assert [item.id for item in read_document(folder).project.observations] == ["a", "b"]
