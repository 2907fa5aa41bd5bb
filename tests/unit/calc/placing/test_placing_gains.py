"""Linear and exact placing of one block on three supports, a pin and a slot, by hand.

Supports point up at A (-40, -40, 0), B (40, -40, 0) and C (0, 40, 0); the pin stands at the origin along x and
y, the slot at (30, 0, 0) along y. A separation too large by delta at a contact lowers, or shifts, the block by
delta there while it keeps to the others.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.base.arrays import Array
from dryfit.calc.placing import (
    NotSettled,
    describe_motions,
    motions_left_free,
    place_exactly,
    sensitivities,
    solve_placing,
)
from dryfit.calc.placing import exact as exact_module
from dryfit.model.contacts import ON_GROUND, ContactTable

X, Y, Z = np.eye(3)
SUPPORTS = [([-40, -40, 0], Z), ([40, -40, 0], Z), ([0, 40, 0], Z)]
PIN = [([0, 0, 0], X), ([0, 0, 0], Y)]
SLOT = [([30, 0, 0], Y)]
CENTROID = np.array([[0.0, 0.0, 50.0]])


def table_of(
    rows: list[tuple[list[float], Array]],
    probes: list[tuple[list[float], Array]] = [],  # noqa: B006
    parts: list[tuple[int, int]] | None = None,
    play: list[float] | None = None,
) -> ContactTable:
    """Locating rows, then probes; (first, second) of each row, by default ground and part 0."""
    every = [*rows, *probes]
    count = len(every)
    sides = np.array(parts or [(ON_GROUND, 0)] * count, dtype=np.int64).reshape(-1, 2)
    points = np.array([point for point, _ in every], dtype=float).reshape(-1, 3)
    directions = np.array([direction for _, direction in every]).reshape(-1, 3)
    is_locating = np.arange(count) < len(rows)
    widths = np.array([*(play or [0.05] * len(rows)), *[0.0] * len(probes)])
    none = np.zeros((count, 3))
    return ContactTable(
        sides[:, 0].copy(),
        sides[:, 1].copy(),
        points,
        points.copy(),
        directions,
        none,
        none.copy(),
        np.where(is_locating, 0, -1),
        is_locating,
        is_locating.copy(),
        widths,
    )


def response(
    rows: list[tuple[list[float], Array]], probe: tuple[list[float], Array], play: list[float] | None = None
) -> Array:
    """Change of the probe's reading by an offset at each locating row."""
    table = table_of(rows, [probe], play=play)
    placing = solve_placing(table, CENTROID, np.array([60.0]), [0])
    combination = np.zeros((1, len(table)))
    combination[0, -1] = 1.0
    lines, is_free = sensitivities(combination, table, placing)
    assert not is_free.any()
    assert lines[0, -1] == 1.0  # an offset of the probe itself is read as it is
    return np.asarray(lines[0, :-1])


FULL = [*SUPPORTS, *PIN, *SLOT]


@pytest.mark.parametrize(
    ("probe", "expected"),
    [
        # the top over the pin sinks by a quarter, a quarter and a half of the supports' offsets
        (([0, 0, 100], Z), [-0.25, -0.25, -0.5, 0, 0, 0]),
        # A low by delta: the slope along x is delta/80, along y delta/160: the top leans by 100 times as much
        (([0, 0, 100], X), [-100 / 80, 100 / 80, 0, -1, 0, 0]),
        (([0, 0, 100], Y), [-100 / 160, -100 / 160, 100 / 80, 0, -1, 0]),
        # an offset of the slot turns the block about the pin by delta/30
        (([30, 60, 0], Y), [0, 0, 0, 0, 0, -1]),
        (([30, 60, 0], X), [0, 0, 0, -1, -60 / 30, 60 / 30]),
        # the height of a support itself
        (([-40, -40, 0], Z), [-1, 0, 0, 0, 0, 0]),
    ],
)
def test_response_of_a_block_on_three_supports(
    probe: tuple[list[float], Array], expected: list[float]
) -> None:
    assert response(FULL, probe) == pytest.approx(expected, abs=1e-9)


def test_four_equal_corners_share_an_offset_as_a_least_squares_plane() -> None:
    corners = [([x, y, 0], Z) for x, y in ((-40, -40), (40, -40), (40, 40), (-40, 40))]
    # the plane through one corner raised by one, by least squares: 3/4 there, 1/4 beside it, -1/4 across
    ours = response([*corners, *PIN, *SLOT], ([-40, -40, 0], Z))
    assert ours[:4] == pytest.approx([-0.75, -0.25, 0.25, -0.25], abs=1e-9)


