"""The words of the bench: order of repeats, digits of a spread, what is kept."""

import math

import pytest

from dryfit.app.reading_desk import Taken
from dryfit.calc.gauging import Component, combine
from dryfit.model.reading import Reading
from dryfit.view.gauge import budget_blocks, budget_plain
from dryfit.view.readings import left_line, ordinal, taken_line


def taken(record=7, count=3, of=5, apart=0.03, is_good=True):
    return Taken(Reading(record, "", "tall", 1, "x", 280.0, "caliper-300"), 1, count, of, apart, is_good)


def test_the_voice_of_the_bench():
    assert taken_line(taken()) == "  kept as record 7: third of five, 0.03 apart, good"
    assert taken_line(taken(count=1, apart=None, is_good=None)) == "  kept as record 7: first of five"
    assert taken_line(taken(apart=0.4, is_good=False)).endswith("0.4 apart, wide: read it once more")
    # more repeats than were planned are welcome, and counted
    assert taken_line(taken(count=6)).startswith("  kept as record 7: sixth of six")


@pytest.mark.parametrize(
    ("number", "word"),
    [(1, "first"), (10, "tenth"), (11, "11th"), (12, "12th"), (21, "21st"), (33, "33rd"), (112, "112th")],
)
def test_ordinals(number, word):
    assert ordinal(number) == word


def test_what_is_kept_when_a_sitting_is_broken_off():
    assert left_line([]) == "stopped; no reading was taken in this sitting"
    assert left_line([taken(7)]) == "stopped; 1 reading of this sitting kept (record 7)"
    assert left_line([taken(7), taken(8)]) == "stopped; 2 readings of this sitting kept (records 7 to 8)"


def test_infinite_degrees_of_freedom_are_no_json():
    budget = combine([Component("step", 0.01, "mm", 1.0, math.inf, False, "")])
    assert budget_plain(budget)["dof"] is None
    assert budget_plain(budget)["components"][0]["dof"] is None
    (table, total) = budget_blocks(budget)
    assert table.rows[0][4] == "inf"
    assert total.text == "Combined standard uncertainty 0.0100 mm, effective degrees of freedom inf."
