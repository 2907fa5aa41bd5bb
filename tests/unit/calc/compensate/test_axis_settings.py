"""Tangents and factors for a firmware: with them the machine prints what it was told."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import correlated_values, umath

from dryfit.calc.compensate import axis_settings
from dryfit.calc.errormodel import machine_gain

SCALES = st.floats(-0.02, 0.02)
SKEWS = st.floats(-2.0, 2.0)
MACHINES = st.tuples(SCALES, SCALES, SCALES, SKEWS, SKEWS, SKEWS).map(np.array)


@settings(max_examples=60, deadline=None)
@given(MACHINES, st.tuples(*[st.floats(0.0, 600.0)] * 3).map(np.array))
def test_a_machine_so_set_prints_the_commanded_point(figures, point):
    found = axis_settings(figures, np.zeros((6, 6)))
    xy, xz, yz = found.tangents
    x, y, z = point
    y = y - yz * z  # the rule as the report words it
    x = x - xy * y - xz * z
    steps = np.array([x, y, z]) * found.factors
    assert machine_gain(figures) @ steps == pytest.approx(point, abs=1e-9)


def test_without_scale_the_tangents_are_those_of_the_angles():
    found = axis_settings(np.array([0, 0, 0, 0.1, 0.6, -0.2]), np.zeros((6, 6)))
    assert found.tangents == pytest.approx([math.tan(math.radians(a)) for a in (0.1, 0.6, -0.2)], rel=1e-15)


def test_an_axis_one_percent_too_long_gets_fewer_steps():
    assert axis_settings(np.array([0.01, 0, -0.01, 0, 0, 0]), np.zeros((6, 6))).factors == pytest.approx(
        [1 / 1.01, 1.0, 1 / 0.99]
    )


def test_uncertainties_are_those_of_a_general_purpose_library():
    figures = np.array([0.004, -0.003, 0.002, 0.4, 0.9, -0.7])
    spread = np.random.default_rng(5).normal(size=(6, 6)) * [1e-3, 1e-3, 1e-3, 0.05, 0.05, 0.05]
    covariance = spread.T @ spread
    found = axis_settings(figures, covariance)
    ex, ey, ez, sxy, sxz, syz = correlated_values(figures, covariance)
    theirs = [umath.tan(s * math.pi / 180) / (1 + e) for s, e in ((sxy, ey), (sxz, ez), (syz, ez))]
    factors = [1 / (1 + e) for e in (ex, ey, ez)]
    assert found.tangents == pytest.approx([v.n for v in theirs], rel=1e-12)
    assert found.tangents_std == pytest.approx([v.s for v in theirs], rel=1e-9)
    assert found.factors_std == pytest.approx([v.s for v in factors], rel=1e-9)
