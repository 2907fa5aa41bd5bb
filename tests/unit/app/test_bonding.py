"""Gaps as they are typed, records of bonds and which of them count, lines before bonding in every state."""

from __future__ import annotations

import itertools

import pytest

from dryfit.app.bond_records import (
    BOND,
    DRY_FIT,
    HANDWORK,
    WITHDRAWS,
    bonded_with,
    bonds_of,
    dry_fits_of,
    gap_payload,
    gaps_that_count,
    read_built,
    work_payload,
    works_of,
    works_that_count,
)
from dryfit.app.bonding import BondRefused, read_gaps
from dryfit.app.remedy_report import RemedyRefused
from dryfit.app.remedying import read_work_minutes
from dryfit.base.errors import LedgerRefused
from dryfit.model.handwork import Bond, FaceWork, GapReading
from dryfit.store.ledger import LedgerRecord


def record(id: int, kind: str, **payload: object) -> LedgerRecord:
    return LedgerRecord(id, "2026-11-18T12:00:00Z", kind, 1, payload, "", "", "")


def bond_record(
    id: int, joint: str, first: str, second: str, prints: tuple[int, int] = (1, 2)
) -> LedgerRecord:
    gaps = gap_payload((GapReading(joint, 1, 0.1 * id, 0.02),))
    plain = {"joint": joint, "parts": [first, second], "prints": list(prints), "gaps": gaps}
    return record(id, BOND, **plain, done_at="", adhesive="", despite="", because="", by="")


def dry_record(id: int, joint: str, result: str = "goes") -> LedgerRecord:
    plain = {"joint": joint, "parts": ["a", "b"], "prints": [1, 2], "gaps": []}
    return record(id, DRY_FIT, **plain, result=result, note="", by="")


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["wide"], "is no gap"),
        (["1e"], "is no gap"),
        (["9=0.1"], "no contact 9"),
        (["0=0.1"], "no contact 0"),
        (["1=0.1", "1=0.2"], "two gaps"),
        (["0.1", "1=0.2"], "together"),
        (["400"], "a gap of 400"),
    ],
)
def test_gaps_that_cannot_be(words: list[str], what: str) -> None:
    with pytest.raises(BondRefused, match=what):
        read_gaps("j", words, 0.02, 4)
    with pytest.raises(BondRefused, match="standard uncertainty"):
        read_gaps("j", ["0.1"], -1.0, 4)


def test_gaps_are_read_by_contact_or_as_a_mean() -> None:
    assert read_gaps("j", ["2=0.15", "1 = 0.1"], 0.02, 4) == (
        GapReading("j", 2, 0.15, 0.02),
        GapReading("j", 1, 0.1, 0.02),
    )
    assert read_gaps("j", ["0.12"], 0.01, 4) == (GapReading("j", 0, 0.12, 0.01),)
    assert read_gaps("j", [], 0.01, 4) == ()


def test_what_counts_does_not_hang_on_the_order_of_the_records() -> None:
    records = [bond_record(1, "a:b", "a", "b"), bond_record(2, "b:c", "b", "c", (2, 3)), dry_record(3, "a:b")]
    held = {
        frozenset((item.joint, item.record) for item in bonds_of(some))
        for some in itertools.permutations(records)
    }
    assert held == {frozenset({("a:b", 1), ("b:c", 2)})}


def test_the_latest_record_of_a_joint_counts_and_a_withdrawn_one_does_not() -> None:
    records = [dry_record(1, "a:b", "does not go"), dry_record(2, "a:b")]
    assert [item.result for item in dry_fits_of(records)] == ["goes"]
    records.append(record(3, DRY_FIT, **{WITHDRAWS: 2, "by": ""}))
    assert [item.result for item in dry_fits_of(records)] == ["does not go"]
    built = read_built([*records, bond_record(4, "a:b", "a", "b")])
    assert built.bond("a:b").record == 4  # type: ignore[union-attr]
    assert built.dry_fit("a:b").record == 1  # type: ignore[union-attr]
    assert built.bond("b:c") is None


def test_gaps_and_works_count_for_the_prints_that_they_were_done_on() -> None:
    bonds = bonds_of([bond_record(1, "a:b", "a", "b"), bond_record(2, "g:a", "ground", "a", (0, 1))])
    assert [gap.joint for gap in gaps_that_count(bonds, {"a": 1, "b": 2})] == ["a:b", "g:a"]
    assert [gap.joint for gap in gaps_that_count(bonds, {"a": 1, "b": 5})] == ["g:a"]
    work = FaceWork(0, "a:b", "a", 1, ((0.0, 0.0, 0.0),), (0.2,), 0.05)
    works = works_of([record(9, HANDWORK, **work_payload([work], "Ann", remedy=8))])
    assert works == (FaceWork(9, "a:b", "a", 1, ((0.0, 0.0, 0.0),), (0.2,), 0.05),)
    assert works_that_count(works, {"a": 1}) == works
    assert works_that_count(works, {"a": 2}) == ()


def test_what_is_bonded_together_is_lost_together() -> None:
    bonds = tuple(
        Bond(n, "", f"{a}:{b}", (a, b), (1, 2), "", "", ())
        for n, (a, b) in enumerate((("ground", "a"), ("a", "b"), ("b", "c"), ("ground", "d")), 1)
    )
    assert bonded_with(bonds, "a") == ("b", "c")
    assert bonded_with(bonds, "d") == ()


def test_a_record_that_cannot_be_read_is_refused() -> None:
    for kind, read in ((BOND, bonds_of), (DRY_FIT, dry_fits_of)):
        with pytest.raises(LedgerRefused, match="cannot be read"):
            read([record(1, kind, joint="a:b")])
    with pytest.raises(LedgerRefused, match="handwork"):
        works_of([record(1, HANDWORK, works=[{}])])


def test_minutes_by_kind_of_work() -> None:
    assert read_work_minutes(["sand=30", "bond line=4"]) == {"sand": 30.0, "bond line": 4.0}
    for word in ("sand", "sand=long", "polish=3"):
        with pytest.raises(RemedyRefused, match="minutes"):
            read_work_minutes([word])