def test_two_contacts_at_one_place_weigh_as_their_play() -> None:
    rows = [([-40, -40, 0], Z), ([-40, -40, 0], Z), *FULL[1:]]
    play = [0.1, 0.2, 0.05, 0.05, 0.05, 0.05, 0.05]
    # inverse squares: 100 to 25
    assert response(rows, ([-40, -40, 0], Z), play)[:2] == pytest.approx([-0.8, -0.2], abs=1e-9)


def test_a_play_of_zero_still_weighs_finitely() -> None:
    rows = [([-40, -40, 0], Z), ([-40, -40, 0], Z), *FULL[1:]]
    assert response(rows, ([-40, -40, 0], Z), [0.0] * 7)[:2] == pytest.approx([-0.5, -0.5], abs=1e-9)


def test_a_part_that_is_first_in_its_rows_moves_the_other_way() -> None:
    mirrored = table_of(FULL, [([0, 0, 100], Z)], parts=[(0, ON_GROUND)] * 6 + [(ON_GROUND, 0)])
    placing = solve_placing(mirrored, CENTROID, np.array([60.0]), [0])
    lines, _ = sensitivities(np.eye(7)[6:], mirrored, placing)
    assert lines[0, :6] == pytest.approx([0.25, 0.25, 0.5, 0, 0, 0], abs=1e-9)


def test_offsets_are_passed_on_to_the_parts_bonded_later() -> None:
    """Part 1 stands on part 0 as part 0 on the ground, 100 higher: a slope at the foot leans the top by 200."""
    upper = [([x, y, z + 100], d) for (x, y, z), d in FULL]
    parts = [(ON_GROUND, 0)] * 6 + [(0, 1)] * 6 + [(ON_GROUND, 1)]
    table = table_of([*FULL, *upper], [([0, 0, 200], X)], parts)
    placing = solve_placing(table, np.array([[0, 0, 50.0], [0, 0, 150.0]]), np.array([60.0, 60.0]), [0, 1])
    lines, _ = sensitivities(np.eye(13)[12:], table, placing)
    expected = [-200 / 80, 200 / 80, 0, -1, 0, 0, -100 / 80, 100 / 80, 0, -1, 0, 0]
    assert lines[0, :12] == pytest.approx(expected, abs=1e-9)


def free_words(rows: list[tuple[list[float], Array]]) -> tuple[str, ...]:
    placing = solve_placing(table_of(rows), CENTROID, np.array([60.0]), [0])
    return describe_motions(placing.steps[0].free, CENTROID[0], 60.0)


def test_words_for_free_motions() -> None:
    assert free_words(FULL) == ()
    assert free_words([*SUPPORTS, ([5, 7, 0], X), ([5, 7, 0], Y)]) == (
        "turns about (0.000, 0.000, 1.000) through (5.0, 7.0, 50.0) mm",
    )
    assert free_words(SUPPORTS) == (
        "slides along (1.000, 0.000, 0.000)",
        "slides along (0.000, 1.000, 0.000)",
        "turns about (0.000, 0.000, 1.000) through (0.0, 0.0, 50.0) mm",
    )
    assert free_words([*SUPPORTS, *SLOT, ([-30, 0, 0], Y)]) == ("slides along (1.000, 0.000, 0.000)",)


def test_a_part_without_contacts_is_free_in_every_way() -> None:
    words = free_words([])
    assert [word.split()[0] for word in words] == ["slides"] * 3 + ["turns"] * 3


def test_a_part_on_a_straight_edge_turns_about_it() -> None:
    rows = [([-40, -40, 0], Z), ([40, -40, 0], Z), ([-40, -40, 0], Y), ([40, -40, 0], Y), ([-40, -40, 0], X)]
    (words,) = free_words(rows)
    assert words == "turns about (1.000, 0.000, 0.000) through (0.0, -40.0, 0.0) mm"


def test_a_result_that_hangs_on_a_free_motion_is_marked() -> None:
    table = table_of([*SUPPORTS, *PIN], [([20, 0, 0], Y), ([0, 0, 90], Z)])
    placing = solve_placing(table, CENTROID, np.array([60.0]), [0])
    _, is_free = sensitivities(np.eye(7)[5:], table, placing)
    assert is_free[:, 0].tolist() == [True, False]


POSE = Rotation.from_rotvec([0.05, -0.08, 0.12]).as_matrix()


def test_exact_placing_undoes_a_finite_motion_of_the_print() -> None:
    table = table_of(FULL, [([0, 0, 100], Z)])
    placing = solve_placing(table, CENTROID, np.array([60.0]), [0])
    printed = (table.p_second - CENTROID) @ POSE.T + CENTROID + [3.0, -2.0, 1.0]
    poses = place_exactly(table, placing, CENTROID, table.p_first, printed, np.zeros(7))
    assert poses.rotation[0] == pytest.approx(POSE.T, abs=1e-9)
    assert poses.x_second == pytest.approx(table.p_second, abs=1e-8)
    assert poses.residual_rms_mm[0] == pytest.approx(0.0, abs=1e-9)


