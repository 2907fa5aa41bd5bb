"""Sizes in a plane of an invented facade, in planes beside it, and what one scale would have made of them."""

from __future__ import annotations

import numpy as np
import pytest

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.calc.photo import (
    CameraDistance,
    CameraFocal,
    LeastDistance,
    Lens,
    PlaneDirection,
    PlaneLength,
    PlanePoint,
    PlaneView,
    Sizes,
    carry,
    depth_departure,
    fit_homography,
    fit_plane,
    local_gain,
    one_scale_bound,
    one_scale_departure,
    plane_from_vanishing,
    plane_sizes,
    project,
    refuse_one_scale,
    straighten,
)
from support.photographs import PLAIN_LENS, looking

PLACES = np.array(
    [[0, 0], [8000, 0], [8000, 6000], [0, 6000], [2000, 1000], [6000, 1000], [6000, 5000], [2500, 4000]],
    dtype=float,
)
POSE = looking((-3000.0, -12000.0, 1700.0), (4000.0, 0.0, 3000.0), 2.0)
PAIRS = [(4, 5), (5, 6), (4, 7)]
TRUE = np.array([4000.0, 4000.0, float(np.hypot(500.0, 3000.0))])
STAND = CameraDistance(12000.0, 1.0)
FOCAL = CameraFocal(3000.0, 1.0, PLAIN_LENS.centre_px, 1.0)
STD = 0.7


def facade(offset_mm: float = 0.0, lens: Lens = PLAIN_LENS) -> Array:
    """Marks of the facade; the measured points stand out of it by the offset."""
    points = np.column_stack([PLACES[:, 0], np.zeros(8), PLACES[:, 1]])
    points[4:, 1] -= offset_mm
    return project(lens, POSE, points).marks_px


def by_points(marks: Array, draw: np.random.Generator | None = None, std_mm: float = 5.0) -> PlaneView:
    shift = np.zeros((4, 2)) if draw is None else draw.normal(size=(4, 2)) * std_mm
    known = [PlanePoint(k, *(PLACES[k] + shift[k]), std_mm) for k in range(4)]
    return fit_plane(marks, STD, points=known)


def by_lengths(marks: Array, draw: np.random.Generator | None = None) -> PlaneView:
    shift = np.zeros(3) if draw is None else draw.normal(size=3) * 5.0
    lengths = [
        PlaneLength(0, 1, 8000.0 + shift[0], 5.0, "x"),
        PlaneLength(1, 2, 6000.0 + shift[1], 5.0, "y"),
        PlaneLength(3, 2, 8000.0 + shift[2], 5.0, "x"),
    ]
    return fit_plane(marks, STD, lengths=lengths, directions=[PlaneDirection(0, 3, "y", 0.01)])


@pytest.mark.parametrize("view", [by_points, by_lengths])
def test_exact_marks_give_exact_sizes(view) -> None:  # type: ignore[no-untyped-def]
    assert plane_sizes(view(facade()), PAIRS).values_mm == pytest.approx(TRUE, rel=1e-7)


@pytest.mark.parametrize("stand", [STAND, FOCAL])
def test_offset_is_corrected_by_offset_over_distance(stand: CameraDistance | CameraFocal) -> None:
    view = by_points(facade(600.0))
    plain = plane_sizes(view, PAIRS).values_mm
    # 600 mm out of 12 m: read in the facade they are 1 / (1 - 0.05) too large
    assert plain == pytest.approx(TRUE / 0.95, rel=1e-6)
    assert plane_sizes(view, PAIRS, 600.0, standpoint=stand).values_mm == pytest.approx(TRUE, rel=1e-5)
    assert depth_departure(600.0, 12000.0) == pytest.approx(1.0 / 0.95 - 1.0)


