"""The story of a machine that nobody measured, end to end by the command line, on the invented observatory.

Unknown machine; artefact; readings of a simulated print; qualification; the forecast fails with its cause; what to
turn; a second print and qualification; the forecast passes. And the other road: corrected copies.
"""

import shutil

import pytest

from support.command import run_json

READINGS = "72"


def dryfit(*arguments):
    """Exit status and what --json printed; nothing is refused in this story."""
    status, plain = run_json(*arguments)
    assert status in (0, 1), plain
    return status, plain


def print_and_read(folder, how):
    """Design (again: another print), print on the invented machine, read, and qualify."""
    dryfit("artefact", "tall", folder, "--readings", READINGS)
    _, table = dryfit("demo", folder, "--readings", how)
    status, _ = dryfit("read", "tall", folder, "--csv", table["file"])
    assert status == 0
    return dryfit("qualify", "tall", folder)


@pytest.fixture(scope="module")
def story(tmp_path_factory):
    folder = tmp_path_factory.mktemp("story") / "demo"
    dryfit("demo", folder, "--unqualified")
    told = {"ready": dryfit("ready", folder, "--before", "printing")}
    told["qualified"] = print_and_read(folder, "as-found")
    told["forecast"] = dryfit("forecast", folder)
    copies = folder.parent / "copies"
    shutil.copytree(folder, copies)
    told["copies"] = dryfit("compensate", "tall", copies, "--offset", "--write")
    told["after copies"] = dryfit("forecast", copies)
    told["again"] = print_and_read(folder, "as-trued")
    told["after trueing"] = dryfit("forecast", folder)
    told["ready again"] = dryfit("ready", folder, "--before", "printing")
    return told


def figure(report, name):
    return next(item for item in report["figures"] if item["figure"] == name)


def machine_lines(ready):
    return [line for line in ready["checks"] if line["topic"] == "machine" and line["subject"] == "tall"]


def test_an_unknown_machine_is_not_checked_and_says_what_to_do(story):
    _, ready = story["ready"]
    (line,) = machine_lines(ready)
    assert line["state"] == "not checked"
    assert "dryfit artefact tall" in line["do"]


def test_the_qualification_finds_the_invented_lean_within_its_uncertainty(story):
    status, report = story["qualified"]
    assert status == 0
    assert report["recorded"]
    for name, true in (("skew_xz_deg", 0.6), ("skew_xy_deg", 0.1), ("skew_yz_deg", 0.0), ("scale_x", 0.0)):
        found = figure(report, name)
        assert abs(found["value"] - true) <= 3 * found["std"], name
    assert figure(report, "skew_xz_deg")["std"] < 0.01


def test_the_forecast_then_fails_and_names_the_lean(story):
    status, report = story["forecast"]
    assert status == 1
    height = next(item for item in report["characteristics"] if item["id"] == "crown-height")
    assert height["p_out"] > 0.99
    assert height["contributions"][0]["source"] == "tall.skew_xz_deg"


def test_the_advice_is_to_raise_the_feet_on_the_side_to_which_it_leans(story):
    """tan(0.6 degrees) over 420 mm is 4.40 mm: closed form."""
    _, report = story["qualified"]
    advice = next(item for item in report["trueing"]["advices"] if item["figure"] == "skew_xz_deg")
    assert advice["setting"] == pytest.approx(4.40, abs=0.2)
    assert advice["spacing_mm"] == 420
    assert "+X" in advice["words"]


def test_after_trueing_the_second_qualification_sees_that_it_moved_and_the_forecast_passes(story):
    status, report = story["again"]
    assert status == 0
    assert report["moved"]["has_moved"]
    assert abs(figure(report, "skew_xz_deg")["value"]) < 0.03
    status, forecast = story["after trueing"]
    assert status == 0
    assert all(item["p_out"] <= 0.05 for item in forecast["characteristics"])
    _, ready = story["ready again"]
    (line,) = machine_lines(ready)
    assert line["state"] == "pass"


def test_or_corrected_copies_pass_on_the_machine_as_it_was_found(story):
    status, _ = story["copies"]
    assert status in (0, 1)
    status, forecast = story["after copies"]
    assert status == 0
    assert all(item["p_out"] <= 0.05 for item in forecast["characteristics"])