def test_exact_placing_keeps_the_designed_gap() -> None:
    table = table_of(FULL)
    placing = solve_placing(table, CENTROID, np.array([60.0]), [0])
    gap = np.array([0.1, 0.1, 0.1, 0, 0, 0])
    poses = place_exactly(table, placing, CENTROID, table.p_first, table.p_second, gap)
    assert poses.translation[0] == pytest.approx([0, 0, 0.1], abs=1e-9)


def test_directions_lean_with_the_part_that_stands() -> None:
    """Part 0 prints turned, so that it stands leaning: a perfect part 1 follows it as a rigid body."""
    upper = [([x, y, z + 100], d) for (x, y, z), d in FULL]
    table = table_of([*FULL, *upper], parts=[(ON_GROUND, 0)] * 6 + [(0, 1)] * 6)
    centroids = np.array([[0, 0, 50.0], [0, 0, 150.0]])
    placing = solve_placing(table, centroids, np.array([60.0, 60.0]), [0, 1])
    printed = table.p_second.copy()
    printed[:6] = (printed[:6] - CENTROID) @ POSE.T + CENTROID
    poses = place_exactly(table, placing, centroids, table.p_first, printed, np.zeros(12))
    assert poses.rotation[0] == pytest.approx(POSE.T, abs=1e-9)
    assert poses.rotation[1] == pytest.approx(poses.rotation[0], abs=1e-9)
    top, pin = np.array([0, 0, 150.0]), poses.x_first[9]
    assert (top - centroids[1]) @ POSE + centroids[1] + poses.translation[1] == pytest.approx(
        pin + POSE.T @ [0, 0, 50.0], abs=1e-8
    )


def test_exact_and_linear_placing_agree_for_small_offsets() -> None:
    table = table_of(FULL, [([30, 60, 100], X)])
    placing = solve_placing(table, CENTROID, np.array([60.0]), [0])
    lines, _ = sensitivities(np.eye(7)[6:], table, placing)
    offsets = 1e-5 * np.array([1.0, -2.0, 0.5, 3.0, -1.0, 2.0, 0.0])
    printed = table.p_second + offsets[:, None] * table.direction
    poses = place_exactly(table, placing, CENTROID, table.p_first, printed, np.zeros(7))
    assert poses.x_second[6, 0] - 30.0 == pytest.approx(float(lines[0] @ offsets), abs=1e-9)


def test_settling_together_and_one_after_the_other_end_at_the_same_place(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    corners = [([x, y, 0], Z) for x, y in ((-40, -40), (40, -40), (40, 40), (-40, 40))]
    lower = [*corners, *PIN, *SLOT]
    rows = [*lower, *[([x, y, z + 100], d) for (x, y, z), d in lower]]
    table = table_of(rows, parts=[(ON_GROUND, 0)] * 7 + [(1, 0)] * 7)
    centroids = np.array([[0, 0, 50.0], [0, 0, 150.0]])
    placing = solve_placing(table, centroids, np.array([60.0, 60.0]), [0, 1])
    generator = np.random.default_rng(5)
    first, second = (side + generator.normal(0, 2.0, (14, 3)) for side in (table.p_first, table.p_second))
    together = place_exactly(table, placing, centroids, first, second, np.zeros(14))
    monkeypatch.setattr(exact_module, "_COMMON_STEPS", 0)
    in_order = place_exactly(table, placing, centroids, first, second, np.zeros(14))
    assert together.residual_rms_mm.min() > 0.1
    assert together.rotation == pytest.approx(in_order.rotation, abs=1e-9)
    assert together.translation == pytest.approx(in_order.translation, abs=1e-7)


def test_a_part_that_does_not_settle_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(exact_module, "_COMMON_STEPS", 0)
    monkeypatch.setattr(exact_module, "_SINGLE_STEPS", 1)
    table = table_of(FULL)
    placing = solve_placing(table, CENTROID, np.array([60.0]), [0])
    printed = (table.p_second - CENTROID) @ POSE.T + CENTROID
    with pytest.raises(NotSettled) as caught:
        place_exactly(table, placing, CENTROID, table.p_first, printed, np.zeros(6))
    assert caught.value.part == 0


def test_motions_left_free_by_contacts_that_are_only_proposed() -> None:
    rows = [*SUPPORTS, ([5, 7, 0], X), ([5, 7, 0], Y)]
    points, directions = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    free = motions_left_free(points, directions, CENTROID[0], 60.0)
    assert describe_motions(free, CENTROID[0], 60.0) == (
        "turns about (0.000, 0.000, 1.000) through (5.0, 7.0, 50.0) mm",
    )