def test_offset_without_distance_is_refused_or_given_as_uncertainty() -> None:
    view = by_points(facade(600.0))
    with pytest.raises(ComputationRefused, match="nothing tells how far the camera stood"):
        plane_sizes(view, PAIRS, 600.0)
    unsure = plane_sizes(view, PAIRS, 600.0, standpoint=LeastDistance(8000.0))
    assert "not corrected" in unsure.notes[0]
    effect = unsure.values_mm * 600.0 / 8000.0 / np.sqrt(3.0)
    assert (unsure.std_mm >= effect).all()
    assert np.abs(unsure.values_mm - TRUE).max() < 2.0 * unsure.std_mm.max()
    # one cause for all: it would shift them together
    correlation = unsure.covariance[0, 1] / (unsure.std_mm[0] * unsure.std_mm[1])
    assert correlation > 0.9


def test_uncertain_distance_and_offset_widen_sizes_of_offset_things_only() -> None:
    view = by_points(facade(600.0))
    sure = plane_sizes(view, PAIRS, [600.0, 600.0, 0.0], standpoint=CameraDistance(12000.0, 1.0))
    rough = plane_sizes(view, PAIRS, [600.0, 600.0, 0.0], standpoint=CameraDistance(12000.0, 1000.0))
    added = np.sqrt(rough.std_mm**2 - sure.std_mm**2)
    assert added[:2] == pytest.approx(TRUE[:2] / 0.95 * 600.0 / 12000.0**2 * 1000.0, rel=1e-3)
    assert added[2] == pytest.approx(0.0, abs=1e-9)
    moved = plane_sizes(view, PAIRS, 600.0, 100.0, STAND)
    added = np.sqrt(moved.std_mm**2 - plane_sizes(view, PAIRS, 600.0, standpoint=STAND).std_mm ** 2)
    assert added == pytest.approx(TRUE / 0.95 * 100.0 / 12000.0, rel=1e-3)


def scatter(runs: int, measure) -> tuple[Array, Array]:  # type: ignore[no-untyped-def]
    """Departures over standard uncertainty (runs, 3), and p values."""
    away, chances = [], []
    for seed in range(runs):
        view, sizes = measure(np.random.default_rng(seed))
        away.append((sizes.values_mm - TRUE) / sizes.std_mm)
        chances.append(np.nan if view.p_value is None else view.p_value)
    return np.array(away), np.array(chances)


@pytest.mark.parametrize("offset", [0.0, 600.0])
def test_sizes_scatter_as_their_covariance_says(offset: float) -> None:
    def measure(draw: np.random.Generator) -> tuple[PlaneView, Sizes]:
        marks = facade(offset) + draw.normal(size=(8, 2)) * STD
        view = by_points(marks, draw)
        return view, plane_sizes(view, PAIRS, offset, standpoint=FOCAL)

    away, _ = scatter(150, measure)
    # of 150 values of one variance: 4 standard deviations of their root mean square are 0.23
    assert np.sqrt((away**2).mean(axis=0)) == pytest.approx(1.0, abs=0.23)


def test_lengths_scatter_as_their_covariance_says_and_test_one_another() -> None:
    def measure(draw: np.random.Generator) -> tuple[PlaneView, Sizes]:
        view = by_lengths(facade() + draw.normal(size=(8, 2)) * STD, draw)
        return view, plane_sizes(view, PAIRS)

    away, chances = scatter(150, measure)
    assert np.sqrt((away**2).mean(axis=0)) == pytest.approx(1.0, abs=0.25)
    assert (chances < 0.05).mean() < 0.13


def test_a_known_length_that_is_wrong_stands_out() -> None:
    marks = facade() + np.random.default_rng(3).normal(size=(8, 2)) * STD
    known = [PlanePoint(k, *PLACES[k], 5.0) for k in range(4)]
    view = fit_plane(
        marks,
        STD,
        points=known,
        lengths=[
            PlaneLength(4, 5, 4400.0, 5.0),
            PlaneLength(5, 6, 4000.0, 5.0),
            PlaneLength(4, 7, TRUE[2], 5.0),
        ],
    )
    assert view.labels[int(np.nanargmax(np.abs(view.normalised)))] == "length 5 to 6"
    assert view.p_value is not None
    assert view.p_value < 1e-6


