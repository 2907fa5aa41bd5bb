"""Parts as built in words and marks: every state is told apart without its colour, pictures share one scale."""

import dataclasses

import pytest

from dryfit.app.as_built_page import BOARD_STATES
from dryfit.app.links import Link
from dryfit.model.forecast import CharacteristicForecast
from dryfit.model.part import Bed
from dryfit.model.printing import Print
from dryfit.view.as_built_page import (
    STATE_OF_BOARD,
    WASHES,
    built_figure,
    figure_words,
    meaning_of,
    print_line,
    wash_entries,
)
from dryfit.view.changes_page import KIND_WASHES, sorted_pairs
from dryfit.view.sheet_limits import limits_geometry, limits_picture


def forecast(predicted=0.1, std=0.05, low=-0.2, high=0.4):
    return CharacteristicForecast(
        "gap", "gap", "mm", 0.0, predicted, std, -1.0, 1.0, low, high, 0.01, -1.0, 1.0, 0.0, ()
    )


def test_every_state_has_a_shape_and_a_word_of_its_own():
    shapes = [WASHES[state].shape for state in BOARD_STATES]
    assert len(set(shapes)) == len(shapes)
    assert all(meaning_of(state) for state in BOARD_STATES)
    assert set(STATE_OF_BOARD) == set(BOARD_STATES)
    looks = [(entry["colour"], entry["hatch"]) for entry in wash_entries()]
    assert len(set(looks)) == len(looks)
    kinds = [(wash.shape, wash.hatch) for wash in KIND_WASHES.values()]
    assert len(set(kinds)) == len(kinds)


def test_the_figure_of_the_link():
    assert built_figure(Link("as built", "pass", 5, 27, measured=3)) == "5 of 27 printed, 3 measured"


def test_a_print_in_one_line():
    made = Print(7, "2026-11-20T08:00:00Z", "rib", "tall", "pla", Bed((0.0, 0.0, 0.0)), "failed", "", "")
    made = dataclasses.replace(
        made, failed_at_mm=31.0, because="came off the bed", hours=2.5, spool="white 3", release="A"
    )
    assert print_line(made) == (
        "2026-11-20: record 7, rib on tall, failed at 31 mm (came off the bed), 2.5 h, spool white 3, release A"
    )


def test_two_pictures_to_one_scale_put_equal_values_at_equal_places():
    wide, narrow = forecast(0.3, 0.2), forecast(0.1, 0.02)
    one, other = limits_geometry(wide, 52.0, 13.0, narrow), limits_geometry(narrow, 52.0, 13.0, wide)
    for value in (-0.2, 0.0, 0.4, 0.9):
        assert one.to_x(value) == pytest.approx(other.to_x(value))
    alone = limits_geometry(narrow, 52.0, 13.0)
    assert alone.to_x(0.9) != pytest.approx(other.to_x(0.9))


def test_a_picture_says_what_it_is_told_to():
    assert "<title>read 3 mm</title>" in limits_picture(forecast(), 0.05, 52.0, 13.0, said="read 3 mm")
    assert "outside: 1.0 %" in limits_picture(forecast(), 0.05, 52.0, 13.0)


def test_pairs_are_sorted_by_what_is_shown_of_them():
    same, moved, lone = (forecast(), forecast(0.1000001)), (forecast(), forecast(0.3)), (None, forecast())
    assert sorted_pairs([same, moved, lone]) == ([moved], [same], [lone])
    assert figure_words(forecast()).endswith("outside 1.0 %")
