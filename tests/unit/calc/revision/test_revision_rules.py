"""Revision letters, unit slips, and what becomes of a printed part."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.calc.revision import ALPHABET, Bench, find_unit_factor, judge_fate, letter_rank, next_letter


def test_letters_that_are_read_wrongly_are_left_out() -> None:
    given, letter = [], ""
    for _ in range(22):
        letter = next_letter(letter)
        given.append(letter)
    assert "".join(given[:20]) == ALPHABET == "ABCDEFGHJKLMNPRTUVWY"
    assert given[20:] == ["AA", "AB"]


def test_ranks_count_on_past_the_alphabet() -> None:
    assert [letter_rank(text) for text in ("A", "Y", "AA", "AY", "BA", "YY", "AAA")] == [
        1, 20, 21, 40, 41, 420, 421,
    ]  # fmt: skip
    assert next_letter("YY") == "AAA"


@pytest.mark.parametrize("text", ["", "I", "AO", "a", "1", "Ä"])
def test_other_texts_are_no_letters(text: str) -> None:
    with pytest.raises(ValueError, match="no revision letter"):
        letter_rank(text)


SIZES = np.array([412.0, 388.0, 51.0])


@pytest.mark.parametrize(
    ("factor", "units"),
    [
        (1000.0, ("m", "mm")),
        (0.001, ("mm", "m")),
        (25.4, ("in", "mm")),
        (1 / 25.4, ("mm", "in")),
        (10.0, ("cm", "mm")),
    ],
)
def test_a_factor_between_units_is_a_slip(factor: float, units: tuple[str, str]) -> None:
    found = find_unit_factor(SIZES, SIZES[[2, 0, 1]] * factor)  # turned on the way
    assert found is not None
    assert found[0] == pytest.approx(factor)
    assert found[1:] == units


@pytest.mark.parametrize("factor", [1.0, 1.05, 2.0, 24.0])
def test_other_factors_are_none(factor: float) -> None:
    assert find_unit_factor(SIZES, SIZES * factor) is None


def test_a_shape_that_changed_its_proportions_is_no_slip() -> None:
    assert find_unit_factor(SIZES, SIZES * [1000.0, 1000.0, 1010.0]) is None


BENCH = Bench(same_mm=0.02, sand_mm=0.5, fill_mm=0.3, reach_mm=20.0)


@pytest.mark.parametrize(
    ("added", "removed", "fate"),
    [
        (0.0, 0.0, "good"),
        (0.02, 0.02, "good"),
        (0.0, 0.5, "rework"),
        (0.3, 0.0, "rework"),
        (0.3, 0.5, "rework"),
        (0.31, 0.0, "lost"),
        (0.0, 0.51, "lost"),
        (0.31, 0.51, "lost"),
    ],
)
def test_fates_go_by_what_the_bench_can_do(added: float, removed: float, fate: str) -> None:
    assert judge_fate(BENCH, added, removed)[0] == fate


def test_what_the_machine_does_not_repeat_is_no_change() -> None:
    assert judge_fate(BENCH, 0.15, 0.15, scatter_mm=0.16)[0] == "good"
    assert judge_fate(BENCH, 0.15, 0.15, scatter_mm=0.14)[0] == "rework"


def test_half_of_the_shell_must_stay() -> None:
    assert judge_fate(BENCH, 0.0, 0.4, shell_mm=0.8)[0] == "rework"
    fate, words = judge_fate(BENCH, 0.0, 0.41, shell_mm=0.8)
    assert fate == "lost"
    assert "0.8 mm shell" in words


@pytest.mark.parametrize("is_reached", [False, None])
def test_what_no_block_reaches_is_not_sanded(is_reached: bool | None) -> None:
    assert judge_fate(BENCH, 0.0, 0.4, is_reached=is_reached)[0] == "lost"
    assert judge_fate(BENCH, 0.2, 0.0, is_reached=is_reached)[0] == "rework"


def test_the_words_name_the_deeds() -> None:
    assert judge_fate(BENCH, 0.2, 0.4)[1] == "sand 0.4 mm off and fill or shim 0.2 mm"


def test_a_bench_does_nothing_negative() -> None:
    with pytest.raises(ValueError, match="not negative"):
        Bench(sand_mm=-0.1)
