"""Readings of a test artefact through the command: one by one, single, from a table; and under kill -9."""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from building.artefact import artefact, printed, record_artefact
from dryfit.app.artefact_plan import reading_order
from dryfit.app.reading_records import readings_of
from dryfit.cli.main import app
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.command import refusal, run, run_json
from support.dialogue import interrupt_after
from support.projects import HEAD, MACHINE, MATERIAL

DRYFIT = str(Path(sys.executable).with_name("dryfit"))
FIGURES = {"skew_xz_deg": 0.4, "scale_x": 0.001, "boundary_offset_mm": 0.05}
TRUE = {id: round(value, 2) for id, value in printed(FIGURES).items()}
PLANNED = [item.measure for item in reading_order(artefact())]
ANSWERS = "".join(f"{TRUE[measure]}\n" for measure in PLANNED)


@pytest.fixture
def project(tmp_path):
    """A project with a machine whose artefact was designed: record 1 of its ledger."""
    (tmp_path / "project.toml").write_text(HEAD + MACHINE + MATERIAL, encoding="utf-8")
    assert record_artefact(tmp_path) == 1
    return tmp_path


def converse(project: Path, answers: str, *options: object, command: str = "read") -> Result:
    words = [command, "tall" if command == "read" else "caliper-300", str(project), *map(str, options)]
    result = CliRunner().invoke(app, words, input=answers)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def counting(project: Path):
    with open_ledger(project / LEDGER_NAME) as ledger:
        return readings_of(ledger.records(), "tall", 1)


class TestOneByOne:
    def test_the_whole_sheet_in_the_order_of_the_plan(self, project):
        result = converse(project, ANSWERS, "--temp", 21.5, "--by", "ann")
        assert result.exit_code == 0
        assert [item.measure for item in counting(project)] == PLANNED
        assert {(item.temp_c, item.by) for item in counting(project)} == {(21.5, "ann")}
        assert "The plan is read. Next: dryfit qualify tall" in result.stdout
        assert "with caliper-300, nominal 280 mm" in result.stdout
        assert "not corrected" not in result.stdout

    def test_the_last_three_repeats_and_their_spread_are_shown(self, project):
        result = converse(project, "280.31\ngo 1\n280.33\ngo 1\n280.35\n")
        assert "last: 280.31, 280.33\n" in result.stdout
        assert "second of three, 0.02 apart, good" in result.stdout

    def test_a_sitting_goes_on_where_it_was_left(self, project):
        assert converse(project, f"{TRUE['outside-x-280']}\nleave\n").exit_code == 0
        result = converse(project, f"go 1\n{TRUE['outside-x-280']}\n")
        assert "Artefact of tall: 1 of 11 readings are taken" in result.stdout
        assert "second of three, mm: " in result.stdout
        assert len(counting(project)) == 2

    def test_undo_is_a_correcting_record_and_the_measure_is_asked_again(self, project):
        result = converse(project, "280.31\ngo 1\n280.21\nundo\n280.33\n")
        assert "taken back: record 3, 280.21 mm of outside-x-280" in result.stdout
        assert [item.value_mm for item in counting(project)] == [280.31, 280.33]
        with open_ledger(project / LEDGER_NAME) as ledger:
            assert [r.kind for r in ledger.records()] == ["artefact", *["reading"] * 4]
            assert ledger.get(4).payload["corrects"] == 3
            assert ledger.get(4).payload["is_withdrawn"] is True

    def test_undo_takes_back_nothing_of_another_sitting(self, project):
        converse(project, "280.31\n")
        assert "nothing of this sitting" in converse(project, "undo\n").stdout
        assert len(counting(project)) == 1

    def test_a_doubtful_value_is_queried_and_may_be_put_right_at_once(self, project):
        result = converse(project, "28.031\n280.31\n")
        assert "280.31 would fit: has the decimal point slipped?" in result.stdout
        assert [(item.value_mm, item.is_confirmed) for item in counting(project)] == [(280.31, False)]

    def test_or_confirmed_which_is_kept_with_it(self, project):
        result = converse(project, "262.7\nyes\n")
        assert [(item.value_mm, item.is_confirmed) for item in counting(project)] == [(262.7, True)]
        assert "1 doubtful reading confirmed" in result.stdout

    def test_or_dropped(self, project):
        converse(project, "262.7\nno\n")
        converse(project, "262.7\n")  # the input ends at the question
        assert counting(project) == ()

    def test_what_is_no_number_is_said_and_asked_again(self, project):
        result = converse(project, "280,31\nabc\n-3\ninf\n1_0\n\n280.31\n")
        assert "write decimals with a point: 280.31" in result.stdout
        assert '"abc" is no number' in result.stdout
        assert "a length of -3.0 mm" in result.stdout
        assert len(counting(project)) == 1

    def test_skip_go_and_temp(self, project):
        result = converse(project, "skip\ngo 5\ntemp 99\ntemp 22\n250.1\ngo 77\ngo 6\n-1.7\n")
        assert "99 C is no temperature of a workshop" in result.stdout
        assert 'there is no measure "77"' in result.stdout
        found = [(item.measure, item.temp_c) for item in counting(project)]
        assert found == [("height-z-250", 22.0), ("square-xz", 22.0)]

    def test_one_measure_is_read_until_the_user_goes_on(self, project):
        converse(project, ANSWERS)
        result = converse(project, "200.0\n200.03\nundo\n200.01\nleave\n", "--measure", 4)
        assert "measure 4, centres: posts A and D" in result.stdout
        assert [item.value_mm for item in counting(project)][11:] == [200.0, 200.01]
        assert len(counting(project)) == 13
        result = converse(project, "skip\n", "--measure", 4)
        assert "The plan is read" in result.stdout

    def test_json_is_the_report_and_the_talk_goes_to_standard_error(self, project):
        result = converse(project, ANSWERS, "--json")
        plain = json.loads(result.stdout)
        assert (plain["read"], plain["planned"], plain["not_temperature_corrected"]) == (11, 11, 11)
        assert "first of three, mm: " in result.stderr

    def test_another_instrument_takes_the_place_of_the_planned_one_where_it_can(self, project):
        converse(project, ANSWERS, "--instrument", "steel-rule-300")
        used = {item.measure: item.instrument for item in counting(project)}
        assert used["outside-x-280"] == "steel-rule-300"
        assert used["square-xz"] == "square-300"
        assert "The plan is read" in converse(project, "").stdout


