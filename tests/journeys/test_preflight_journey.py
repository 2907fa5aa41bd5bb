"""The routine before a long print through the command: by options, a conversation, a table; corrected and looked at."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from dryfit.app.preflight_records import PREFLIGHT, preflights_of
from dryfit.cli.main import app
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.command import refusal, run, run_json
from support.projects import CHARACTERISTICS, MACHINE, contents, document, write_project

FIT = ("--height", 300, "--xz", "-0.1", "--yz", "0.05", "--ok", "all", "--filament", 5000, "--by", "ann")
# In the order of the questions: hours, by, adjusted, five lines, filament, part, against, height, gaps, yes.
ANSWERS = (
    "120",
    "ann",
    "",
    "ok",
    "ok",
    "ok",
    "ok",
    "ok",
    "5000",
    "base",
    "",
    "300",
    "-0.1",
    "0.05",
    "",
    "yes",
)
TABLE = """\
at,hours,by,height_mm,xz_gap_mm,yz_gap_mm,fasteners,belts,bed,nozzle,dry,filament_g
2026-06-01,0,ann,300,-0.10,0.05,ok,ok,ok,ok,ok,5000
2026-06-06,40,ann,300,-0.15,0.05,ok,ok,ok,ok,ok,5000
2026-06-11,80,ben,300,-0.20,0.05,ok,ok,ok,ok,ok,5000
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    machine = MACHINE.replace("skew_xz_deg = 0.4 ", "skew_xz_deg = 0.02 ")
    wide = CHARACTERISTICS.replace("[-0.2, 0.2]", "[-0.6, 0.6]")
    return write_project(tmp_path, document(machine=machine, characteristics=wide))


def counting(project: Path):
    with open_ledger(project / LEDGER_NAME) as ledger:
        return preflights_of(ledger.records(), "tall")


def converse(project: Path, *answers: str, json: bool = False) -> Result:
    words = ["preflight", "tall", str(project), *(["--json"] if json else [])]
    result = CliRunner().invoke(app, words, input="\n".join(answers) + "\n")
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


class TestByOptions:
    def test_a_machine_in_order_is_recorded_with_who_when_and_what(self, project):
        result = run("preflight", "tall", project, "--hours", 120, *FIT)
        assert result.exit_code == 0, result.output
        (check,) = counting(project)
        assert (check.by, check.hours, check.square("xz").gap_mm) == ("ann", 120.0, -0.1)
        assert check.part in ("base", "lintel")
        for word in ("hot", "mains", "Motors start"):
            assert word in result.stdout

    def test_a_gap_out_of_the_band_fails(self, project):
        assert (
            run("preflight", "tall", project, "--hours", 10, "--at", "2026-06-01", *FIT).exit_code == 1
        )  # overdue
        result = run(
            "preflight",
            "tall",
            project,
            "--hours",
            50,
            "--height",
            300,
            "--xz=-2.4",
            "--yz=0.05",
            "--ok",
            "all",
        )
        assert result.exit_code == 1
        assert "out of the band" in result.stdout

    def test_what_is_wrong_fails_in_the_users_words(self, project):
        status, plain = run_json(
            "preflight",
            "tall",
            project,
            "--hours",
            120,
            *FIT[:6],
            "--ok",
            "bed,dry",
            "--wrong",
            "belts=left one slack",
        )
        assert status == 1
        assert plain["state"] == "stop"
        lines = {line["subject"]: line for line in plain["checks"]}
        assert lines["belts"]["reason"] == "left one slack"
        assert lines["nozzle"]["state"] == "not checked"

    def test_the_answers_are_refused_before_anything_is_written(self, project):
        before = contents(project)
        assert "before" not in refusal("preflight", "tall", project, "--hours", "soon")["what"]
        assert refusal("preflight", "small", project, "--hours", 3)["what"] == 'there is no machine "small"'
        assert "no line" in refusal("preflight", "tall", project, "--hours", 3, "--ok", "oil")["what"]
        assert "together" in refusal("preflight", "tall", project, "--hours", 3, "--look")["what"]
        after = {name: data for name, data in contents(project).items() if not name.startswith(LEDGER_NAME)}
        assert {name: data for name, data in before.items() if not name.startswith(LEDGER_NAME)} == after
        assert counting(project) == ()

    def test_a_slip_is_corrected_and_a_check_taken_back(self, project):
        run("preflight", "tall", project, "--hours", 1200, *FIT)
        run("preflight", "tall", project, "--hours", 120, *FIT, "--correct", 1)
        assert [check.hours for check in counting(project)] == [120.0]
        status, plain = run_json("preflight", "tall", project, "--withdraw", 2)
        assert status == 0
        assert plain["state"] == "not checked"
        assert plain["last"] is None
        with open_ledger(project / LEDGER_NAME) as ledger:
            assert [record.kind for record in ledger.records()] == [PREFLIGHT] * 3
            assert ledger.verify() == ()


