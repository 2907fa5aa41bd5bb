"""Which marks are probably wrong: set aside and let back in, one at a time, at a stated level for the family."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import BoolArray
from dryfit.calc.photo.joint import JointAdjustment, PhotoProblem
from dryfit.calc.photo.joint_adjust import adjust_photos
from dryfit.calc.photo.joint_start import Start, find_cameras
from dryfit.calc.photo.records import chi_square_limit


@dataclass(frozen=True, slots=True)
class SuspectMark:
    """A mark that is probably wrong.

    mark        its row;  photo, point: which it is
    distance_px from where the other marks put it
    test        chi-square with two degrees of freedom without blunders; NaN where its point hangs on it
    alike       rows of other marks that the evidence cannot tell from it: of a point seen on two pictures only
    """

    mark: int
    photo: int
    point: int
    distance_px: float
    test: float
    alike: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class MarkSearch:
    """suspects: the gravest first. without: the adjustment without them. critical: limit of the test values."""

    suspects: tuple[SuspectMark, ...]
    without: JointAdjustment
    critical: float


def search_marks(
    problem: PhotoProblem, start: Start | None = None, level: float = 0.05, most: int = 10
) -> MarkSearch:
    """Name single wrong marks; nothing is rejected, the adjustment without them is shown beside.

    level : probability that any mark is suspected where none is wrong, by Bonferroni's inequality
    most : suspects at most
    Raises ComputationRefused as adjust_photos does.
    Source: data snooping, Baarda 1968, for points in two dimensions (memory). The search begins from robust cameras,
    so that one wrong mark does not hide behind others.
    """
    begun = find_cameras(problem) if start is None else start
    critical = chi_square_limit(level / len(problem.marks_px), 2)
    used = _without_lonely(problem, ~begun.doubtful)
    readmitted: set[int] = set()
    while True:
        found = adjust_photos(problem, begun, used)
        begun = Start(found.network if not np.isnan(found.network.points_mm).any() else begun.network,
                      begun.mirrored, begun.tests, begun.doubtful, begun.scale)  # fmt: skip
        tests = np.where(np.isnan(found.normalised), 0.0, found.normalised)
        back = np.flatnonzero(~used & (tests <= critical) & ~np.isnan(found.normalised))
        back = np.array([each for each in back if each not in readmitted], dtype=np.int64)
        worst = int(np.where(used, tests, 0.0).argmax())
        if len(back):
            used[back] = True
            readmitted.update(back.tolist())
        elif tests[worst] > critical and used[worst] and int((~used).sum()) < most + 10:
            used[worst] = False
            readmitted.add(worst)
            used = _without_lonely(problem, used)
        else:
            return MarkSearch(_suspects(problem, found, used)[:most], found, critical)


def _without_lonely(problem: PhotoProblem, used: BoolArray) -> BoolArray:
    """A mark that is left alone with its point determines nothing."""
    kept: BoolArray = used & problem.is_enough(used)[problem.point]
    return kept


def _suspects(problem: PhotoProblem, found: JointAdjustment, used: BoolArray) -> tuple[SuspectMark, ...]:
    suspects: list[SuspectMark] = []
    done: set[int] = set()
    for mark in np.flatnonzero(~used):
        if mark in done:
            continue
        same = np.flatnonzero(~used & (problem.point == problem.point[mark]) & np.isnan(found.normalised))
        alike = tuple(int(each) for each in same if each != mark)
        done.update(alike)
        distance = float(np.linalg.norm(found.residual_px[mark]))
        suspects.append(
            SuspectMark(
                int(mark), int(problem.photo[mark]), int(problem.point[mark]), distance,
                float(found.normalised[mark]), alike,
            )
        )  # fmt: skip
    return tuple(sorted(suspects, key=lambda each: -np.inf if np.isnan(each.test) else -each.test))
