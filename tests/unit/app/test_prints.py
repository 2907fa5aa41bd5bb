import pytest

from dryfit.app.print_records import PRINT, prints_of
from dryfit.app.prints import (
    Answers,
    PrintRefused,
    correct_print,
    enter_print,
    list_prints,
    read_angles,
    withdraw_print,
)
from dryfit.base.errors import LedgerRefused, ReferenceUnknown
from dryfit.store.ledger import LEDGER_NAME, open_ledger
from support.projects import write_project

GOOD = Answers(result="good", hours=31.0, grams=800.0, ended="2026-11-20")


@pytest.fixture
def folder(tmp_path):
    return write_project(tmp_path)


def part_of(folder) -> str:
    return list_prints(folder).not_printed[0]


def test_a_print_takes_from_the_document_what_is_not_stated(folder):
    part = part_of(folder)
    report = enter_print(folder, part, GOOD)
    made = report.entered
    assert (made.part, made.result, made.hours, made.ended) == (
        part,
        "good",
        31.0,
        "2026-11-20T12:00:00.000000Z",
    )
    assert made.machine
    assert made.material
    assert len(made.shape_sha256) == 64
    assert part not in report.not_printed


def test_a_failed_print_leaves_the_part_to_be_printed(folder):
    part = part_of(folder)
    report = enter_print(
        folder, part, Answers(result="failed", failed_at_mm=12.5, because="came off the bed")
    )
    assert part in report.not_printed
    assert report.prints[0].failed_at_mm == 12.5


def test_a_correction_replaces_and_keeps_the_number(folder):
    part = part_of(folder)
    first = enter_print(folder, part, GOOD).entered
    report = correct_print(folder, first.record, Answers(hours=29.0))
    assert [(item.record, item.hours, item.grams) for item in report.prints] == [(first.record, 29.0, 800.0)]
    again = correct_print(folder, first.record, Answers(result="failed", because="warped", failed_at_mm=3.0))
    assert [(item.record, item.result, item.hours) for item in again.prints] == [
        (first.record, "failed", 29.0)
    ]


def test_a_withdrawn_print_never_counts_again(folder):
    part = part_of(folder)
    first = enter_print(folder, part, GOOD).entered
    assert withdraw_print(folder, first.record).prints == ()
    with pytest.raises(ReferenceUnknown, match="no print that counts"):
        correct_print(folder, first.record, Answers(hours=1.0))


def test_prints_stand_in_the_order_in_which_they_were_printed(folder):
    part = part_of(folder)
    later = enter_print(folder, part, Answers(result="good", ended="2026-11-22")).entered
    earlier = enter_print(folder, part, Answers(result="good", ended="2026-11-21")).entered
    assert [item.record for item in list_prints(folder).prints] == [earlier.record, later.record]


@pytest.mark.parametrize(
    ("answers", "what"),
    [
        (Answers(), "what became of the print"),
        (Answers(result="fine"), "no result"),
        (Answers(result="failed"), "why it failed"),
        (Answers(result="good", failed_at_mm=3.0), "no height"),
        (Answers(result="failed", because="x", failed_at_mm=9000.0), "not on machine"),
        (Answers(result="good", hours=-1.0), "hours"),
        (Answers(result="good", grams=float("nan")), "grams"),
        (Answers(result="good", started="2026-11-20", ended="2026-11-19"), "ended before"),
        (Answers(result="good", ended="yesterday"), "no date"),
        (Answers(result="good", bed=(0.0, float("inf"), 0.0)), "no finite angles"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_recorded(folder, answers, what):
    with pytest.raises(PrintRefused, match=what):
        enter_print(folder, part_of(folder), answers)
    assert list_prints(folder).prints == ()


def test_unknown_names_are_refused(folder):
    with pytest.raises(ReferenceUnknown, match="no part"):
        enter_print(folder, "nothing", GOOD)
    with pytest.raises(ReferenceUnknown, match="no machine"):
        enter_print(folder, part_of(folder), Answers(result="good", machine="other"))
    with pytest.raises(ReferenceUnknown, match="no material"):
        enter_print(folder, part_of(folder), Answers(result="good", material="other"))


def test_a_record_of_another_shape_is_refused(folder):
    with open_ledger(folder / LEDGER_NAME) as ledger:
        ledger.append(PRINT, {"part": "x"})
        with pytest.raises(LedgerRefused, match="cannot be read"):
            prints_of(ledger.records())


def test_angles():
    assert read_angles("0, 0,90") == (0.0, 0.0, 90.0)
    with pytest.raises(PrintRefused):
        read_angles("0,90")
