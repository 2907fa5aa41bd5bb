"""The schedule on its page: rows, filter, trace, and the same words as the command line."""

import pytest

from dryfit.app.schedule import Options, schedule_folder
from dryfit.app.schedule_desk import Moved, Outlook
from dryfit.base.estimate import Estimate
from dryfit.view.schedule import schedule_blocks
from dryfit.view.schedule_page import (
    filter_rows,
    filter_words,
    find_shown,
    heading_of,
    list_page_rows,
    list_sources,
    model_blocks,
    outlook_blocks,
    shorten_trace,
    size_words,
    trace_rows,
)
from support.schedules import FEATURE, GUIDE, write_schedule


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    return schedule_folder(
        write_schedule(tmp_path_factory.mktemp("net"), feature=FEATURE), Options(record=False)
    )


@pytest.fixture(scope="module")
def rows(report):
    return list_page_rows(report)


def of(report, id):
    return next(item for item in report.dimensions if item.id == id)


def test_cells_are_those_of_the_command_line(report, rows):
    blocks = schedule_blocks(report)
    assert blocks[0] == heading_of(report)
    table = next(block for block in blocks if getattr(block, "heads", ("",))[0] == "dimension")
    for said, row, state in zip(table.rows, rows, table.states, strict=True):
        assert said[:6] == (*row.cells[:5], row.cells[-1])
        assert state == row.state


def test_a_source_is_told_in_the_words_of_the_command_line(report):
    said = {cell for block in schedule_blocks(report) for row in getattr(block, "rows", ()) for cell in row}
    for row in trace_rows(report, of(report, "drum")):
        assert set(row.source) | set(row.tested) <= said


def test_controlled_says_whether_a_blunder_would_show(rows):
    cells = {row.id: row.cells[6] for row in rows}
    assert cells["drum"].startswith("yes, 0.")
    assert cells["sill"] == "no"
    assert cells["crown"] == "-"


def test_rows_are_filtered_by_words_state_and_source(rows):
    assert [row.id for row in filter_rows(rows, "post-1")] == ["drum"]
    assert [row.id for row in filter_rows(rows, "LEVELS rise")] == ["drum", "rise", "overall"]
    assert [row.id for row in filter_rows(rows, state="not checked")] == ["crown"]
    assert "sill" not in [row.id for row in filter_rows(rows, source=GUIDE)]
    assert filter_rows(rows, "nothing is called so") == []
    assert filter_rows(rows) == rows
    assert list_sources(rows) == [GUIDE, "invented: levels", "tape"]
    assert filter_words(1, 5) == "1 of 5 dimensions"
    assert filter_words(1, 1) == "1 dimension"


def test_the_trace_names_the_weightiest_first_and_ends_with_relations(report):
    found = trace_rows(report, of(report, "overall"))
    shares = [row.share for row in found if row.share is not None]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(1.0)
    assert (found[-1].id, found[-1].share, found[-1].is_relation) == ("heights", None, True)
    assert {row.state for row in found if row.id == "guide"} == {"stop"}


def test_a_long_trace_is_cut_and_says_so_and_never_hides_what_is_in_doubt(report):
    rows = trace_rows(report, of(report, "overall"))
    assert shorten_trace(rows) == (rows, "")
    shown, words = shorten_trace(rows, 1)
    assert [row.id for row in shown] == [rows[0].id, "guide"]
    rest = sum(row.share or 0.0 for row in rows if row not in shown)
    assert (
        words
        == f"{len(rows) - 2} more, with {100 * rest:.0f} % of the variance together, are not shown here."
    )


def test_what_is_left_out_stands_in_the_trace_without_a_weight(tmp_path):
    folder = write_schedule(tmp_path)
    report = schedule_folder(folder, Options("without", ("guide",), "the vane", record=False))
    last = trace_rows(report, of(report, "overall"))[-1]
    assert (last.id, last.left_out, last.tested, last.share) == ("guide", True, ("-",) * 4, 0.0)


def test_an_address_leads_to_a_dimension_by_whatever_is_about_it(report):
    assert find_shown(report, "rise") == "rise"
    assert find_shown(report, "guide") == "overall"
    assert find_shown(report, "post-height") == "drum"
    assert find_shown(report, "heights") == "overall"
    assert find_shown(report, "nobody") == ""


def test_sizes_are_said_with_their_uncertainty_or_why_there_is_none(report):
    assert size_words(report, of(report, "crown")) == "crown is unknown: nothing measures crown."
    words = size_words(report, of(report, "drum"))
    assert "mm on the prototype, within" in words
    assert "A robust adjustment has" in words


def test_an_outlook_tells_before_and_after(report):
    size = Estimate(100.0, 1.0)
    table, sentence = outlook_blocks(Outlook((Moved("drum", size, None, size, None),), 0.001, None))
    assert table.rows == (("drum", "100.0(1.0)", "unknown", "100.0(1.0)", "unknown"),)
    assert sentence.text == "As large a disagreement by chance: now 0.10 %, then nothing is controlled."
    assert next(iter(outlook_blocks(Outlook((), None, None)))).text == "No size would move by it."


def test_features_are_compared_with_the_schedule_where_the_parts_were_checked(report):
    from dryfit.model.finding import MeasuredFeature

    drum = of(report, "drum")
    (unknown,) = model_blocks(drum, None)
    assert unknown.state == "not checked"
    measured = MeasuredFeature(
        id="post-height",
        kind="extent",
        parts=("post-1",),
        unit="mm",
        state="stop",
        reason="out of its limits",
        measured=200.0,
        nominal=Estimate(183.4, 0.4),
    )
    (line,) = model_blocks(drum, [measured])
    assert line.state == "stop"
    assert line.text == (
        "post-height: 200 mm in the mesh, 183.40(40) by the schedule, deviation +16.60; out of its limits."
    )
    assert list(model_blocks(of(report, "sill"), [measured])) == []