class TestSingle:
    def test_one_reading(self, project):
        status, plain = run_json(
            *("read", "tall", project, "--measure", 1, "--value", 280.31),
            *("--instrument", "caliper-300", "--temp", 21.5, "--by", "ann"),
        )
        assert status == 0
        (taken,) = plain["taken"]
        assert (taken["record"], taken["measure"], taken["value_mm"]) == (2, "outside-x-280", 280.31)
        assert (taken["instrument"], taken["temp_c"], taken["by"]) == ("caliper-300", 21.5, "ann")

    def test_a_doubtful_one_is_refused_until_it_is_meant(self, project):
        words = ("read", "tall", project, "--measure", "outside-x-280", "--value", 28.031)
        assert "280.31 would fit" in refusal(*words)["what"]
        assert counting(project) == ()
        assert run(*words, "--meant").exit_code == 0
        assert counting(project)[0].is_confirmed

    def test_a_correction_and_a_withdrawal(self, project):
        run("read", "tall", project, "--measure", 1, "--value", 280.31, "--temp", 21.5)
        run("read", "tall", project, "--correct", 2, "--value", 280.37)
        (found,) = counting(project)
        assert (found.record, found.corrects, found.value_mm, found.temp_c) == (3, 2, 280.37, 21.5)
        assert "no longer counts" in refusal("read", "tall", project, "--withdraw", 2)["what"]
        assert run_json("read", "tall", project, "--withdraw", 3)[1]["withdrawn"] == [3]
        assert counting(project) == ()

    @pytest.mark.parametrize(
        ("words", "what"),
        [
            (["--correct", 1], "belong together"),
            (["--value", 3], "belong together"),
            (["--measure", 1, "--correct", 2, "--value", 3], "given together"),
            (["--meant"], "--meant is for one value"),
            (["--confirm", 3], "are for a table"),
            (["--measure", 99, "--value", 3], 'no measure "99"'),
            (["--measure", 7, "--value", 283], "no instrument is named"),
            (["--measure", 6, "--value", 1, "--instrument", "caliper-300"], "does not read"),
            (["--measure", 1, "--value", 280, "--instrument", "caliber"], "no instrument"),
            (["--measure", 1, "--value", 280, "--temp", 215], "no temperature"),
            (["--measure", 1, "--value", "nan"], "no finite number"),
        ],
    )
    def test_what_cannot_be_a_reading_is_refused(self, project, words, what):
        assert what in refusal("read", "tall", project, *words)["what"]
        assert counting(project) == ()

    def test_without_machine_or_artefact(self, project):
        assert 'no machine or part "tal"' in refusal("read", "tal", project, "--withdraw", 1)["what"]
        toml = project / "project.toml"
        toml.write_text(toml.read_text() + MACHINE.replace('"tall"', '"desk"'))
        assert "dryfit artefact desk" in refusal("read", "desk", project, "--withdraw", 1)["do"]
        (project / LEDGER_NAME).unlink()
        assert "nothing to read" in refusal("read", "tall", project, "--withdraw", 1)["what"]
        assert not (project / LEDGER_NAME).exists()


