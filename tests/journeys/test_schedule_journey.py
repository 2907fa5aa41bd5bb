"""From contradicting evidence to a decision: the command line of the schedule, on the demo and on bad input."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryfit.app.demo import write_demo
from support.command import refusal, run, run_json

DIMENSION = 'schema = 1\n[project]\nname = "Tower"\nscale = "1:20"\n[[dimension]]\nid = "drum"\n'


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    write_demo(tmp_path / "demo", "observatory")
    return tmp_path / "demo"


def folder(tmp_path: Path, *rows: str) -> Path:
    (tmp_path / "project.toml").write_text("\n".join([DIMENSION, *rows]), encoding="utf-8")
    return tmp_path


def observed(id: str, value: str, std: str) -> str:
    return f'[[observation]]\nid = "{id}"\nof = "drum"\nvalue = "{value}"\nstd = {std}\n'


def test_the_guide_of_the_demo_is_found_decided_about_and_taken_back(demo: Path) -> None:
    status, found = run_json("schedule", demo)
    assert status == 1
    (suspect,) = found["suspects"]
    assert suspect["id"] == "guide.overall"
    assert {f"wall-{number}" for number in range(1, 7)} <= set(suspect["parts"])
    assert {f"rib-{number}" for number in range(1, 13)} <= set(suspect["parts"])
    without = {item["id"]: item["prototype_mm"] for item in suspect["without"]}
    # 14.6 m is 9 % more than all the rest says; wall and dome were modelled a tenth too tall to reach it.
    assert 14600.0 / without["overall.height"] == pytest.approx(1.09, abs=0.004)
    assert 4000.0 / without["drum.height"] == pytest.approx(1.1, abs=0.005)
    assert 9200.0 / without["dome.rise"] == pytest.approx(1.1, abs=0.005)
    sources = {item["id"] for item in found["dimensions"][-1]["sources"]}
    assert {"photo:left+right+steps", "photo:postcard", "photo:print"} <= sources
    reason = "the guide counts the weather vane"
    status, after = run_json("schedule", demo, "--without", "guide.overall", "--because", reason)
    assert (status, after["suspects"]) == (0, [])
    assert after["decisions"][0]["because"] == reason
    assert {"drum.height", "dome.rise", "overall.height"} <= {change["id"] for change in after["changes"]}
    text = run("schedule", demo, "--brief").stdout
    assert reason in text
    assert run("schedule", demo, "--restore", "guide.overall").exit_code == 1


def test_parts_modelled_to_it_are_stopped_at_the_hold_point_also_when_it_is_left_out(demo: Path) -> None:
    _, hold = run_json("ready", demo, "--unrecorded")
    lines = {(item["topic"], item["subject"]): item for item in hold["checks"]}
    guide = lines["schedule", "guide.overall"]
    assert guide["state"] == "stop"
    assert "wall-1" in guide["reason"]
    run("schedule", demo, "--without", "guide.overall", "--because", "it counts the weather vane")
    _, after = run_json("ready", demo, "--unrecorded")
    for checks in (hold, after):
        stopped = {(item["topic"], item["subject"]) for item in checks["checks"] if item["state"] == "stop"}
        assert {("feature", "drum-height"), ("feature", "dome-rise")} <= stopped
    assert not [item for item in after["checks"] if item["topic"] == "schedule" and item["state"] == "stop"]


def test_words_and_json_name_the_same_suspects(demo: Path) -> None:
    _, plain = run_json("schedule", demo, "--unrecorded")
    words = run("schedule", demo, "--unrecorded").stdout
    assert plain["record"] is None
    assert all(item["id"] in words for item in plain["suspects"] + plain["dimensions"])
    assert not (demo / "ledger.db").exists()


def test_contradictory_exact_values_and_impossible_relations_are_refused(tmp_path: Path) -> None:
    two = folder(tmp_path, observed("plate", "3.70 m", "0"), observed("deed", "3.65 m", "0"))
    refused = refusal("schedule", two)
    assert "plate" in refused["what"]
    assert "deed" in refused["what"]
    relation = '[[dimension]]\nid = "dome"\n[[relation]]\nid = "odd"\nkind = "equal"\nof = ["drum", "dome"]\n'
    twice = '[[relation]]\nid = "double"\nkind = "ratio"\nof = ["drum", "dome"]\nvalue = 2\n'
    odd = folder(tmp_path, relation, twice, observed("plate", "3.70 m", '"5 mm"'))
    assert "above zero" in refusal("schedule", odd)["what"]


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("--without", "plate"), "reason"),
        (("--without", "plates", "--because", "x"), "plates"),
        (("--restore", "plate"), "no decision"),
        (("--because", "x"), "nothing is decided"),
        (("--without", "plate", "--keep", "plate", "--because", "x"), "together"),
        (("--what-next", "--next-std", "5"), "no unit"),
        (("--what-next", "--next-std", "0 mm"), "above zero"),
        (("--next-std", "5 mm"), "ranked"),
    ],
)
def test_a_wish_that_makes_no_sense_is_refused(tmp_path: Path, words: tuple[str, ...], what: str) -> None:
    assert what in refusal("schedule", folder(tmp_path, observed("plate", "3.7 m", "0")), *words)["what"]


def test_a_project_without_evidence_has_a_schedule_all_the_same(tmp_path: Path) -> None:
    (tmp_path / "project.toml").write_text(DIMENSION + "prototype_mm = 3660\n", encoding="utf-8")
    status, plain = run_json("schedule", tmp_path)
    assert (status, plain["dimensions"][0]["model_mm"]) == (0, 183.0)
    (tmp_path / "project.toml").write_text(DIMENSION.split("[[dim")[0], encoding="utf-8")
    status, plain = run_json("schedule", tmp_path)
    assert (status, plain["state"], plain["dimensions"]) == (0, "not checked", [])
    assert "No scale" not in run("schedule", tmp_path).stdout


def test_a_scale_that_follows_is_shown_with_its_uncertainty(tmp_path: Path) -> None:
    text = DIMENSION.replace('scale = "1:20"', 'scale_from = { dimension = "drum", model_mm = 180 }')
    (tmp_path / "project.toml").write_text(text + observed("o", "3.6 m", '"20 mm"'), encoding="utf-8")
    status, plain = run_json("schedule", tmp_path)
    assert status == 0
    assert plain["scale"] == {"value": pytest.approx(0.05), "std": pytest.approx(0.05 * 20 / 3600)}
    assert "1:20.00(11)" in run("schedule", tmp_path).stdout
