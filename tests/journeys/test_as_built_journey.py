"""Parts as built at the command line: prints, readings, the forecast on them, what to measure; and kill -9."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from typer.testing import CliRunner

from dryfit.app.reading_records import READING, reading_from
from dryfit.cli.main import app
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from journeys.test_reading_journey import acknowledged, close
from support.command import refusal, run, run_json
from support.projects import write_project

DRYFIT = str(Path(sys.executable).with_name("dryfit"))
KILLS = int(os.environ.get("DRYFIT_KILLS", "6"))


@pytest.fixture
def project(tmp_path):
    """A portal whose lintel came off the bed: record 1."""
    folder = write_project(tmp_path)
    status, plain = run_json(
        "printed", "lintel", "-p", folder, "--result", "good", "--hours", 4, "--to", "2026-11-20"
    )
    assert (status, plain["entered"]) == (0, 1)
    return folder


def readings(folder):
    with open_ledger(folder / LEDGER_NAME) as ledger:
        return [reading_from(record) for record in ledger.records(READING)]


def first_measure(folder):
    """Nominal length of measure 1 of the lintel, by the inspection plan or its query."""
    _, plain = run_json("inspect", folder, "--part", "lintel")
    found = plain["parts"][0]["readings"][0]
    return found["number"], found["expected_mm"]


def test_from_the_bed_to_the_forecast(project):
    number, expected = first_measure(project)
    status, plain = run_json("forecast", project)
    assert plain["prior"] == []
    assert plain["as_built"]["printed"] == ["lintel"]
    value = round(expected + 0.02, 2)
    status, taken = run_json("read", "lintel", project, "--measure", number, "--value", value, "--temp", 20)
    assert (status, taken["part"], taken["artefact"]) == (0, "lintel", 1)
    _, after = run_json("forecast", project)
    assert after["as_built"]["readings_by_part"] == {"lintel": 1}
    stds = [
        (now["std"], then["std"]) for now, then in zip(after["characteristics"], after["prior"], strict=True)
    ]
    assert all(now <= then * (1 + 1e-9) for now, then in stds)
    assert any(now < then for now, then in stds)
    assert after["input_hash"] != plain["input_hash"]
    _, aside = run_json("forecast", project, "--without-readings")
    assert aside["as_built"] is None
    assert aside["prior"] == []
    said = run("forecast", project).stdout
    assert "rests on 1 reading of printed parts: lintel 1" in said
    assert "before readings" in said
    assert "lintel: 0 -> 1 readings" in run("since", "-p", project).stdout


def test_a_reading_that_contradicts_is_queried_and_shown(project):
    number, expected = first_measure(project)
    refused = refusal("read", "lintel", project, "--measure", number, "--value", round(expected + 1.7, 2))
    assert "times what machine, print and instrument may still be off by" in refused["what"]
    for _ in range(2):
        run_json("read", "lintel", project, "--measure", number, "--value", round(expected, 2), "--temp", 20)
    run_json(
        "read",
        "lintel",
        project,
        "--measure",
        number,
        "--value",
        round(expected + 1.7, 2),
        "--temp",
        20,
        "--meant",
    )
    _, plain = run_json("forecast", project)
    (suspect,) = plain["as_built"]["suspects"]
    wrong = suspect["records"][0]
    assert suspect["is_confirmed"]
    assert suspect["off_mm"] == pytest.approx(1.7, abs=0.1)
    assert "contradicts the others" in run("forecast", project).stdout
    refusal("read", "lintel", project, "--leave-out", wrong)
    run_json("read", "lintel", project, "--leave-out", wrong, "--because", "jaws tilted")
    _, plain = run_json("forecast", project)
    assert plain["as_built"]["suspects"] == []
    assert plain["as_built"]["readings_left_out"] == 1
    run_json("read", "lintel", project, "--count", wrong, "--because", "they were not")
    assert run_json("forecast", project)[1]["as_built"]["readings_left_out"] == 0


def test_a_print_is_taken_as_off_for_a_reason_of_its_own(project):
    number, expected = first_measure(project)
    run_json("read", "lintel", project, "--measure", number, "--value", round(expected, 2), "--temp", 20)
    _, before = run_json("forecast", project)
    decide = ("read", "lintel", project, "--own-shape")
    assert refusal(*decide, 1.5)["what"] == "no reason is given"
    assert "no departure of a part" in refusal(*decide, 500, "--because", "x")["what"]
    assert "no departure of a part" in refusal(*decide, -1, "--because", "x")["what"]
    assert "already" in refusal(*decide, 0, "--because", "x")["what"]
    assert "together" in refusal(*decide, 1.5, "--because", "x", "--csv", "a.csv")["what"]
    refusal("read", "tall", project, "--own-shape", 1.5, "--because", "x")
    status, plain = run_json(*decide, 1.5, "--because", "one corner came off the bed", "--by", "A")
    assert (status, plain["print"], plain["own_shape_mm"], plain["own_shape_before_mm"]) == (0, 1, 1.5, None)
    _, wide = run_json("forecast", project)
    assert "lintel: off for a reason of its own by about 0 -> 1.5 mm" in run("since", "-p", project).stdout
    (held,) = wide["as_built"]["off_of_themselves"]
    assert (held["part"], held["std_mm"], held["record"]) == ("lintel", 1.5, plain["record"])
    assert wide["input_hash"] != before["input_hash"]
    assert any(
        now["std"] > then["std"]
        for now, then in zip(wide["characteristics"], before["characteristics"], strict=True)
    )
    assert "lintel.own_shape" in {
        cause["source"] for item in wide["characteristics"] for cause in item["contributions"]
    }
    said = run("forecast", project).stdout
    assert (
        "lintel is taken as off for a reason of its own, by about 1.5 mm: one corner came off the bed" in said
    )
    _, more = run_json(*decide, 2, "--because", "worse than that")
    assert more["own_shape_before_mm"] == 1.5
    said = run(*decide, 0, "--because", "measured warm").stdout
    assert "as its machine makes it again" in said
    _, after = run_json("forecast", project)
    assert after["as_built"]["off_of_themselves"] == []
    assert [item["std"] for item in after["characteristics"]] == [
        item["std"] for item in before["characteristics"]
    ]


def test_corrections_withdrawals_and_tables(project):
    number, expected = first_measure(project)
    sheet = project / "sheet.csv"
    sheet.write_text(
        f"measure,value_mm,temp_c\n{number},{expected:.2f},21\n{number},{expected + 0.01:.2f},21\n"
    )
    _, plain = run_json("read", "lintel", project, "--csv", sheet)
    one, other = (item["record"] for item in plain["taken"])
    assert refusal("read", "lintel", project, "--csv", sheet)["faults"]
    run_json("read", "lintel", project, "--correct", one, "--value", round(expected + 0.02, 2))
    run_json("read", "lintel", project, "--withdraw", other)
    _, plain = run_json("forecast", project)
    assert plain["as_built"]["readings"] == 1


def test_one_by_one_with_undo(project):
    number, expected = first_measure(project)
    answers = f"go {number}\n{expected:.2f}\nundo\n{expected:.2f}\nleave\n"
    result = CliRunner().invoke(app, ["read", "lintel", str(project), "--temp", "20"], input=answers)
    assert result.exit_code == 0, result.output
    assert "Part lintel, print 1" in result.output
    assert "taken back" in result.output
    assert run_json("forecast", project)[1]["as_built"]["readings"] == 1


def test_a_part_that_was_never_printed_is_not_read(project):
    assert "no good print" in refusal("read", "base", project, "--measure", 1, "--value", 3.0)["what"]
    assert "machine or part" in refusal("read", "nobody", project, "--measure", 1, "--value", 3.0)["what"]
    refusal("read", "tall", project, "--print", 1)


def test_prints_are_listed_corrected_and_taken_back(project):
    run_json("printed", "base", "-p", project, "--result", "failed", "--failed-at", 7, "--because", "warped")
    said = run("printed", "-p", project).stdout
    assert "1 of 4 parts printed" in said
    assert "failed at 7 mm" in said
    _, plain = run_json("printed", "-p", project, "--correct", 2, "--result", "stopped")
    assert [item["result"] for item in plain["prints"]] == ["good", "stopped"]
    _, plain = run_json("printed", "-p", project, "--withdraw", 2)
    assert [item["record"] for item in plain["prints"]] == [1]
    refusal("printed", "-p", project, "--correct", 2, "--result", "good")
    refusal("printed", "base", "-p", project)
    refusal("printed", "-p", project, "--result", "good")
    refusal("printed", "base", "-p", project, "--withdraw", 1)


def test_the_inspection_plan_judges_what_was_read(project):
    number, expected = first_measure(project)
    run_json("read", "lintel", project, "--measure", number, "--value", round(expected, 2), "--temp", 20)
    _status, plain = run_json("inspect", project, "--minutes", "caliper-300=0.5")
    assert plain["minutes_per_reading"]["caliper-300"] == 0.5
    done = plain["parts"][0]["done"]
    assert [item["number"] for item in done] == [number]
    assert number not in [item["number"] for item in plain["parts"][0]["readings"]]
    assert plain["not_printed"] == ["base", "post-1", "post-2"]
    assert "lintel, print 1" in run("inspect", project).stdout
    refusal("inspect", project, "--part", "nothing")
    refusal("inspect", project, "--minutes", "caliper-300")


def start(folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [DRYFIT, "read", "lintel", str(folder)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8", bufsize=1,
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="needs kill -9")
def test_kill_while_reading_a_part_loses_no_acknowledged_reading(project):
    """Sittings at a part, each killed at another moment; DRYFIT_KILLS=200 for as many as are promised."""
    _, expected = first_measure(project)
    moments = random.Random(8)
    told: set[int] = set()
    for attempt in range(KILLS):
        process = start(project)
        assert process.stdin is not None
        assert process.stdout is not None
        feeder = threading.Thread(target=feed_part, args=(process.stdin, expected), daemon=True)
        feeder.start()
        heard = ""
        while len(acknowledged(heard)) < 1 + attempt % 3:
            line = process.stdout.readline()
            assert line, heard
            heard += line
        time.sleep(moments.uniform(0.0, 0.05))
        os.kill(process.pid, signal.SIGKILL)
        told |= acknowledged(heard + process.stdout.read())
        process.wait()
        feeder.join()
        for stream in (process.stdin, process.stdout, process.stderr):
            close(stream)
    with open_ledger(project / LEDGER_NAME) as ledger:
        assert ledger.verify() == ()
        kept = {record.id for record in ledger.records(READING)}
    assert len(told) >= KILLS
    assert told <= kept


def feed_part(stream, expected: float) -> None:
    """Readings of one measure without end: confirmed where they are queried."""
    try:
        for _ in range(500):
            stream.write(f"go 1\n{expected:.2f}\nyes\n")
            stream.flush()
    except (OSError, ValueError):
        return  # the reader is gone


@pytest.mark.slow
def test_two_benches_at_one_part_lose_nothing(project):
    _, expected = first_measure(project)
    benches = [start(project), start(project)]
    answers = f"go 1\n{expected:.2f}\nyes\n" * 6 + "leave\n"
    said = [""] * len(benches)

    def sit(index: int) -> None:
        said[index], error = benches[index].communicate(answers, timeout=240)
        assert error == ""

    threads = [threading.Thread(target=sit, args=(index,)) for index in range(len(benches))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    records = [acknowledged(text) for text in said]
    assert all(records)
    assert not records[0] & records[1]
    assert {item.record for item in readings(project)} == records[0] | records[1]
