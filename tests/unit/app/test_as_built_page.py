"""The board of parts as built: states, what was read, the link of the chain, and the forms."""

import pytest

from dryfit.app.as_built_page import built_link, gather_board, read_print_form, readable_parts
from dryfit.app.bonding import enter_bond, enter_dry_fit
from dryfit.app.links import Link
from dryfit.app.live import LiveProject
from dryfit.app.machine_page import read_marks
from dryfit.app.part_bench import AtHand
from dryfit.app.prints import Answers, PrintRefused, enter_print
from dryfit.app.reading import ReadOptions, decide_one
from support.at_the_bench import board_of, number_of, proposed, read_part, write_printed


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    folder = write_printed(tmp_path_factory.mktemp("board") / "portal", "lintel", "post-1")
    enter_print(folder, "base", Answers(result="failed", because="warped", failed_at_mm=7.0))
    first = proposed(folder, "lintel")
    read_part(folder, "lintel", first.number, first.expected_mm, first.expected_mm + 0.02)
    return folder


def test_every_part_stands_in_one_state(project):
    board = board_of(project)
    assert {item.id: item.state for item in board.parts}["base"] == "failed"
    assert board.part("post-1").state == "printed"
    assert board.part("post-2").state == "not printed"
    assert board.part("lintel").state in ("accepted", "measured", "cannot tell")
    assert board.part("nobody") is None
    assert sum(len(board.of(item.state)) > 0 for item in board.parts) == len(board.parts)


def test_a_reading_is_shown_beside_what_was_expected_of_it(project):
    first, second = board_of(project).part("lintel").readings
    assert second.value_mm - first.value_mm == pytest.approx(0.02)
    assert first.expected_mm == pytest.approx(first.value_mm, abs=0.05)
    assert first.number == second.number


def test_what_can_be_read_is_found_once(project):
    snapshot = LiveProject(project).load(record=False)
    at_hand = AtHand(snapshot.opened)
    board = gather_board(snapshot, at_hand)
    plan = board.part("lintel").plan
    found = at_hand.measures_of(snapshot.chain, "lintel")
    assert {row.id for row in (*plan.readings, *plan.done)} <= {item.measure.id for item in found}
    assert at_hand.measures_of(snapshot.chain, "lintel") is found


def test_the_link_counts_printed_and_measured(project):
    snapshot = LiveProject(project).load(record=False)
    link = built_link(snapshot)
    assert (link.good, link.of, link.measured, link.state) == (2, 4, 1, "not checked")
    assert readable_parts(snapshot) == ("post-1", "lintel")
    assert built_link(None) == Link("as built")


def test_a_reading_out_of_its_limits_rejects_the_part_and_leaving_it_out_frees_it(tmp_path):
    folder = write_printed(tmp_path / "portal", "lintel")
    (record,) = read_part(folder, "lintel", number_of(folder, "lintel", "lintel-length"), 202.0)
    assert board_of(folder).part("lintel").state == "rejected"
    decide_one(folder, "lintel", record, False, "the jaws were tilted", ReadOptions())
    lintel = board_of(folder).part("lintel")
    assert lintel.state == "printed"
    assert lintel.readings[0].left_out == "the jaws were tilted"
    decide_one(folder, "lintel", record, True, "it is so", ReadOptions())
    lintel = board_of(folder).part("lintel")
    assert lintel.state == "rejected"
    assert lintel.readings[0].kept == "it is so"


def test_relearning_gives_what_loading_anew_gives(tmp_path):
    folder = write_printed(tmp_path / "portal", "lintel")
    live = LiveProject(folder)
    before = live.load(record=False)
    marks = read_marks(folder)
    first = proposed(folder, "lintel")
    read_part(folder, "lintel", first.number, first.expected_mm + 0.05)
    assert read_marks(folder).built > marks.built
    after = live.relearn(record=False)
    assert after.opened is before.opened
    assert live.snapshot is after
    fresh = LiveProject(folder).load(record=False)
    assert after.report.characteristics == fresh.report.characteristics
    assert after.report.characteristics != before.report.characteristics
    assert after.report.prior
    assert not before.report.prior


def test_a_bonded_part_is_so_until_it_is_printed_again(tmp_path):
    folder = write_printed(tmp_path / "portal", "base", "post-1")
    joint = next(row for row in board_of(folder).part("post-1").joints if "base" in row)
    enter_dry_fit(folder, joint, "goes")
    enter_bond(folder, joint, despite="a trial")
    board = board_of(folder)
    assert board.part("post-1").state == board.part("base").state == "bonded"
    enter_print(folder, "post-1", Answers(result="good"))
    assert board_of(folder).part("post-1").state == "printed"


def test_the_form_of_a_print_is_read_or_refused():
    typed = {"result": "failed", "hours": " 4.5", "because": "came off", "bed": "0,0,90", "grams": ""}
    answers = read_print_form(typed)
    assert (answers.result, answers.hours, answers.grams, answers.bed) == (
        "failed",
        4.5,
        None,
        (0.0, 0.0, 90.0),
    )
    with pytest.raises(PrintRefused, match="is no number"):
        read_print_form({"result": "good", "hours": "four"})
