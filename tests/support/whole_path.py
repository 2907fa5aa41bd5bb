"""From marks to sizes many times over: how often intervals hold, and blunders are found. All figures are invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.app.photo_measuring import measure_photos
from dryfit.base.arrays import Array
from support.at_hand import DIMENSIONS, TRUE_MM, blunders, name_of, whole_path

NORMAL_95 = 1.959963984540054
POINTS = 36


@dataclass(frozen=True, slots=True)
class Frequencies:
    """runs; inside (7,): of each size in its 95 % interval; mirrored, wrong, more: runs with the right mirrored
    photograph alone, with the wrong mark named, with further suspects; used: with a size that the schedule takes."""

    runs: int
    inside: Array
    mirrored: int
    wrong: int
    more: int
    used: int


def frequencies(runs: int) -> Frequencies:
    inside = np.zeros(len(DIMENSIONS))
    mirrored = wrong = more = used = 0
    for seed in range(runs):
        photo, mark = blunders(seed)
        evidence = measure_photos(whole_path(seed), frozenset(DIMENSIONS))
        lines = {line.dimension: line for line in evidence.lines}
        assert set(lines) == set(DIMENSIONS)
        for place, dimension in enumerate(DIMENSIONS):
            line = lines[dimension]
            inside[place] += abs(line.value_mm - TRUE_MM[dimension]) < NORMAL_95 * line.std_mm
        flipped = [item.photo for item in evidence.suspects if item.where.startswith("photo ")]
        marks = [item for item in evidence.suspects if item.where.startswith("point ")]
        here, point = divmod(mark, POINTS)
        mirrored += flipped == [f"photo{photo}"]
        wrong += any(item.photo == f"photo{here}" and name_of(point) in item.where for item in marks)
        more += len(marks) > 1
        used += any(line.is_used for line in evidence.lines)
    return Frequencies(runs, inside, mirrored, wrong, more, used)
