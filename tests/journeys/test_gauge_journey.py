"""A gauge study through the command: led through on the terminal, left and resumed, or from a table."""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from dryfit.app.gauge_records import GAUGE_READING, open_plan
from dryfit.app.instruments import GAUGE_STUDY, find_instrument
from dryfit.calc.gauging import analyse_crossed
from dryfit.cli.main import app
from dryfit.store.document import read_document
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.command import refusal, run, run_json
from support.dialogue import interrupt_after
from support.projects import HEAD, MACHINE, MATERIAL, write_project

DRYFIT = str(Path(sys.executable).with_name("dryfit"))


@pytest.fixture
def project(tmp_path):
    (tmp_path / "project.toml").write_text(HEAD + MACHINE + MATERIAL, encoding="utf-8")
    return tmp_path


def talk(project: Path, answers: str, *options: object) -> Result:
    words = ["gauge", "caliper-300", str(project), *map(str, options)]
    result = CliRunner().invoke(app, words, input=answers)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def answers_to(project: Path, scatter: float = 0.03, seed: int = 4) -> str:
    """What an invented hand reads, in the order in which the study will ask: part k is 40 k mm long."""
    rng = random.Random(seed)
    with open_ledger(project / LEDGER_NAME) as ledger:
        plan = open_plan(ledger.records(), "caliper-300")
    assert plan is not None
    return "".join(f"{40 * int(place.part) + rng.gauss(0.0, scatter):.2f}\n" for place in plan.order())


def begun(project: Path, *options: object) -> str:
    """Begin a study, leave it at once, and know what it will ask for."""
    assert talk(project, "", *options).exit_code == 0
    return answers_to(project)


def test_a_study_from_first_to_last(project):
    answers = begun(project)
    result = talk(project, answers, "--decide", 2.0)
    assert result.exit_code == 0
    assert "10 degrees of freedom" in result.stdout
    assert "below 10 %, it decides" in result.stdout
    with open_ledger(project / LEDGER_NAME) as ledger:
        study = ledger.latest(GAUGE_STUDY)
    assert study is not None
    assert study.payload["method"] == "analysis of variance"
    assert len(study.payload["readings"]) == 15
    assert 0.01 < study.payload["repeatability_mm"] < 0.06
    document = read_document(project).project
    found = find_instrument(document, project / LEDGER_NAME, "caliper-300")
    assert found.repeatability_mm == study.payload["repeatability_mm"]
    assert found.repeatability_from == f"gauge study, record {study.id}"


def test_what_was_read_before_is_never_shown(project):
    answers = begun(project)
    prompts = talk(project, answers).stdout.split("repeats within")[0]
    for value in answers.split():
        assert prompts.count(value) <= answers.split().count(value)  # only as the echo of what was typed


def test_a_study_is_left_and_resumed(project):
    answers = begun(project).splitlines(keepends=True)
    left = talk(project, "".join(answers[:6]) + "leave\n")
    assert "left; 6 of 15 readings are kept: dryfit gauge caliper-300 goes on" in left.stdout
    resumed = talk(project, "".join(answers[6:]))
    assert "goes on: 6 of 15" in resumed.stdout
    assert "Record" in resumed.stdout
    assert "goes on" not in talk(project, "").stdout.split("left;")[0]  # the finished one is not resumed


def test_undo_takes_back_the_last_one_and_asks_again(project):
    answers = begun(project).splitlines(keepends=True)
    wrong = "41.00\n" if answers[0].startswith("40") else "40.01\n"
    result = talk(project, wrong + "undo\n" + "".join(answers))
    assert "taken back: record 2" in result.stdout
    with open_ledger(project / LEDGER_NAME) as ledger:
        study = ledger.latest(GAUGE_STUDY)
        assert study is not None
        values = [row["value_mm"] for row in study.payload["readings"]]
        assert sorted(values) == sorted(float(answer) for answer in answers)
        assert len(ledger.records(GAUGE_READING)) == 17
    assert "nothing of this sitting" in talk(project, "undo\n").stdout


def test_only_what_is_beyond_all_scatter_is_queried(project):
    answers = begun(project, "--parts", 2, "--trials", 2).split()
    slipped = [*answers[:2], f"{float(answers[2]) * 10:.1f}", answers[2], answers[3]]
    result = talk(project, "\n".join(slipped) + "\n")
    assert "has the decimal point slipped?" in result.stdout
    assert "repeats within" in result.stdout


def test_what_is_no_number_is_said_and_asked_again(project):
    result = talk(project, "4O.02\n-3\n40,02\nnan\n\n40.02\n")
    assert "write decimals with a point: 40.02" in result.stdout
    assert "a length of -3 mm" in result.stdout
    assert "left; 1 of 15" in result.stdout


def test_several_people_are_led_through_one_after_another(project):
    answers = begun(project, "--people", "ann,ben", "--parts", 3, "--trials", 2)
    result = talk(project, answers, "--people", "ann,ben")
    assert re.search(r"\[1 of 12\] ann, part \d, mm: ", result.stdout)
    assert re.search(r"\[4 of 12\] ben, part \d, mm: ", result.stdout)
    assert "3 parts, 2 readings of each, 2 people: " in result.stdout
    assert "was not checked" not in result.stdout.split("that are to be decided")[0]


