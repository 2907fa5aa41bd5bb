"""Vanishing points, heights, plan angles, focal length and crop, on an invented street."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    Horizon,
    InnerFigures,
    KnownHeight,
    VanishingPoint,
    check_centre,
    fit_vanishing_point,
    focal_from_orthogonal,
    horizon_through,
    inner_from_three,
    measure_heights,
    plan_angles,
    project,
    upright_view,
    upright_view_by_lens,
)
from support.photographs import PLAIN_LENS, looking

POSE = looking((-3000.0, -12000.0, 1700.0), (4000.0, 0.0, 3000.0), 2.0)
STD = 0.7
LEVELS = (0.0, 1500.0, 3000.0, 6000.0)
RUNS = 150
# root mean square of RUNS standard normal values: four standard deviations of it
ROOM = 4.0 / np.sqrt(2.0 * RUNS)


def seen(*points: tuple[float, ...]) -> Array:
    return project(PLAIN_LENS, POSE, np.array(points)).marks_px


def lines(axis: str) -> Array:
    """(4, 2, 2) marks of parallel edges along an axis of the building."""
    if axis == "x":
        return np.array([seen((0, 0, z), (8000, 0, z)) for z in LEVELS])
    if axis == "y":
        return np.array([seen((0, 0, z), (0, 8000, z)) for z in LEVELS])
    return np.array([seen((x, 0, 0), (x, 0, 6000)) for x in (0, 2000, 5000, 8000)])


def vanishing(draw: np.random.Generator | None = None) -> tuple[VanishingPoint, ...]:
    found = []
    for axis in "xyz":
        marks = lines(axis)
        if draw is not None:
            marks = marks + draw.normal(size=marks.shape) * STD
        found.append(fit_vanishing_point(marks, STD))
    return tuple(found)


def test_lines_meet_where_their_direction_projects() -> None:
    for axis, found in enumerate(vanishing()):
        ray = POSE.rotation[:, axis]
        expected = PLAIN_LENS.centre_px + 3000.0 * ray[:2] / ray[2]
        assert found.place_px == pytest.approx(expected, rel=1e-6)
        assert found.dof == 2


def test_parallel_lines_on_the_picture_meet_at_infinity() -> None:
    segments = np.array(
        [[[100.0, 100.0], [900.0, 100.0]], [[100.0, 500.0], [900.0, 500.0]], [[0, 900.0], [800, 900.0]]]
    )
    found = fit_vanishing_point(segments, STD)
    assert np.abs(found.point) == pytest.approx([1.0, 0.0, 0.0], abs=1e-9)
    assert found.covariance[2, 2] > 0.0
    with pytest.raises(ComputationRefused, match="stay parallel"):
        focal_from_orthogonal(found, vanishing()[1], PLAIN_LENS.centre_px, 1.0)


def test_line_that_is_not_parallel_stands_out() -> None:
    marks = lines("x") + np.random.default_rng(2).normal(size=(4, 2, 2)) * STD
    marks[2, 1, 1] += 20.0
    found = fit_vanishing_point(marks, STD)
    assert int(np.abs(found.normalised).argmax()) == 2
    assert found.p_value is not None
    assert found.p_value < 1e-4


def test_everything_scatters_as_its_covariance_says() -> None:
    """Vanishing points, focal lengths, principal point, plan angle and heights together: one street, many draws."""
    away: dict[str, list[float]] = {}
    chances = []

    def note(name: str, gap: float, std: float) -> None:
        away.setdefault(name, []).append(gap / std)

    for seed in range(RUNS):
        draw = np.random.default_rng(seed)
        x, y, z = vanishing(draw)
        focal = focal_from_orthogonal(x, y, PLAIN_LENS.centre_px, 1e-3)
        note("focal length of two", focal.focal_px - 3000.0, focal.std_px)
        inner = inner_from_three([x, y, z])
        figures = np.array([inner.focal_px, *inner.centre_px]) - [3000.0, *PLAIN_LENS.centre_px]
        for name, gap, std in zip(
            ("focal", "centre x", "centre y"), figures, np.sqrt(np.diag(inner.covariance)), strict=True
        ):
            note(name, gap, std)
        known_lens = InnerFigures(3000.0, PLAIN_LENS.centre_px, np.eye(3) * 1e-6)
        angles = plan_angles([x, y], known_lens)
        note("angle", angles.angles_deg[1] - 90.0, np.sqrt(angles.covariance[1, 1]))
        known = np.array(
            [seen((1000, -2000, 0), (1000, -2000, 1800)), seen((6000, -1000, 0), (6000, -1000, 2500))]
        )
        target = np.array(
            [seen((3000, -3000, 0), (3000, -3000, 3000)), seen((5000, 1000, 0), (5000, 1000, 4000))]
        )
        known, target = known + draw.normal(size=(2, 2, 2)) * STD, target + draw.normal(size=(2, 2, 2)) * STD
        heights = [KnownHeight(h + 3.0 * draw.normal(), 3.0) for h in (1800.0, 2500.0)]
        for name, view in (
            ("height by lines", upright_view(z, horizon_through([x, y]))),
            ("height by lens", upright_view_by_lens(z, PLAIN_LENS, 1e-3, 1e-3)),
        ):
            found = measure_heights(view, known, heights, target, STD)
            for number, true in enumerate((3000.0, 4000.0)):
                note(f"{name} {number}", found.sizes.values_mm[number] - true, found.sizes.std_mm[number])
        chances.append([found.p_value, x.p_value, z.p_value])
    for name, values in away.items():
        assert np.sqrt(np.mean(np.square(values))) == pytest.approx(1.0, abs=ROOM), name
    assert (np.array(chances, dtype=float) < 0.05).mean() < 0.10


def test_heights_of_exact_marks_are_exact() -> None:
    x, y, z = vanishing()
    known = np.array([seen((1000, -2000, 0), (1000, -2000, 1800))])
    target = np.array([seen((5000, 1000, 0), (5000, 1000, 4000))])
    for view in (upright_view(z, horizon_through([x, y])), upright_view_by_lens(z, PLAIN_LENS, 1.0, 1.0)):
        found = measure_heights(view, known, [KnownHeight(1800.0, 3.0)], target, STD)
        assert found.sizes.values_mm[0] == pytest.approx(4000.0, rel=1e-6)
        assert np.isnan(found.normalised[0])
        assert found.p_value is None


def test_known_heights_are_tested_against_one_another() -> None:
    x, y, z = vanishing()
    stands = ((1000, -2000, 1800.0), (6000, -1000, 2500.0), (4000, -1500, 2000.0))
    known = np.array([seen((a, b, 0), (a, b, h)) for a, b, h in stands])
    heights = [KnownHeight(1800.0, 3.0), KnownHeight(2500.0 * 1.1, 3.0), KnownHeight(2000.0, 3.0)]
    found = measure_heights(upright_view(z, horizon_through([x, y])), known, heights, known[:1], STD)
    assert int(np.abs(found.normalised).argmax()) == 1
    assert found.p_value is not None
    assert found.p_value < 1e-6


def test_heights_share_the_known_height() -> None:
    x, y, z = vanishing()
    known = np.array([seen((1000, -2000, 0), (1000, -2000, 1800))])
    target = np.array([seen((a, b, 0), (a, b, h)) for a, b, h in ((5000, 1000, 4000), (3000, -3000, 3000))])
    found = measure_heights(
        upright_view(z, horizon_through([x, y])), known, [KnownHeight(1800.0, 90.0)], target, STD
    )
    correlation = found.sizes.covariance[0, 1] / np.prod(found.sizes.std_mm)
    assert correlation > 0.9
    assert found.sizes.std_mm / found.sizes.values_mm == pytest.approx(0.05, abs=0.004)


def test_vague_horizon_makes_heights_vague() -> None:
    x, y, z = vanishing()
    horizon = horizon_through([x, y])
    known = np.array([seen((1000, -2000, 0), (1000, -2000, 1800))])
    target = np.array([seen((5000, 1000, 0), (5000, 1000, 4000))])
    spreads = [
        measure_heights(
            upright_view(z, Horizon(horizon.line, share * horizon.covariance)), known,
            [KnownHeight(1800.0, 3.0)], target, STD,
        ).sizes.covariance[0, 0]
        for share in (0.0, 1.0, 100.0)
    ]  # fmt: skip
    assert spreads[1] > spreads[0]
    assert spreads[2] - spreads[0] == pytest.approx(100.0 * (spreads[1] - spreads[0]), rel=1e-6)


def test_plan_angle_of_a_bay_at_sixty_degrees_turns_left() -> None:
    turn = np.radians(60.0)
    side = 3000.0 * np.array([np.cos(turn), np.sin(turn)])
    bay = np.array([seen((0, 0, z), (side[0], side[1], z)) for z in LEVELS])
    known_lens = InnerFigures(3000.0, PLAIN_LENS.centre_px, np.eye(3))
    found = plan_angles([fit_vanishing_point(lines("x"), STD), fit_vanishing_point(bay, STD)], known_lens)
    assert found.angles_deg == pytest.approx([0.0, 60.0], abs=1e-4)
    assert found.covariance[0, 0] == pytest.approx(0.0, abs=1e-12)


def test_cropped_picture_is_noticed() -> None:
    """800 columns cut away on the left: the principal point lies 400 px left of the middle of what remains."""
    draw, found = np.random.default_rng(7), []
    for axis in "xyz":
        marks = lines(axis) + draw.normal(size=(4, 2, 2)) * 0.2
        found.append(fit_vanishing_point(marks - [800.0, 0.0], 0.2))
    inner = inner_from_three(found)
    cropped = check_centre(inner.centre_px, inner.covariance[1:, 1:], 3200, 3000)
    assert cropped.is_off
    assert cropped.offset_px == pytest.approx(400.0, abs=60.0)
    whole = inner_from_three(vanishing(draw))
    assert not check_centre(whole.centre_px, whole.covariance[1:, 1:], 4000, 3000).is_off


def test_principal_point_that_is_not_known_well_says_nothing_of_a_crop() -> None:
    rough = check_centre(np.array([2400.0, 1500.0]), np.eye(2) * 300.0**2, 4000, 3000)
    assert not rough.is_off
    assert rough.chance > 0.01


@pytest.mark.parametrize(
    ("segments", "words"),
    [
        ([[[0, 0], [100, 0]]], "1 segments do not meet"),
        ([[[0, 0], [100, 0]], [[5, 5], [5, 6]]], "ends of segment 2 coincide"),
        ([[[0, 0], [100, 0]], [[200, 0], [300, 0]]], "on one line"),
    ],
)
def test_segments_that_do_not_meet_are_refused(segments: list, words: str) -> None:
    with pytest.raises(ComputationRefused, match=words):
        fit_vanishing_point(np.array(segments, dtype=float), STD)


def test_things_that_tell_no_height_are_refused() -> None:
    x, y, z = vanishing()
    view = upright_view(z, horizon_through([x, y]))
    known = np.array([seen((1000, -2000, 0), (1000, -2000, 1800))])
    one = [KnownHeight(1800.0, 3.0)]
    with pytest.raises(ComputationRefused, match="no height is known"):
        measure_heights(view, np.zeros((0, 2, 2)), [], known, STD)
    with pytest.raises(ComputationRefused, match="foot and top of thing 2 coincide"):
        measure_heights(view, known, one, known[:, [0, 0]], STD)
    with pytest.raises(ComputationRefused, match="either side of the horizon"):
        measure_heights(view, known, one, known[:, ::-1], STD)
    low = np.array([seen((1000, -2000, 0), (1000, -2000, 800))])
    with pytest.raises(ComputationRefused, match="other way up"):
        measure_heights(view, known, one, low[:, ::-1], STD)
    level = np.array([seen((1000, -2000, 1700), (1000, -2000, 2700))])
    with pytest.raises(ComputationRefused, match="lies on the horizon"):
        measure_heights(view, known, one, level, STD)
    with pytest.raises(ValueError, match="above zero"):
        measure_heights(view, known, [KnownHeight(1800.0, 0.0)], known, STD)


def test_directions_that_cannot_be_square_are_refused() -> None:
    x, y, _ = vanishing()
    with pytest.raises(ComputationRefused, match="no focal length makes these two"):
        focal_from_orthogonal(x, x, PLAIN_LENS.centre_px, 1.0)
    with pytest.raises(ComputationRefused, match="three are needed"):
        inner_from_three([x, y])
    with pytest.raises(ComputationRefused, match="one vanishing point gives no horizon"):
        horizon_through([x])
    with pytest.raises(ComputationRefused, match="coincide"):
        horizon_through([x, x])
    with pytest.raises(ComputationRefused, match="1 level directions"):
        plan_angles([x], InnerFigures(3000.0, PLAIN_LENS.centre_px, np.eye(3)))
