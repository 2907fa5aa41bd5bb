"""Schema steps of the document, with invented ones: only version 1 exists so far."""

import pytest

from dryfit.store.migrations import SCHEMA, migrate


def rename_colour(raw):
    return {key.replace("color", "colour"): value for key, value in raw.items()}


def add_empty(raw):
    return {**raw, "extra": []}


STEPS = {1: rename_colour, 2: add_empty}


def test_steps_follow_one_another_and_leave_the_input():
    raw = {"schema": 1, "color": "red"}
    assert migrate(raw, 1, 3, STEPS) == {"schema": 3, "colour": "red", "extra": []}
    assert migrate({"schema": 2}, 2, 3, STEPS) == {"schema": 3, "extra": []}
    assert raw == {"schema": 1, "color": "red"}


def test_the_newest_needs_no_step():
    raw = {"schema": SCHEMA}
    assert migrate(raw, SCHEMA) is raw


def test_newer_and_missing_steps_are_no_silent_success():
    with pytest.raises(ValueError, match="newer"):
        migrate({}, 4, 3, STEPS)
    with pytest.raises(KeyError):
        migrate({}, 1, 4, STEPS)