class TestTable:
    GOOD = "measure,value_mm,instrument,temp_c,by\n1,280.31,,21.5,ann\noutside-x-140,140.2,caliper-300,,\n"

    def put(self, project, text, encoding="utf-8"):
        path = project / "sheet.csv"
        path.write_bytes(text.encode(encoding))
        return path

    def faults(self, project, text, *options):
        refused = refusal("read", "tall", project, "--csv", self.put(project, text), *options)
        assert counting(project) == ()
        return [
            (re.sub(r".*\(line (\d+)\)", r"\1", item["where"]), item["what"]) for item in refused["faults"]
        ]

    def test_every_row_is_recorded(self, project):
        status, plain = run_json(
            "read", "tall", project, "--csv", self.put(project, self.GOOD), "--by", "ben"
        )
        assert status == 0
        assert [(t["measure"], t["temp_c"], t["by"]) for t in plain["taken"]] == [
            ("outside-x-280", 21.5, "ann"),
            ("outside-x-140", None, "ben"),
        ]

    def test_a_table_of_a_spreadsheet_with_mark_and_empty_lines(self, project):
        text = self.GOOD.replace("\n", "\r\n") + ",,,,\r\n\r\n"
        assert run("read", "tall", project, "--csv", self.put(project, text, "utf-8-sig")).exit_code == 0
        assert len(counting(project)) == 2

    def test_the_same_file_is_not_taken_twice_unasked(self, project):
        sheet = self.put(project, self.GOOD)
        run("read", "tall", project, "--csv", sheet)
        refused = refusal("read", "tall", project, "--csv", sheet)
        assert "records 2 to 3" in refused["faults"][0]["what"]
        assert run("read", "tall", project, "--csv", sheet, "--again").exit_code == 0
        assert len(counting(project)) == 4

    def test_every_fault_is_said_at_once_with_its_line_and_nothing_is_recorded(self, project):
        text = 'measure,value_mm,temp_c\n9,3,\n1,abc,99\n2,"140,2",\n\n4,0,\n,200.1,\n4,200.1,,\n1,280.31,\n'
        found = self.faults(project, text)
        assert [line for line, _ in found] == ["2", "3", "3", "4", "6", "7", "8"]

    def test_doubtful_rows_refuse_the_file_until_they_are_confirmed(self, project):
        text = "measure,value_mm\n1,140.2\n2,280.31\n4,20.01\n4,200.1\n"
        found = dict(self.faults(project, text))
        assert "have two rows been swapped?" in found["2"]
        assert "have two rows been swapped?" in found["3"]
        assert "200.1 would fit" in found["4"]
        assert set(dict(self.faults(project, text, "--confirm", "2-3"))) == {"4"}
        sheet = self.put(project, text)
        assert run("read", "tall", project, "--csv", sheet, "--confirm", "2-3,4").exit_code == 0
        assert [item.is_confirmed for item in counting(project)] == [True, True, True, False]

    def test_lines_that_hold_no_reading_cannot_be_confirmed(self, project):
        assert self.faults(project, self.GOOD, "--confirm", "1,2")[0][1] == "there is no reading in line 1"
        for lines in ("x", "3-2", "1-999999999", ""):
            assert (
                "--confirm"
                in refusal(
                    "read", "tall", project, "--csv", self.put(project, self.GOOD), "--confirm", lines
                )["where"]
            )

    @pytest.mark.parametrize(
        ("text", "what"),
        [
            ("", "holds no row"),
            ("measure,value_mm\n", "holds no row"),
            ("measure;value_mm\n1;280,3\n", "semicolons"),
            ("measure,value\n1,280.3\n", 'the column "value" is unknown'),
            ("measure,value_mm,value_mm\n1,1,1\n", "stands there twice"),
            ("measure\n1\n", 'the column "value_mm" is missing'),
        ],
    )
    def test_another_shape_is_refused(self, project, text, what):
        assert any(what in said for _, said in self.faults(project, text))

    def test_bytes_that_are_no_text(self, project):
        sheet = project / "sheet.csv"
        sheet.write_bytes(b"measure,value_mm\n1,\xff\xfe\n")
        assert "no UTF-8" in refusal("read", "tall", project, "--csv", sheet)["faults"][0]["what"]
        assert refusal("read", "tall", project, "--csv", project / "none.csv")["faults"]
        assert refusal("read", "tall", project, "--csv", project)["faults"]


