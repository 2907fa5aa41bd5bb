"""Tables from a spreadsheet: rows with their lines, and every fault at once."""

import pickle
from pathlib import Path

import pytest

from dryfit.app.csv_rows import read_csv, read_lines, scan_csv
from dryfit.base.errors import RowsRefused


@pytest.fixture
def sheet(tmp_path):
    def put(text, encoding="utf-8"):
        path = tmp_path / "sheet.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return put


def faults(read):
    with pytest.raises(RowsRefused) as caught:
        read()
    return [(fault.where, fault.what) for fault in caught.value.faults]


def test_rows_know_their_line_and_leave_empty_cells_out(sheet):
    table = read_csv(sheet('a,b\n1,\n\n" 2 ",3\n'), ("a",), ("b",))
    assert [(row.line, dict(row.cells)) for row in table.rows] == [(2, {"a": "1"}), (4, {"a": "2", "b": "3"})]
    assert table.where(4) == "sheet.csv (line 4)"
    assert len(table.sha256) == 64


def test_a_cell_over_two_lines_counts_to_its_last(sheet):
    table = read_csv(sheet('a,b\n1,"x\ny"\n2,z\n'), ("a",), ("b",))
    assert [row.line for row in table.rows] == [3, 4]


def test_every_row_of_a_wrong_shape_is_named(sheet):
    path = sheet("a,b\n1\n,2\n3,4\n5,6,7\n")
    assert faults(lambda: read_csv(path, ("a",), ("b",))) == [
        ("sheet.csv (line 2)", "1 cell in a table of 2 columns"),
        ("sheet.csv (line 3)", "no a is given"),
        ("sheet.csv (line 5)", "3 cells in a table of 2 columns"),
    ]
    table = scan_csv(path, ("a",), ("b",))
    assert ([row.line for row in table.rows], len(table.faults)) == ([4], 3)


def test_a_file_of_wrong_columns_is_refused_with_all_of_them(sheet):
    found = faults(lambda: scan_csv(sheet("a,a,c\n1,2,3\n"), ("a", "b")))
    assert [what for _, what in found] == [
        'the column "c" is unknown',
        'the column "a" stands there twice',
        'the column "b" is missing',
    ]


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="needs a file without end")
def test_a_file_without_end_is_not_read():
    found = faults(lambda: scan_csv(Path("/dev/zero"), ("a",)))
    assert "larger than" in found[0][1]


def test_lines_and_ranges_of_lines():
    assert read_lines("4, 7-9", "--confirm") == {4, 7, 8, 9}
    for text in ("", "4,", "a", "9-7", "-3", "4.5", "1-10000000"):
        assert faults(lambda text=text: read_lines(text, "--confirm"))


def test_a_refusal_of_rows_travels_between_processes():
    error = RowsRefused("sheet.csv", [])
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), str(again)) == (RowsRefused, str(error))
