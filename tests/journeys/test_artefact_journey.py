"""A test artefact from the command line: designed, issued, read back, refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from dryfit.app.artefact import ArtefactOptions, design_artefact
from dryfit.app.demo import write_demo
from dryfit.files.pdf import render_pages, render_pdf
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from dryfit.view.artefact import artefact_blocks, artefact_plain, artefact_state, write_digits
from dryfit.view.artefact_figure import figure_svg
from dryfit.view.artefact_sheet import artefact_sheet
from dryfit.view.blocks import Sentence, Table
from support.command import refusal, run, run_json

KIT = ("--instrument", "caliper-300", "--instrument", "steel-rule-1000", "--instrument", "square-300")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("journey") / "demo"
    write_demo(folder, "observatory")
    return folder


def test_a_machine_gets_an_artefact_and_the_ledger_keeps_it(demo: Path, tmp_path: Path) -> None:
    status, plain = run_json("artefact", "tall", demo, *KIT, "--out", tmp_path / "out")
    assert status == 0
    assert plain["state"] == "pass"
    assert plain["mass_g"] <= 400.0
    assert plain["size_mm"] == [498.0, 498.0, 599.0]
    assert [Path(file).suffix for file in plain["files"]] == [".3mf", ".stl", ".pdf"]
    assert all(Path(file).stat().st_size > 1000 for file in plain["files"])
    with open_ledger(demo / LEDGER_NAME) as ledger:
        record = ledger.get(plain["record"])
    assert record.kind == "artefact"
    assert record.payload["sha256"] == plain["sha256"]
    assert sum(step["repeats"] for step in plain["plan"]) == 48
    ring = next(row for row in plain["characteristics"] if row["id"] == "ring-closure")
    assert ring["std_by_artefact"] < ring["half_band"] / 2 < ring["std_by_small_piece"]


def test_looking_writes_nothing(demo: Path) -> None:
    before = sorted(path.name for path in demo.rglob("*"))
    status, plain = run_json("artefact", "desk", demo, "--look")
    assert status == 0
    assert plain["record"] is None
    assert plain["files"] == []
    assert sorted(path.name for path in demo.rglob("*")) == before


def test_the_same_artefact_is_the_same_bytes(demo: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        run("artefact", "desk", demo, "--out", tmp_path / name)
    for file in ("desk-artefact.3mf", "desk-artefact.stl", "desk-sheet.pdf"):
        assert (tmp_path / "one" / file).read_bytes() == (tmp_path / "two" / file).read_bytes()


def test_words_and_json_say_the_same(demo: Path) -> None:
    report = design_artefact(demo, "desk", ArtefactOptions())
    plain, blocks = artefact_plain(report), artefact_blocks(report)
    tables = [block for block in blocks if isinstance(block, Table)]
    assert len(tables[0].rows) == len(plain["expected"]) == 8
    assert len(tables[1].rows) == len(plain["characteristics"])
    assert len(tables[2].rows) == len(plain["plan"])
    texts = " ".join(block.text for block in blocks if isinstance(block, Sentence))
    for assumed in plain["assumed"]:
        assert assumed in texts
    assert plain["state"] == artefact_state(report)


def test_a_machine_of_a_project_without_parts_is_designed_for_and_says_not_checked(tmp_path: Path) -> None:
    run("new", tmp_path / "mine", "--scale", "1:20")
    document = tmp_path / "mine" / "project.toml"
    rows = (
        '[[material]]\nid = "pla"\nfamily = "PLA"\nshrinkage = 0.0\n'
        '[[machine]]\nid = "small"\nbuild_volume_mm = [120, 120, 100]\n'
    )
    document.write_text(document.read_text(encoding="utf-8") + rows, encoding="utf-8")
    status, plain = run_json("artefact", "small", tmp_path / "mine")
    assert status == 0
    assert plain["state"] == "not checked"
    assert plain["characteristics"] == []
    assert all(row["knowledge"] == "prior" for row in plain["expected"])
    assert any("clearance_mm not stated" in text for text in plain["assumed"])
    worded = run("artefact", "small", tmp_path / "mine").stdout
    assert "never measured: std" in worded
    assert "nothing to decide" in worded


def test_refusals_have_three_parts(demo: Path) -> None:
    assert "tal" in refusal("artefact", "tal", demo)["what"]
    assert "apart" in refusal("artefact", "tall", demo, "--instrument", "tape")["what"]
    assert "no body" in refusal("artefact", "tall", demo, "--mass", "5")["what"]


def test_the_sheet_holds_every_reading_and_can_be_set(demo: Path) -> None:
    report = design_artefact(
        demo, "tall", ArtefactOptions(instruments=("caliper-150", "steel-rule-1000", "square-300"))
    )
    sheet = artefact_sheet(report)
    rows = sheet.data["rows"]
    assert [row["number"] for row in rows] == [str(number) for number in range(1, len(rows) + 1)]
    assert sheet.data["columns"] == ["1 down", "2 up"]
    assert len(sheet.data["holding"]) == len(report.instruments)
    assert sheet.data["invented"]
    assert render_pdf(sheet.source, sheet.data, sheet.figures).startswith(b"%PDF")
    assert 3 <= len(render_pages(sheet.source, sheet.data, sheet.figures, 40.0)) <= 6
    # every number stands in one figure
    drawn = "".join(sheet.figures.values())
    for row in rows:
        assert f">{row['number']}</text>" in drawn


def test_figures_stay_on_their_paper(demo: Path) -> None:
    report = design_artefact(demo, "tall")
    for view in report.views:
        svg = figure_svg(view, 180.0, 150.0)
        width, height = (float(value) for value in svg.split('viewBox="0 0 ')[1].split('"')[0].split())
        assert width == 180.0
        assert height <= 150.1


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0123, "0.012"),
        (0.00996, "0.010"),
        (1.26, "1.3"),
        (23.4, "23"),
        (0.0, "0"),
        (float("inf"), "unknown"),
    ],
)
def test_uncertainties_have_two_digits(value: float, text: str) -> None:
    assert write_digits(value) == text
