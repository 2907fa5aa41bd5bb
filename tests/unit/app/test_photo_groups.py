"""Known places and straight lines in a joint adjustment of photographs, and groups that hang together partly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dryfit.app.photo_arrays import joint_input, photo_arrays
from dryfit.app.photo_groups import group_photos, sets_of
from dryfit.app.photo_measuring import measure_photos
from dryfit.calc.photo import adjust_photos, project
from dryfit.model.photo import MarkedLine
from support.at_hand import DIMENSIONS, TRUE_MM, at_hand_of
from support.photographs import BUILDING, LENS, POSES, marked

SURVEYED = (0, 3, 21, 24, 29, 31)


def surveyed(seed: int = 3, std_mm: float = 5.0) -> dict[int, tuple[np.ndarray, float]]:
    draw = np.random.default_rng(seed)
    return {point: (BUILDING[point] + std_mm * draw.normal(size=3), std_mm) for point in SURVEYED}


def test_known_places_alone_give_scale_and_frame() -> None:
    problem = marked(np.random.default_rng(2), lengths=())
    evidence = measure_photos(at_hand_of(problem, surveyed()), frozenset(DIMENSIONS))
    assert not evidence.not_used
    lines = {line.dimension: line for line in evidence.lines}
    assert set(lines) == set(DIMENSIONS)
    for dimension, line in lines.items():
        assert abs(line.value_mm - TRUE_MM[dimension]) < 4.0 * line.std_mm
    assert any("6 known places" in note for note in lines[DIMENSIONS[0]].notes)
    assert any(cause.cause.startswith("x of p") for line in evidence.lines for cause in line.causes)


def test_a_known_place_stated_wrongly_is_named() -> None:
    known = surveyed()
    known[24] = (known[24][0] + [0.0, 120.0, 0.0], 5.0)
    evidence = measure_photos(at_hand_of(marked(np.random.default_rng(2)), known), frozenset(DIMENSIONS))
    assert [item.where for item in evidence.suspects] == ['point "p24"']
    assert not any(line.is_used for line in evidence.lines)


def test_known_places_make_sizes_surer() -> None:
    problem = marked(np.random.default_rng(2))
    alone = measure_photos(at_hand_of(problem), frozenset(DIMENSIONS)).lines
    both = measure_photos(at_hand_of(problem, surveyed()), frozenset(DIMENSIONS)).lines
    assert all(one.std_mm < other.std_mm for one, other in zip(both, alone, strict=True))


def test_two_known_places_are_a_length_and_one_is_nothing() -> None:
    problem = marked(np.random.default_rng(2), lengths=())
    two = {point: (BUILDING[point], 3.0) for point in (0, 24)}
    given = joint_input([photo_arrays(item) for item in at_hand_of(problem, two)])
    assert not given.problem.known
    assert given.problem.lengths[0].length_mm == pytest.approx(np.linalg.norm(BUILDING[24] - BUILDING[0]))
    assert given.problem.lengths[0].std_mm == pytest.approx(3.0 * 2**0.5)
    assert "farthest two" in given.notes[0]
    one = joint_input([photo_arrays(item) for item in at_hand_of(problem, {0: (BUILDING[0], 3.0)})])
    assert not one.problem.lengths
    assert "neither scale nor directions" in one.notes[0]


def test_most_photographs_mirrored_is_told_by_known_places() -> None:
    problem = marked(np.random.default_rng(4))
    marks = problem.marks_px.copy()
    flip = np.isin(problem.photo, (0, 2, 3))
    marks[flip, 0] = 3999.0 - marks[flip, 0]
    evidence = measure_photos(at_hand_of(replace(problem, marks_px=marks), surveyed()), frozenset(DIMENSIONS))
    flipped = {item.photo for item in evidence.suspects if "is mirrored" in item.what}
    assert flipped == {"photo0", "photo2", "photo3"}


def test_groups_that_share_few_points_are_told_apart() -> None:
    problem = marked(np.random.default_rng(5))
    first, second = list(range(20)), [0, 1, 2, *range(20, 36)]
    keep = {0: first, 1: first, 2: second, 3: second, 4: [0, 1, 2, 3]}
    at_hand = at_hand_of(problem, keep=keep)
    arrays = [photo_arrays(item) for item in at_hand]
    assert [[item.photo.id for item in group] for group in sets_of(arrays)] == [
        ["photo0", "photo1"],
        ["photo2", "photo3"],
    ]
    groups = group_photos(arrays)
    assert [group.photos for group in groups] == [("photo0", "photo1"), ("photo2", "photo3"), ("photo4",)]
    assert "shares 3 points" in groups[0].why or "shares 4 points" in groups[0].why
    assert "shares 4 points with photo0, photo1" in groups[2].why
    assert groups[2].do.startswith("mark 1 or more further")
    assert measure_photos(at_hand, frozenset(DIMENSIONS)).groups == groups


def test_a_photograph_joins_only_by_points_that_two_others_have() -> None:
    problem = marked(np.random.default_rng(5))
    keep = {0: list(range(20)), 1: list(range(36)), 2: list(range(24, 36)), 3: list(range(12)), 4: []}
    arrays = [photo_arrays(item) for item in at_hand_of(problem, keep=keep, photos=(0, 1, 2, 3))]
    assert [[item.photo.id for item in group] for group in sets_of(arrays)] == [
        ["photo0", "photo1", "photo3"]
    ]


def straight_lines(photo: int, draw: np.random.Generator) -> tuple[MarkedLine, ...]:
    ends = ((0, 3), (21, 24), (0, 21), (3, 24), (4, 25), (7, 10))
    lines = []
    for number, (a, b) in enumerate(ends):
        along = np.linspace(0.0, 1.0, 9)[:, None]
        places = BUILDING[a] + along * (BUILDING[b] - BUILDING[a])
        marks = project(LENS, POSES[photo], places).marks_px + 0.7 * draw.normal(size=(9, 2))
        points = tuple((float(x), float(y)) for x, y in marks)
        lines.append(MarkedLine(f"line{number}", points, 0.7, is_straight=True))
    return tuple(lines)


def test_straight_lines_take_part_in_the_joint_adjustment() -> None:
    problem = marked(np.random.default_rng(6))
    at_hand = at_hand_of(problem, photos=(0, 1, 2))
    plain = joint_input([photo_arrays(item) for item in at_hand])
    draw = np.random.default_rng(7)
    lined = [
        replace(item, marks=replace(item.marks, lines=straight_lines(number, draw)))
        for number, item in enumerate(at_hand)
        if item.marks is not None
    ]
    given = joint_input([photo_arrays(item) for item in lined])
    assert any("straight lines" in note for note in given.notes)
    place = 3 * given.problem.point_count + 6 * 3 + 3
    without, with_lines = (adjust_photos(each.problem) for each in (plain, given))
    assert with_lines.covariance[place, place] < 0.9 * without.covariance[place, place]
    k1 = with_lines.network.lenses[0, 3]
    assert abs(k1 - LENS.k1) < 4.0 * with_lines.covariance[place, place] ** 0.5
    assert with_lines.dof == without.dof  # two rows of belief became two rows of lines
