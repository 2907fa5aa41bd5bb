"""Turns about the vertical, against rotations by scipy and least squares by scipy.optimize."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime, least_squares
from scipy.spatial.transform import Rotation

from dryfit.calc.orient import (
    Turns,
    round_turns,
    settle_turns,
    turn_basis,
    turn_coefficients,
    turn_curvatures,
    turn_slopes,
    turns_loss,
)

# row and column of A - I that each figure fills; skews act per degree
PLACES = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))


@pytest.mark.parametrize("turn_deg", [0.0, 17.0, 90.0, -123.4, 180.0])
def test_five_terms_say_everything_about_a_turn(turn_deg):
    generator = np.random.default_rng(1)
    sensitivity, direction, arm = (generator.normal(size=shape) for shape in ((4, 7), (7, 3), (7, 3)))
    rest = Rotation.from_euler("xyz", [20, 30, 40], degrees=True)
    moments = np.einsum("qm,mi,mj->qij", sensitivity, direction, arm)
    ours = np.tensordot(turn_basis(np.array(turn_deg)), turn_coefficients(moments, rest.as_matrix()), 1)
    turned = Rotation.from_euler("z", turn_deg, degrees=True) * rest
    d, a = turned.apply(direction), turned.apply(arm)
    for figure, (row, column) in enumerate(PLACES):
        unit = 1.0 if row == column else np.pi / 180.0
        assert np.allclose(ours[:, figure], sensitivity @ (unit * d[:, row] * a[:, column]), atol=1e-12)


def test_slopes_are_the_derivatives_of_the_basis():
    for turn_deg in (0.0, 33.0, -140.0):
        slopes = approx_fprime(np.array([turn_deg]), lambda t: turn_basis(t)[0], 1e-4)[:, 0]
        assert np.allclose(turn_slopes(np.array(turn_deg)) * np.pi / 180.0, slopes, atol=1e-6)
        bends = approx_fprime(np.array([turn_deg]), lambda t: turn_slopes(t)[0], 1e-4)[:, 0]
        assert np.allclose(turn_curvatures(np.array(turn_deg)) * np.pi / 180.0, bends, atol=1e-6)


def problem(parts=3, columns=8, seed=2):
    generator = np.random.default_rng(seed)
    return Turns(
        generator.normal(size=columns), tuple(generator.normal(size=(5, columns)) for _ in range(parts))
    )


@pytest.mark.parametrize("seed", range(5))
def test_settling_finds_the_least_squares_turns(seed):
    turns = problem(seed=seed)
    start = np.array([10.0, -40.0, 100.0])
    ours = settle_turns(turns, start, np.ones(3, dtype=bool), np.inf)

    def residual(t):
        return turns.base + sum(
            turn_basis(np.array(v)) @ c for v, c in zip(t, turns.coefficients, strict=True)
        )

    theirs = least_squares(residual, ours, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert turns_loss(turns, ours) == pytest.approx(2 * theirs.cost, rel=1e-9)
    assert turns_loss(turns, ours) < turns_loss(turns, start)


def test_settling_keeps_parts_that_do_not_move_and_stays_near():
    turns = problem()
    start = np.array([10.0, -40.0, 100.0])
    settled = settle_turns(turns, start, np.array([True, False, True]), 2.0)
    assert settled[1] == -40.0
    assert np.abs(settled - start).max() <= 2.0
    assert np.array_equal(settle_turns(turns, start, np.zeros(3, dtype=bool), 2.0), start)


def test_rounding_is_coarse_where_it_is_cheap_and_fine_where_it_is_not():
    one = np.zeros((5, 1))
    one[2] = 1.0  # adds sin t
    sharp = Turns(np.array([-np.sin(np.radians(10.2))]), (one,))
    always, moves, at = (lambda part, turn: True), np.array([True]), np.array([10.2])
    assert round_turns(sharp, at, moves, (0.5, 0.01), 1e-12, always)[0] == pytest.approx(10.2)
    assert round_turns(sharp, at, moves, (0.5, 0.01), 1e-3, always)[0] == 10.0
    # a turn that does not fit is not rounded to
    assert round_turns(sharp, at, moves, (0.5, 0.01), 1e-3, lambda part, turn: turn > 10.1)[
        0
    ] == pytest.approx(10.2)
