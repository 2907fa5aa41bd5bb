"""The order in which a gauge study shows its parts."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.app.gauge_records import (
    GAUGE_READING,
    GaugePlan,
    Place,
    gauge_readings,
    reading_payload,
    withdrawal_payload,
)
from dryfit.store.ledger import LedgerRecord


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 3), st.integers(2, 8), st.integers(2, 5), st.integers(0, 2**31))
def test_everybody_reads_every_part_equally_often_and_none_twice_running(
    people: int, parts: int, trials: int, seed: int
) -> None:
    names = tuple(f"p{k}" for k in range(people))
    plan = GaugePlan(1, "caliper-300", names, tuple(str(k + 1) for k in range(parts)), trials, seed)
    order = plan.order()
    assert len(set(order)) == len(order) == people * parts * trials
    for name in names:
        own = [place.part for place in order if place.person == name]
        assert all(a != b for a, b in pairwise(own))
    assert order == plan.order()  # the same when the study goes on another day


def test_the_order_is_shuffled() -> None:
    plans = [GaugePlan(1, "c", ("",), tuple("123456789"), 2, seed) for seed in range(5)]
    firsts = {tuple(place.part for place in plan.order()[:9]) for plan in plans}
    assert len(firsts) == 5


def record(id: int, payload: dict) -> LedgerRecord:
    return LedgerRecord(id, "", GAUGE_READING, "0", payload, "", "", "")


def test_what_was_taken_back_does_not_count_and_a_place_counts_once() -> None:
    here, there = Place("", "1", 1), Place("", "2", 1)
    held = [
        record(2, reading_payload(1, here, 40.0)),
        record(3, withdrawal_payload(1, 2)),
        record(4, reading_payload(1, there, 80.0)),
        record(5, reading_payload(1, there, 80.1)),  # another bench was a moment later
        record(6, reading_payload(9, here, 7.0)),
    ]
    assert [(item.record, item.value_mm) for item in gauge_readings(held, 1)] == [(4, 80.0)]