def test_homography_carries_uncertainty() -> None:
    draw = np.random.default_rng(1)
    first = draw.uniform(0.0, 1000.0, (8, 2))
    matrix = np.array([[1.0, 0.2, 30.0], [0.1, 0.9, -20.0], [2e-4, 1e-4, 1.0]])
    place, target = np.array([[300.0, 700.0]]), carry(matrix, np.array([[300.0, 700.0]]))
    away, vpv = [], 0.0
    for _ in range(150):
        found = fit_homography(first, carry(matrix, first) + draw.normal(size=(8, 2)) * 2.0, 2.0)
        lifted = np.append(place[0], 1.0)
        depth = float(found.matrix[2] @ lifted)
        there = carry(found.matrix, place)[0]
        slope = np.zeros((2, 9))
        slope[0, :3] = slope[1, 3:6] = lifted / depth
        slope[:, 6:] = -np.outer(there, lifted / depth)
        spread = slope @ found.covariance @ slope.T
        gap = there - target[0]
        away.append(gap @ np.linalg.solve(spread, gap))
        vpv += found.vpv
    assert np.mean(away) == pytest.approx(2.0, abs=4.0 * np.sqrt(4.0 / 150))
    assert vpv / (150 * 8) == pytest.approx(1.0, abs=4.0 * np.sqrt(2.0 / 1200))


def test_local_gain_is_the_derivative() -> None:
    matrix = np.array([[1.0, 0.2, 30.0], [0.1, 0.9, -20.0], [2e-4, 1e-4, 1.0]])
    place = np.array([[300.0, 700.0]])
    for axis in range(2):
        step = np.zeros(2)
        step[axis] = 1e-3
        rise = (carry(matrix, place + step) - carry(matrix, place - step))[0] / 2e-3
        assert local_gain(matrix, place)[0, :, axis] == pytest.approx(rise, rel=1e-6)


def test_bent_marks_are_straightened_before() -> None:
    bent = Lens(3000.0, PLAIN_LENS.centre_px, -0.12, 0.05)
    spread = np.zeros((8, 8))
    spread[3, 3] = 0.01**2
    straight, covariance = straighten(bent, facade(lens=bent), STD, spread)
    assert straight == pytest.approx(facade(), abs=1e-6)
    known = [PlanePoint(k, *PLACES[k], 5.0) for k in range(4)]
    view = fit_plane(straight, covariance, points=known)
    assert plane_sizes(view, PAIRS).values_mm == pytest.approx(TRUE, rel=1e-6)
    # an uncertain k1 moves marks outward or inward together
    outer = np.argsort(-np.linalg.norm(straight - bent.centre_px, axis=1))[:2]
    assert abs(covariance[2 * outer[0], 2 * outer[1]]) > STD**2 / 10.0


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"points": [0, 1, 2]}, "3 points do not determine"),
        ({"points": [0, 1, 8, 9]}, "in line"),
        ({"points": [0, 1, 2, 10]}, "coincide"),
        ({"lengths": [PlaneLength(0, 1, 8000.0, 5.0, "x"), PlaneLength(3, 2, 8000.0, 5.0, "x")]}, "along y"),
        (
            {
                "lengths": [PlaneLength(0, 1, 8000.0, 5.0, "x"), PlaneLength(3, 2, 8000.0, 5.0, "x")],
                "directions": [PlaneDirection(0, 3, "y"), PlaneDirection(1, 2, "y")],
            },
            "one direction only",
        ),
    ],
)
def test_too_little_is_refused_with_the_reason(given: dict, words: str) -> None:
    places = np.vstack([PLACES, [[4000, 0], [2000, 0], [0, 0]]])
    points = np.column_stack([places[:, 0], np.zeros(len(places)), places[:, 1]])
    marks = project(PLAIN_LENS, POSE, points).marks_px
    known = [PlanePoint(k, *places[k], 5.0) for k in given.get("points", [])]
    with pytest.raises(ComputationRefused, match=words):
        fit_plane(marks, STD, known, given.get("lengths", ()), given.get("directions", ()))


