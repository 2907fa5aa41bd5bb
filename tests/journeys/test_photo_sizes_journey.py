"""From marks on a photograph to the schedule and the hold point, by the command line. The house is invented."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.calc.photo import Lens, project
from support.command import refusal, run, run_json
from support.photographs import looking
from support.pictures import pixels, write_picture

WIDTH, HEIGHT = 1200, 900
CAMERA = looking((-6000.0, -14000.0, 1700.0), (4000.0, 3000.0, 2500.0))
POINTS = {
    "left.foot": (0.0, 0.0, 0.0),
    "left.top": (0.0, 0.0, 5000.0),
    "right.foot": (8000.0, 0.0, 0.0),
    "right.top": (8000.0, 0.0, 5000.0),
    "ridge": (4000.0, 0.0, 7500.0),
}
EDGE = float(np.hypot(4000, 2500))


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "house"
    run("new", folder, "--scale", "1:20")
    document = folder / "project.toml"
    document.write_text(
        document.read_text() + '\n[[dimension]]\nid = "gable.edge"\n\n[[dimension]]\nid = "eave.height"\n'
    )
    run("photo", "add", write_picture(tmp_path / "front.png", array=pixels(WIDTH, HEIGHT)), "-p", folder)
    lens = Lens(1300.0, np.array([599.5, 449.5]))
    places = project(lens, CAMERA, np.array(list(POINTS.values()))).marks_px
    words = []
    for name, (x, y) in zip(POINTS, places, strict=True):
        words += ["--point", f"{name}={x:.1f},{y:.1f}"]
    run(
        "photo",
        "mark",
        "front",
        "-p",
        folder,
        "--plane",
        "wall=xz",
        "--in",
        "wall",
        *words,
        "--std-all",
        "0.3",
    )
    for axis, names in (
        ("z", ("left.foot:left.top", "right.foot:right.top")),
        ("x", ("left.foot:right.foot", "left.top:right.top")),
    ):
        for ends in names:
            run(
                "photo",
                "mark",
                "front",
                "-p",
                folder,
                "--line",
                f"{axis}.{ends[0]}{ends[-5]}={ends}",
                "--along",
                axis,
            )
    run("photo", "mark", "front", "-p", folder, "--length", "left.foot:right.foot=8 m,20 mm", "--along", "x")
    run("photo", "mark", "front", "-p", folder, "--length", "left.foot:left.top=5 m,20 mm", "--along", "z")
    run("photo", "mark", "front", "-p", folder, "--size", "gable=left.top:ridge,gable.edge")
    return folder


def test_a_marked_size_becomes_a_dimension_of_the_schedule(folder):
    status, answer = run_json("photo", "sizes", "front", "-p", folder)
    assert status == 0, answer
    (size,) = answer["sizes"]
    assert size["method"] == "plane"
    assert abs(size["value_mm"] - EDGE) < 3 * size["std_mm"]
    assert any(item["cause"].startswith("length left.foot to left.top") for item in size["causes"])
    shown = run("photo", "sizes", "-p", folder).stdout
    assert "gable.edge" in shown
    assert "straight lines would tell it" in shown.lower()
    status, schedule = run_json("schedule", folder)
    line = next(item for item in schedule["dimensions"] if item["id"] == "gable.edge")
    assert line["photographs"] == ["photo:front"]
    assert line["prototype_mm"] == pytest.approx(size["value_mm"], rel=1e-6)
    assert schedule["photographs_not_used"] == []


def test_a_photograph_is_left_out_by_a_decision_with_its_reason(folder):
    run("schedule", folder, "--without", "photo:front", "--because", "taken before the roof was raised")
    schedule = run_json("schedule", folder)[1]
    line = next(item for item in schedule["dimensions"] if item["id"] == "gable.edge")
    assert line["prototype_mm"] is None
    assert schedule["decisions"][0]["because"] == "taken before the roof was raised"


def test_a_size_that_no_method_measures_is_said_by_both_commands(folder):
    run("photo", "mark", "front", "-p", folder, "--point", "vane=600,40")
    run("photo", "mark", "front", "-p", folder, "--size", "top=ridge:vane,eave.height")
    result = run("photo", "sizes", "-p", folder)
    assert result.exit_code == 0
    assert "vane in no plane" in " ".join(result.stdout.split())
    schedule = run_json("schedule", folder)[1]
    (told,) = schedule["photographs_not_used"]
    assert told["sizes"] == ["top"]
    assert "one scale from the length" in told["why"]
    assert "not used" in run("schedule", folder).stdout
    assert "there is no photo" in refusal("photo", "sizes", "back", "-p", folder)["what"]