class TestConversation:
    def test_all_questions_answered(self, project):
        result = converse(project, *ANSWERS)
        assert result.exit_code == 0, result.output
        (check,) = counting(project)
        assert (check.part, check.filament_g, check.against) == ("base", 5000.0, "upright")
        assert "Caution: The nozzle and the bed stay hot" in result.stdout
        assert "Record it?" in result.stdout

    def test_an_answer_that_cannot_be_is_asked_again(self, project):
        result = converse(project, "-5", *ANSWERS)
        assert result.exit_code == 0
        assert "an hour meter of -5 h" in result.stdout
        assert [check.hours for check in counting(project)] == [120.0]

    def test_what_does_not_go_with_the_records_is_asked_again_at_once(self, project):
        run("preflight", "tall", project, "--hours", 100, *FIT)
        answers = [*ANSWERS]
        answers[9:10] = ["roof", "base"]
        result = converse(project, "90", *answers)
        assert result.exit_code == 0, result.output
        assert "the hour meter ran back: 100 h" in result.stdout
        assert 'prints no part "roof"' in result.stdout
        assert [check.hours for check in counting(project)] == [100.0, 120.0]

    @pytest.mark.parametrize("answers", [("leave",), ANSWERS[:5], (*ANSWERS[:-1], "no")])
    def test_left_before_the_end_nothing_is_recorded(self, project, answers):
        result = converse(project, *answers)
        assert result.exit_code == 0
        assert "nothing was recorded" in result.stdout
        assert not (project / LEDGER_NAME).exists() or counting(project) == ()

    def test_with_json_the_questions_go_to_standard_error(self, project):
        import json

        result = converse(project, *ANSWERS, json=True)
        assert json.loads(result.stdout)["last"]["by"] == "ann"
        assert "Record it?" in result.stderr


class TestTable:
    def test_three_checks_give_charts_and_drift(self, project, tmp_path):
        table = tmp_path / "checks.csv"
        table.write_text(TABLE, encoding="utf-8")
        _, plain = run_json("preflight", "tall", project, "--file", table)
        watch = next(item for item in plain["squareness"] if item["figure"] == "skew_xz_deg")
        assert watch["drift_deg_per_100_h"] == pytest.approx(
            0.0239, abs=2e-4
        )  # 0.05 mm at 300 mm in 40 hours
        assert plain["hours_per_day"] == pytest.approx(8.0)
        words = run("preflight", "tall", project, "--look").stdout
        assert "Individuals: mean" in words
        assert "degrees per hundred hours" in words

    def test_the_same_file_twice_is_refused(self, project, tmp_path):
        table = tmp_path / "checks.csv"
        table.write_text(TABLE, encoding="utf-8")
        run("preflight", "tall", project, "--file", table)
        assert "read before" in refusal("preflight", "tall", project, "--file", table)["what"]
        assert len(counting(project)) == 3
