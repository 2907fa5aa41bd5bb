"""A portal of which parts are printed and read, for the sheets of the workbench; all of it invented."""

from __future__ import annotations

from pathlib import Path

from dryfit.app.as_built_page import Board, gather_board
from dryfit.app.inspecting import Proposed
from dryfit.app.live import LiveProject
from dryfit.app.prints import Answers, enter_print
from dryfit.app.reading_desk import open_desk
from support.projects import document, write_project

# The length of the lintel has limits of its own, so that a reading of it is accepted or not.
FEATURE = """
[[feature]]
id = "lintel-length"
kind = "extent"
part = "lintel"
direction = [1, 0, 0]
nominal_mm = 200.0
deviations_mm = [-0.6, 0.6]
"""


def write_printed(folder: Path, *parts: str) -> Path:
    """A portal of which some parts came off the bed."""
    project = write_project(folder, document() + FEATURE)
    for part in parts:
        enter_print(project, part, Answers(result="good", hours=4.0, grams=120.0, ended="2026-11-20"))
    return project


def board_of(project: Path) -> Board:
    """The board of a project folder."""
    return gather_board(LiveProject(project).load(record=False))


def proposed(project: Path, part: str) -> Proposed:
    """What is worth reading most of a part."""
    item = board_of(project).part(part)
    assert item is not None
    assert item.plan is not None
    return item.plan.readings[0]


def number_of(project: Path, part: str, measure: str) -> int:
    """Number of a measure of a part on its sheet."""
    with open_desk(project, part) as desk:
        return desk.find_measure(measure).number


def read_part(project: Path, part: str, number: int, *values_mm: float) -> tuple[int, ...]:
    """Readings of a measure of a part; their records."""
    with open_desk(project, part) as desk:
        desk.temp_c = 20.0
        step = desk.step_for(desk.find_measure(str(number)))
        return tuple(desk.record_value(step, value, True).reading.record for value in values_mm)