def test_bad_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        fit_plane(facade(), STD, lengths=[PlaneLength(0, 1, -8000.0, 5.0, "x")])
    with pytest.raises(ValueError, match="there are 8 marks"):
        fit_plane(facade(), STD, points=[PlanePoint(9, 0.0, 0.0, 1.0)])
    with pytest.raises(ValueError, match="positive definite"):
        fit_plane(facade(), -np.tile(np.eye(2), (8, 1, 1)))
    with pytest.raises(ComputationRefused, match="reaches the camera"):
        plane_sizes(by_points(facade()), PAIRS, 20000.0, standpoint=STAND)


def test_one_scale_for_a_tilted_view_is_refused_with_what_it_would_make() -> None:
    view = by_points(facade())
    segments = facade()[np.array([[0, 1], [4, 5], [5, 6]])]
    departure = one_scale_departure(view.matrix, segments[0], segments[1:])
    seen = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    expected = seen[1:] / seen[0] * 8000.0 / TRUE[:2] - 1.0
    assert departure == pytest.approx(expected, rel=1e-6)
    with pytest.raises(ComputationRefused, match=r"wrong by \d+"):
        refuse_one_scale(departure, 0.01, "photograph 1")
    refuse_one_scale(departure, 10.0, "photograph 1")


def test_bound_holds_for_every_segment_within_the_outline() -> None:
    view, draw = by_points(facade()), np.random.default_rng(0)
    outline = facade()[:4]
    bound = one_scale_bound(view.matrix, outline)
    inner = carry(np.linalg.inv(view.matrix), draw.uniform([0, 0], [8000, 6000], (400, 2)))
    turn = draw.uniform(0.0, np.pi, 400)
    step = 0.5 * np.column_stack([np.cos(turn), np.sin(turn)])
    segments = np.stack([inner - step, inner + step], axis=1)
    worst = max(np.abs(one_scale_departure(view.matrix, each, segments)).max() for each in segments[:40])
    assert worst <= bound * (1.0 + 1e-3)
    assert worst > 0.6 * bound
    corners = carry(view.matrix, outline)
    gains = np.linalg.svd(local_gain(view.matrix, outline), compute_uv=False)
    assert bound >= gains[:, 0].max() / gains[:, 1].min() - 1.0
    assert corners == pytest.approx(PLACES[:4], abs=1e-2)


def test_square_view_has_one_scale() -> None:
    square = looking((4000.0, -12000.0, 3000.0), (4000.0, 0.0, 3000.0))
    marks = project(PLAIN_LENS, square, np.column_stack([PLACES[:, 0], np.zeros(8), PLACES[:, 1]])).marks_px
    assert one_scale_bound(by_points(marks).matrix, marks[:4]) == pytest.approx(0.0, abs=1e-6)


def test_plane_from_vanishing_points_tells_the_same_departures() -> None:
    view = by_points(facade())
    across = [np.append(POSE.rotation @ axis, 0.0)[:3] for axis in np.eye(3)]
    inner = np.array([[3000.0, 0.0, 1999.5], [0.0, 3000.0, 1499.5], [0.0, 0.0, 1.0]])
    matrix = plane_from_vanishing(inner @ across[0], inner @ across[2], PLAIN_LENS)
    segments = facade()[np.array([[0, 1], [4, 5], [5, 6]])]
    ours = one_scale_departure(matrix, segments[0], segments[1:])
    assert ours == pytest.approx(one_scale_departure(view.matrix, segments[0], segments[1:]), rel=1e-6)
    with pytest.raises(ComputationRefused, match="one direction"):
        plane_from_vanishing(inner @ across[0], inner @ across[0], PLAIN_LENS)
    horizon = np.cross(inner @ across[0], inner @ across[2])
    over = np.array([[1000.0, (-horizon[2] - horizon[0] * 1000.0) / horizon[1]], [1500.0, 0.0]])
    with pytest.raises(ComputationRefused, match="horizon runs through"):
        one_scale_departure(matrix, np.array([[1999.0, 1499.0], over[0] + 500.0]), over[None] - [0.0, 9000.0])
