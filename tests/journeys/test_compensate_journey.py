"""The other road: correct the meshes, forecast passes; the machine changes, the hold point notices."""

import json
from xml.etree import ElementTree

import pytest

from support.command import refusal, run, run_json
from support.projects import CHARACTERISTICS, MACHINE, contents, document, write_project

FEET = MACHINE.replace("[machine.error]", "upright_feet_mm = [400, 380]\n[machine.error]")


@pytest.fixture
def folder(tmp_path):
    wide = CHARACTERISTICS.replace("[-0.2, 0.2]", "[-0.35, 0.35]").replace("[-0.5, 0.5]", "[-1, 1]")
    return write_project(tmp_path / "portal", document(machine=FEET, characteristics=wide))


def test_the_road_of_corrected_copies(folder):
    assert run("forecast", folder).exit_code == 1
    looked = run("compensate", "tall", folder)
    assert looked.exit_code == 0
    assert "leave 0 of 3 characteristics out of limits instead of 1" in " ".join(looked.stdout.split())
    assert "Nothing was written" in looked.stdout
    assert not (folder / "compensated").exists()
    written = run("compensate", "tall", folder, "--write")
    assert written.exit_code == 0
    words = " ".join(written.stdout.split())
    assert "must not be turned, mirrored or scaled" in words
    assert "Use the tangents or the corrected copies, never both." in words
    assert sorted(path.name for path in (folder / "compensated").iterdir()) == [
        "base.3mf",
        "lintel.3mf",
        "post-1.3mf",
        "post-2.3mf",
    ]
    assert run("forecast", folder).exit_code == 0
    assert run("compensate", "tall", folder, "--undo").exit_code == 0
    assert run("forecast", folder).exit_code == 1


def test_json_says_how_each_copy_was_checked(folder):
    status, plain = run_json("compensate", "tall", folder, "--write", "--part", "post-1", "--part", "post-2")
    assert status == 0
    assert plain["state"] == "caution"  # base and lintel are printed as they are
    assert [copy["part"] for copy in plain["copies"]] == ["post-1", "post-2"]
    for copy in plain["copies"]:
        assert copy["round_trip_mm"] < 1e-9
        assert copy["round_trip_single_precision_mm"] < 1e-3
        assert copy["is_closed"]
    assert plain["firmware"]["tangents"]["xz"] == pytest.approx(0.006981431, abs=1e-9)  # tan 0.4 degrees
    assert plain["figures"]["skew_xz_deg"] == 0.4
    assert plain["written"]
    status, undone = run_json("compensate", "tall", folder, "--undo", "--part", "post-1")
    assert (status, undone) == (0, {"machine": "tall", "undone": ["post-1"]})


def test_the_signs_are_drawn(folder, tmp_path):
    drawing = tmp_path / "signs.svg"
    assert run("compensate", "tall", folder, "--drawing", drawing).exit_code == 0
    assert "raise the +X feet" in drawing.read_text()
    ElementTree.fromstring(drawing.read_text())


def test_refusals_have_three_parts_and_write_nothing(folder):
    before = contents(folder)
    assert 'no machine "tell"' in refusal("compensate", "tell", folder)["what"]
    assert 'no part "ring"' in refusal("compensate", "tall", folder, "--part", "ring")["what"]
    assert "nothing to undo" in refusal("compensate", "tall", folder, "--undo")["do"]
    toml = folder / "project.toml"
    toml.write_text(toml.read_text().replace("skew_xz_deg = 0.4", "skew_xz_deg = 1.4"))
    refused = refusal("compensate", "tall", folder, "--write")
    assert "more than 1 degree" in refused["what"]
    assert "mend the machine first" in refused["do"]
    toml.write_text(toml.read_text().replace("skew_xz_deg = 1.4", "skew_xz_deg = 0.4"))
    assert contents(folder) == before


def test_a_copy_that_does_not_fit_fails_the_check(tmp_path):
    machine = MACHINE.replace("[500, 500, 600]", "[200, 60, 600]")
    folder = write_project(tmp_path / "portal", document(machine=machine))
    result = run("compensate", "tall", folder, "--write")
    assert result.exit_code == 1
    assert "Nothing was written: a copy is not sound." in result.stdout


def test_the_demonstration_forecasts_as_with_a_true_machine(tmp_path):
    """Every part of the tall machine corrected: the same as its figures set to 0, their uncertainty kept."""
    folder = tmp_path / "demo"
    run("demo", folder)
    true = run_json(
        *("forecast", folder, "--unrecorded"),
        *("--what-if", "tall.skew_xy_deg=0", "--what-if", "tall.skew_xz_deg=0"),
    )[1]
    status, plain = run_json("compensate", "tall", folder, "--write")
    assert status == 0
    assert json.dumps(plain["warnings"]).count("whose own fault is not made up for") == 1
    now = run_json("forecast", folder, "--unrecorded")[1]
    for item, expected in zip(now["characteristics"], true["characteristics"], strict=True):
        assert item["predicted"] == pytest.approx(expected["predicted"], abs=1e-6)
        assert item["std"] == pytest.approx(expected["std"], rel=1e-6)
    assert len(list((folder / "compensated").glob("*.3mf"))) == 26
