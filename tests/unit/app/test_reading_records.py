"""Which readings count: corrections replace, withdrawals remove, nothing else is touched."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.app.reading_records import READING, Entry, reading_payload, readings_of
from dryfit.store.ledger import LedgerRecord


def records(*entries: Entry, kind: str = READING) -> list[LedgerRecord]:
    return [
        LedgerRecord(index + 1, f"2026-11-27T10:{index:02d}", kind, "0", reading_payload(entry), "", "", "")
        for index, entry in enumerate(entries)
    ]


def entry(
    value: float | None, corrects: int | None = None, machine: str = "tall", artefact: int = 1
) -> Entry:
    return Entry(
        machine,
        artefact,
        "outside-x",
        value,
        "caliper-300",
        21.5,
        corrects,
        is_withdrawn=value is None,
        by="ann",
    )


def counting(*entries: Entry) -> list[tuple[int, float]]:
    return [(item.record, item.value_mm) for item in readings_of(records(*entries), "tall", 1)]


def test_a_reading_keeps_all_that_was_recorded() -> None:
    (found,) = readings_of(records(entry(280.02)), "tall", 1)
    assert (found.record, found.at, found.machine, found.artefact) == (1, "2026-11-27T10:00", "tall", 1)
    assert (found.measure, found.value_mm, found.instrument) == ("outside-x", 280.02, "caliper-300")
    assert (found.temp_c, found.by, found.corrects, found.is_confirmed) == (21.5, "ann", None, False)


def test_a_correction_replaces_and_a_withdrawal_removes() -> None:
    assert counting(entry(1.0), entry(2.0), entry(1.5, corrects=1)) == [(2, 2.0), (3, 1.5)]
    assert counting(entry(1.0), entry(2.0), entry(None, corrects=1)) == [(2, 2.0)]


def test_a_correction_may_itself_be_corrected_or_withdrawn() -> None:
    assert counting(entry(1.0), entry(1.1, corrects=1), entry(1.2, corrects=2)) == [(3, 1.2)]
    assert counting(entry(1.0), entry(1.1, corrects=1), entry(None, corrects=2)) == []


def test_of_two_benches_that_correct_the_same_reading_the_latest_counts_once() -> None:
    assert counting(entry(1.0), entry(1.1, corrects=1), entry(1.2, corrects=1)) == [(3, 1.2)]


def test_other_machines_and_artefacts_are_left_out() -> None:
    assert counting(entry(1.0, machine="desk"), entry(2.0, artefact=9), entry(3.0)) == [(3, 3.0)]
    assert readings_of(records(entry(1.0), kind="preflight"), "tall", 1) == ()


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["new", "correct", "withdraw"]), st.integers(0, 30)), max_size=30))
def test_no_story_of_corrections_loses_or_doubles_a_reading(story: list[tuple[str, int]]) -> None:
    """A plain model beside it: a table of values by the reading that each began as."""
    entries: list[Entry] = []
    table: dict[int, float | None] = {}
    began: dict[int, int] = {}
    for what, pick in story:
        number = len(entries) + 1
        if what == "new" or not began:
            entries.append(entry(float(number)))
            began[number] = number
            table[number] = float(number)
            continue
        named = sorted(began)[pick % len(began)]
        began[number] = began[named]
        value = float(number) if what == "correct" else None
        entries.append(entry(value, corrects=named))
        table[began[named]] = value
    assert sorted(value for _, value in counting(*entries)) == sorted(
        v for v in table.values() if v is not None
    )
