"""Answers of the routine before a long print: what is read, and what is refused with all faults at once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from dryfit.app.preflight_input import check_answer, read_entry, read_file, read_gap, read_item, read_moment
from dryfit.app.preflight_records import PreflightRefused
from dryfit.base.errors import DryfitError, RowsRefused

ROW = "hours,height_mm,xz_gap_mm,fasteners\n120,300,-0.15,ok\n"


@pytest.mark.parametrize(
    ("text", "gap"), [("0.15", (0.15, 1)), ("-0.1 -x", (-0.1, -1)), ("0.2 +X", (0.2, 1))]
)
def test_a_gap_may_say_where_the_stock_pointed(text: str, gap: tuple[float, int]) -> None:
    assert read_gap(text, "xz") == gap


@pytest.mark.parametrize("text", ["0,15", "0.15 -y", "0.1 0.2 0.3", "wide", "nan"])
def test_what_is_no_gap_is_refused(text: str) -> None:
    with pytest.raises(PreflightRefused):
        read_gap(text, "xz")


def test_an_answer_is_ok_skipped_or_says_what_is_wrong() -> None:
    assert read_item("belts", "OK").answer == "ok"
    assert read_item("belts", "skip").answer == "skipped"
    assert read_item("belts", "no").answer == "wrong"
    assert read_item("belts", "frayed at the left").words == "frayed at the left"


def test_a_day_is_its_noon_and_a_time_needs_its_zone() -> None:
    assert read_moment("2026-11-18").startswith("2026-11-18T12:00")
    assert read_moment("2026-11-18T14:30+01:00").startswith("2026-11-18T13:30")
    with pytest.raises(PreflightRefused, match="time zone"):
        read_moment("2026-11-18T14:30")
    with pytest.raises(PreflightRefused, match="no day"):
        read_moment("18.11.2026")


def test_all_faults_are_named_at_once() -> None:
    with pytest.raises(RowsRefused) as caught:
        read_entry({"hours": "-3", "xz_gap_mm": "wide", "oil": "ok"}, "here")
    assert len(caught.value.faults) == 3


def test_a_gap_needs_its_height_and_no_printer_leans_by_ten_degrees() -> None:
    with pytest.raises(RowsRefused, match="no height"):
        read_entry({"hours": "3", "xz_gap_mm": "0.1"}, "here")
    with pytest.raises(RowsRefused, match="no printer leans so far"):
        read_entry({"hours": "3", "xz_gap_mm": "52", "height_mm": "300"}, "here")


@pytest.mark.parametrize(
    ("field", "text"),
    [("hours", "3e9"), ("height_mm", "0"), ("filament_g", "-5"), ("against", "wall"), ("hours", "")],
)
def test_a_conversation_asks_again_for_what_cannot_be(field: str, text: str) -> None:
    with pytest.raises(DryfitError):
        check_answer(field, text)


def test_a_table_and_a_list_of_tables_say_the_same(tmp_path: Path) -> None:
    table, listed = tmp_path / "checks.csv", tmp_path / "checks.json"
    table.write_text(ROW, encoding="utf-8")
    listed.write_text(
        json.dumps([{"hours": 120, "height_mm": 300, "xz_gap_mm": -0.15, "fasteners": True}]),
        encoding="utf-8",
    )
    (one,), (other,) = read_file(table), read_file(listed)
    assert one.squares == other.squares
    assert one.items == other.items
    assert one.file_sha256 != other.file_sha256


@pytest.mark.parametrize("text", ["", "[]", "[3]", '{"hours": [1]}', "{", '[{"height_mm": 3}]'])
def test_a_json_file_that_holds_no_check_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "checks.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(RowsRefused):
        read_file(path)


def test_faults_of_a_table_are_named_by_line_and_nothing_is_read(tmp_path: Path) -> None:
    path = tmp_path / "checks.csv"
    path.write_text(ROW + "abc,300,0.1,ok\n130,,0.1,ok\n", encoding="utf-8")
    with pytest.raises(RowsRefused) as caught:
        read_file(path)
    assert [fault.where for fault in caught.value.faults] == ["checks.csv (line 3)", "checks.csv (line 4)"]
