"""Chord error and facet steps against the regular polygon."""

import math

import numpy as np
import pytest

from dryfit.calc.elements import chord_error_mm, facet_steps, fit_circle
from support.elements import Turned, cylinder


@pytest.mark.parametrize("sides", [3, 6, 16, 64, 1000])
def test_a_closed_round_steps_once_for_each_side(sides) -> None:
    turned = Turned(sides)
    points = turned.points(cylinder(25, 40, 360, sides, 3)[0])
    steps = facet_steps(points, 3.0 * turned.axis, turned.shift)
    assert steps == pytest.approx(np.full(sides, 2 * math.pi / sides), abs=1e-9)


def test_an_open_arc_leaves_out_its_gap() -> None:
    points = cylinder(25, 40, 120, 7, 2)[0]
    assert facet_steps(points, np.array([0.0, 0, 1]), np.zeros(3)) == pytest.approx(
        np.radians(np.full(6, 20.0))
    )


def test_vertices_one_above_the_other_are_one_step() -> None:
    lower = cylinder(25, 40, 360, 8, 2)[0]
    turn = 2e-5  # what single precision makes of one azimuth
    lower[:8] = lower[:8] @ np.array(
        [[math.cos(turn), math.sin(turn), 0], [-math.sin(turn), math.cos(turn), 0], [0, 0, 1]]
    )
    assert len(facet_steps(lower, np.array([0.0, 0, 1]), np.zeros(3))) == 8
    assert len(facet_steps(lower, np.array([0.0, 0, 1]), np.zeros(3), same_rad=1e-6)) > 8


def test_a_vertex_on_the_axis_has_no_azimuth() -> None:
    points = np.vstack([cylinder(25, 40, 360, 8, 1)[0], [[0, 0, 5.0]]])
    assert len(facet_steps(points, np.array([0.0, 0, 1]), np.zeros(3))) == 8
    assert len(facet_steps(points[-1:], np.array([0.0, 0, 1]), np.zeros(3))) == 0


def test_the_chord_error_keeps_its_digits_at_small_steps() -> None:
    # r step^2 / 8 to the second order, where 1 - cos has no digits left
    assert chord_error_mm(1000.0, 1e-6) == pytest.approx(1000.0 * 1e-12 / 8.0, rel=1e-10)
    assert chord_error_mm(25.0, math.pi / 3) == pytest.approx(25.0 * (1.0 - math.cos(math.pi / 6)))
    with pytest.raises(ValueError, match="no chord"):
        chord_error_mm(1.0, 4.0)


def test_middles_of_facets_lie_inside_by_the_chord_error() -> None:
    corners = cylinder(25, 1, 360, 12, 1)[0][:, :2]
    middles = 0.5 * (corners + np.roll(corners, -1, axis=0))
    inside = fit_circle(corners).radius - fit_circle(middles).radius
    assert inside == pytest.approx(chord_error_mm(25.0, 2 * math.pi / 12), rel=1e-9)


def test_an_axis_needs_a_length() -> None:
    with pytest.raises(ValueError, match="no length"):
        facet_steps(np.eye(3), np.zeros(3), np.zeros(3))
