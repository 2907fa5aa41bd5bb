"""What to turn, against plane geometry worked out point by point."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryfit.calc.trueing import (
    beam_shift,
    foot_shim,
    remaining_std_deg,
    screw_turns,
    step_factor,
)

SKEWS = st.floats(-2.0, 2.0)
SPACINGS = st.floats(50.0, 1500.0)


def turned(point, about, angle):
    """A point of a plane turned anticlockwise about another."""
    c, s = math.cos(angle), math.sin(angle)
    return about + np.array([[c, -s], [s, c]]) @ (point - about)


@given(SKEWS, SPACINGS)
def test_an_upright_on_its_shim_stands_square_to_the_guide(skew, spacing):
    shim = foot_shim(skew, 0.0, spacing).value
    # Seen from the front, X to the right and Z up: a plate from the -X foot to the +X foot, and on it an
    # upright that leans toward +X by the skew. The guide of X is level.
    left, right = np.array([0.0, 0.0]), np.array([spacing, 0.0])
    base = np.array([0.5 * spacing, 0.0])
    top = base + 500.0 * np.array([math.sin(math.radians(skew)), math.cos(math.radians(skew))])
    # The plate is raised at its +X foot by the shim, turning about the other.
    angle = math.asin(shim / spacing)
    assert turned(right, left, angle)[1] == pytest.approx(shim, abs=1e-9)
    upright = turned(top, left, angle) - turned(base, left, angle)
    # ISO 230-1:2012, 3.6.7: squareness is the difference of the inclinations of the two reference lines
    assert math.degrees(math.atan2(upright[0], upright[1])) - 0.0 == pytest.approx(0.0, abs=1e-9)


@given(SKEWS, SPACINGS)
def test_a_beam_moved_at_its_end_stands_square_to_y(skew, width):
    shift = beam_shift(skew, 0.0, width).value
    y_axis = np.array([math.sin(math.radians(skew)), math.cos(math.radians(skew))])  # leans toward +X
    # The beam along X turns about its -X end so that its +X end lies lower in Y by the shift.
    beam = np.array([math.sqrt(width**2 - shift**2), -shift])
    assert abs(beam @ y_axis) < 1e-9 * width


def test_half_a_degree_over_four_hundred_millimetres():
    # 400 sin 0.5 degrees
    assert foot_shim(0.5, 0.02, 400.0).value == pytest.approx(3.49061, abs=1e-5)
    assert foot_shim(0.5, 0.02, 400.0).std == pytest.approx(400.0 * math.radians(0.02), rel=1e-4)


def test_sine_bar():
    """A 100 mm sine bar stands at 30 degrees on 50 mm of gauge blocks (workshop practice, memory)."""
    assert foot_shim(30.0, 0.0, 100.0).value == pytest.approx(50.0, abs=1e-12)


def test_turns_of_a_screw():
    shim = foot_shim(0.5, 0.02, 400.0)
    turns = screw_turns(shim, 1.25)
    assert turns.value * 1.25 == pytest.approx(shim.value)
    assert turns.std * 1.25 == pytest.approx(shim.std)


@given(st.floats(-0.05, 0.05), st.floats(1.0, 1000.0))
def test_steps_so_multiplied_print_to_length(scale, length):
    factor = step_factor(scale, 0.0).value
    assert length * factor * (1.0 + scale) == pytest.approx(length)


def test_uncertainty_of_a_factor_is_its_slope():
    step = 1e-7
    slope = (step_factor(0.004 + step, 0.0).value - step_factor(0.004 - step, 0.0).value) / (2 * step)
    assert step_factor(0.004, 0.001).std == pytest.approx(abs(slope) * 0.001, rel=1e-6)


def test_what_remains_is_the_figure_and_the_steps_in_which_it_can_be_set():
    # rectangular of full width 0.05: 0.05 / sqrt(12) = 0.014434 mm each (JCGM 100:2008, 4.3.7), over 400 mm
    set_deg = math.degrees(0.014434 * math.sqrt(2) / 400.0)
    assert remaining_std_deg(0.01, 400.0, 0.05, 0.05) == pytest.approx(math.hypot(0.01, set_deg), rel=1e-4)
    assert remaining_std_deg(0.01, 400.0) == 0.01


@pytest.mark.parametrize(
    "call",
    [
        lambda: foot_shim(0.5, 0.0, 0.0),
        lambda: foot_shim(50.0, 0.0, 400.0),
        lambda: screw_turns(foot_shim(0.5, 0.0, 400.0), 0.0),
        lambda: step_factor(-1.0, 0.0),
    ],
)
def test_what_is_no_machine_is_refused(call):
    with pytest.raises(ValueError, match=r"positive|printer|nothing"):
        call()
