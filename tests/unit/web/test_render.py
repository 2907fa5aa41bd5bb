"""What a sheet says and how its figures line up; what is drawn is left to the journeys."""

import ast
from pathlib import Path

import pytest

import dryfit.web
from dryfit.app.live import LiveProject
from dryfit.app.ready import check_opened
from dryfit.base.errors import ReferenceUnknown
from dryfit.view.forecast import forecast_blocks
from dryfit.web.commands import run_command, writes_document
from dryfit.web.render import column_widths, limits_svg, split_number
from dryfit.web.words import bar_lengths, link_figure, next_steps, row_words
from support.projects import write_project

CELLS = [
    "3.14(43) mm",
    "-0.021(67) mm",
    "1120.235(92) mm",
    "< 0.01 %",
    "> 99.99 %",
    "529 to 531",
    "at most 1.8",
    "-",
]


@pytest.fixture(scope="module")
def snapshot(tmp_path_factory):
    return LiveProject(write_project(tmp_path_factory.mktemp("portal"))).load()


@pytest.mark.parametrize("words", CELLS)
def test_a_cut_figure_keeps_its_words(words):
    assert "".join(split_number(words)) == words


def test_figures_are_cut_before_the_decimal_point():
    assert split_number("1120.235(92) mm") == ("1120", ".235(92) mm")
    assert split_number("> 99.99 %") == ("> 99", ".99 %")
    assert split_number("2 of 3") == ("2", " of 3")
    assert split_number("not checked") == ("not checked", "")


def test_a_column_is_as_wide_as_its_widest_halves():
    assert column_widths(["3.14", "1120.2"]) == (4, 3)
    assert column_widths([]) == (0, 0)


def test_rows_hold_the_cells_of_the_table_of_the_command_line(snapshot):
    table = forecast_blocks(snapshot.report)[1]
    assert [row_words(item) for item in snapshot.report.characteristics] == list(table.rows)


def test_the_gravest_steps_come_first_and_name_what_is_spoiled(snapshot):
    hold = check_opened(snapshot.opened, snapshot.chain, snapshot.report)
    steps = next_steps(hold, snapshot.report)
    assert steps[0].state == "stop"
    assert "plumb" in steps[0].what
    assert "lean of the upright toward X (tall)" in steps[0].what
    assert steps[0].target == "/fit?show=plumb"
    order = [("stop", "not checked", "caution").index(step.state) for step in steps]
    assert order == sorted(order)


def test_every_stop_and_gap_of_the_hold_point_is_among_the_steps(snapshot):
    hold = check_opened(snapshot.opened, snapshot.chain, snapshot.report)
    said = " ".join(step.what for step in next_steps(hold, snapshot.report))
    for check in hold.checks:
        if check.state != "pass":
            assert check.subject in said


def test_shifts_of_no_account_have_short_bars(snapshot):
    for item in snapshot.report.characteristics:
        for (shift, share), cause in zip(bar_lengths(item), item.contributions, strict=True):
            assert 0.0 <= shift <= 1.0
            assert share == cause.variance_share
            assert shift * item.std <= abs(cause.mean_shift) * (1 + 1e-12)


def test_the_picture_says_in_words_what_it_shows(snapshot):
    item = snapshot.report.characteristics[0]
    assert f"limits {row_words(item)[2]} mm" in limits_svg(item, snapshot.report.risk)


def test_the_worst_characteristic_is_the_figure_of_the_fit(snapshot):
    from dryfit.app.links import report_links

    link = report_links(snapshot.opened, snapshot.report).link("fit")
    assert link_figure(link).startswith("plumb ")


@pytest.mark.parametrize(
    "words", ["", "paint", "forecast --paint", 'forecast --why "open', "ready --before", "since 1 2"]
)
def test_a_line_that_is_no_command_is_refused_in_three_parts(tmp_path, words):
    with pytest.raises(ReferenceUnknown) as caught:
        run_command(tmp_path, words, lambda done, total: None)
    assert caught.value.what
    assert caught.value.do


def test_commands_that_may_write_are_known():
    assert writes_document("joints --accept all")
    assert writes_document("dryfit orient --write")
    assert not writes_document("joints --look")
    assert not writes_document("forecast --what-if tall.skew_xz_deg=0")


def test_pages_do_no_arithmetic():
    """No power, remainder or division in a page: figures come from app and view."""
    for file in (Path(dryfit.web.__file__).parent / "pages").glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text())):
            if isinstance(node, ast.BinOp):
                assert not isinstance(node.op, ast.Pow | ast.Mod | ast.Div | ast.Mult), (
                    f"{file.name}:{node.lineno}"
                )