def test_a_study_that_was_left_goes_on_as_it_was_begun(project):
    talk(project, "40.02\n", "--parts", 4)
    assert "begun otherwise: 4 parts" in refusal("gauge", "caliper-300", project, "--parts", 5)["what"]
    assert "1 of 8 readings" not in talk(project, "", "--parts", 4, "--trials", 2, "--anew").stdout
    assert "0 of 8 readings" in talk(project, "").stdout


@pytest.mark.parametrize(
    ("options", "what"),
    [
        (["--parts", 1], "1 parts"),
        (["--trials", 1], "1 readings of each part"),
        (["--people", "a,a"], "people a, a"),
        (["--people", "a,"], "people a, "),
        (["--decide", 0], "is none"),
        (["--decide", "nan"], "is none"),
        (["--confirm", 3], "is for a table"),
        (["--csv", "x.csv", "--parts", 3], "are for a study at the terminal"),
    ],
)
def test_what_is_no_study_is_refused_and_leaves_no_trace(project, options, what):
    assert what in refusal("gauge", "caliper-300", project, *options)["what"]
    assert not (project / LEDGER_NAME).exists()


def test_an_unknown_instrument_leaves_no_trace(project):
    assert 'did you mean "caliper-300"' in refusal("gauge", "calliper-300", project)["do"]
    assert not (project / LEDGER_NAME).exists()


TABLE = """person,part,value_mm
ann,a,40.02
ann,a,40.04
ann,b,80.05
ann,b,80.01
ann,c,120.03
ann,c,120.06
ben,a,40.12
ben,a,40.14
ben,b,80.15
ben,b,80.11
ben,c,120.13
ben,c,120.16
"""


class TestTable:
    def put(self, project, text=TABLE):
        path = project / "study.csv"
        path.write_text(text)
        return path

    def test_json_says_what_the_study_found(self, project):
        status, plain = run_json("gauge", "caliper-300", project, "--csv", self.put(project))
        assert (status, plain["state"], plain["complete"]) == (0, "not checked", True)
        values = [float(line.split(",")[2]) for line in TABLE.splitlines()[1:]]
        study = analyse_crossed(
            [[values[:2], values[2:4], values[4:6]], [values[6:8], values[8:10], values[10:]]]
        )
        assert plain["repeatability_mm"] == study.repeatability
        assert plain["reproducibility_mm"] == study.reproducibility
        assert (plain["dof"], plain["record"]) == (study.dof, 1)
        assert plain["budget"]["std_mm"] > plain["repeatability_mm"]

    def test_the_narrowest_limits_of_the_project_are_what_is_to_be_decided(self, tmp_path):
        folder = write_project(tmp_path / "portal")
        status, plain = run_json("gauge", "steel-rule-300", folder, "--csv", self.put(folder))
        assert (status, plain["state"]) == (1, "stop")
        assert plain["decide"].startswith("limits of ")
        # the step of the rule, 0.5 mm, bounds what its readings can tell
        assert plain["share"] == pytest.approx(6 * 0.5 / 12**0.5 / plain["decide_mm"])

    def test_every_fault_is_said_at_once(self, project):
        text = (
            TABLE.replace("ann,b,80.01\n", "ann,b,x\n")
            .replace("40.14", "401.4")
            .replace("ben,c,120.16\n", "")
        )
        refused = refusal("gauge", "caliper-300", project, "--csv", self.put(project, text))
        lines = [re.search(r"line (\d+)", item["where"]) for item in refused["faults"]]
        assert [int(line.group(1)) for line in lines if line] == [5, 9]
        status, plain = run_json("gauge", "caliper-300", project, "--csv", self.put(project, TABLE[:-14]))
        assert status == 2
        assert plain["refused"]["faults"][0]["what"] == "ben: part c lacks trial 2"

    def test_a_doubtful_row_is_taken_where_it_is_confirmed(self, project):
        sheet = self.put(project, TABLE.replace("40.14", "41.44"))
        assert "line 9" in refusal("gauge", "caliper-300", project, "--csv", sheet)["faults"][0]["where"]
        assert run("gauge", "caliper-300", project, "--csv", sheet, "--confirm", 9).exit_code == 0

    @pytest.mark.parametrize(
        ("text", "what"),
        [
            ("part,value_mm\na,40\na,40.1\n", "two parts"),
            ("part,value_mm\na,40\nb,80\n", "two parts"),
            ("part,value_mm,trial\na,40,1\na,40,1\nb,8,1\nb,8,2\n", "twice"),
            ("part,value_mm,trial\na,40,0\n", "no number of a trial"),
            ("part,value_mm\na,-40\n", "a length of -40 mm"),
        ],
    )
    def test_what_is_no_study_is_refused(self, project, text, what):
        refused = refusal("gauge", "caliper-300", project, "--csv", self.put(project, text))
        assert any(what in item["what"] for item in refused["faults"])


def test_json_of_a_study_that_is_left(project):
    result = talk(project, "40.02\n", "--json")
    plain = json.loads(result.stdout)
    assert (plain["complete"], plain["read"], plain["planned"]) == (False, 1, 15)
    assert "kept as record 2" in result.stderr


@pytest.mark.slow
def test_an_interrupt_leaves_cleanly_and_says_what_is_kept(project):
    process = subprocess.Popen(
        [DRYFIT, "gauge", "caliper-300", str(project)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
    )
    _, error = interrupt_after(process, "40.02\n80.11\n")
    assert "left; 2 of 15 readings are kept" in error
    assert "Traceback" not in error