def start(project: Path, **options) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [DRYFIT, "read", "tall", str(project)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        bufsize=1,
        **options,
    )


def acknowledged(text: str) -> set[int]:
    """Records named in whole lines; a line that a kill cut short was not said."""
    return {int(n) for n in re.findall(r"kept as record (\d+): .*\n", text)}


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_kill_while_reading_loses_no_acknowledged_reading(project):
    """A dozen sittings, each killed at another moment while its answers stream in."""
    moments = random.Random(8)
    told: set[int] = set()
    for attempt in range(12):
        process = start(project)
        assert process.stdin is not None
        assert process.stdout is not None
        feeder = threading.Thread(target=feed, args=(process.stdin,), daemon=True)
        feeder.start()
        heard = ""
        while len(acknowledged(heard)) < attempt + 1:
            heard += process.stdout.readline()
        time.sleep(moments.uniform(0.0, 0.02))
        os.kill(process.pid, signal.SIGKILL)
        told |= acknowledged(heard + process.stdout.read())
        process.wait()
        feeder.join()
        for stream in (process.stdin, process.stdout, process.stderr):
            close(stream)
    with open_ledger(project / LEDGER_NAME) as ledger:
        assert ledger.verify() == ()
        kept = {record.id for record in ledger.records("reading")}
    assert len(told) >= sum(range(1, 13))
    assert told <= kept


def feed(stream) -> None:
    """Readings of measure 1 without end, whatever the plan asks for."""
    try:
        for _ in range(2000):
            stream.write("go 1\n280.31\n")
            stream.flush()
    except (OSError, ValueError):
        return  # the reader is gone


def close(stream) -> None:
    with contextlib.suppress(OSError):
        stream.close()


@pytest.mark.slow
def test_two_benches_at_once_lose_nothing(project):
    benches = [start(project), start(project)]
    answers = "go 1\n280.31\n" * 25 + "leave\n"
    said = [""] * len(benches)

    def sit(index: int) -> None:
        said[index], error = benches[index].communicate(answers, timeout=120)
        assert error == ""

    threads = [threading.Thread(target=sit, args=(index,)) for index in range(len(benches))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    records = [acknowledged(text) for text in said]
    assert [len(found) for found in records] == [25, 25]
    assert not records[0] & records[1]
    assert {item.record for item in counting(project)} == records[0] | records[1]


@pytest.mark.slow
def test_an_interrupt_leaves_cleanly_and_says_what_is_kept(project):
    process = start(project)
    rest, error = interrupt_after(process, "280.31\ngo 1\n280.32\n")
    assert "stopped; 2 readings of this sitting kept (records 2 to 3)" in error
    assert "Traceback" not in error
    assert "2 of 11 readings" in rest
    assert len(counting(project)) == 2


@pytest.mark.slow
def test_a_closed_input_ends_the_sitting(project):
    done = subprocess.run(
        ["sh", "-c", '"$0" read tall "$1" <&-', DRYFIT, str(project)],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert "0 of 11 readings" in done.stdout


def test_readings_are_asked_there_and_back_so_that_a_steady_drift_averages_out(project):
    """Of a measure read twice, the mean place in the sitting is the same for all: a drift shifts each mean alike."""
    converse(project, ANSWERS)
    order = [item.measure for item in counting(project)]
    twice = [id for id in dict.fromkeys(order) if order.count(id) == 2]
    places = {id: [index for index, found in enumerate(order[:10]) if found == id] for id in twice}
    assert len({sum(found) for found in places.values()}) == 1
