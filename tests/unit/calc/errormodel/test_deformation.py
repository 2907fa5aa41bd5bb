"""The affine error model against its definition and finite differences."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from dryfit.calc.errormodel import (
    affine_derivatives,
    machine_gain,
    part_gain,
    row_derivatives,
    skew_radians,
)

FIGURES = np.array([0.001, -0.002, 0.003, 0.4, -0.3, 0.2])
POSE = Rotation.from_rotvec([0.4, -1.1, 0.7]).as_matrix()


def test_the_matrix_is_the_one_that_the_error_model_defines() -> None:
    t = [math.tan(math.radians(angle)) for angle in (0.4, -0.3, 0.2)]
    expected = [[1.001, t[0], t[1]], [0.0, 0.998, t[2]], [0.0, 0.0, 1.003]]
    assert machine_gain(FIGURES) == pytest.approx(np.array(expected), abs=1e-15)


def test_a_positive_xz_skew_leans_toward_x_as_the_print_grows() -> None:
    top = machine_gain(np.array([0, 0, 0, 0, 0.5, 0])) @ [0.0, 0.0, 500.0]
    # common practice: half a degree is 4.4 mm in 500 mm
    assert top == pytest.approx([500.0 * math.tan(math.radians(0.5)), 0.0, 500.0])
    assert top[0] == pytest.approx(4.36, abs=0.005)


@pytest.mark.parametrize("bad", [[-1.0, 0, 0, 0, 0, 0], [0, 0, 0, 45.0, 0, 0], [0, 0, 0, 0, 0, -90.0]])
def test_figures_of_no_printer_are_refused(bad: list[float]) -> None:
    with pytest.raises(ValueError, match="out of range"):
        machine_gain(np.array(bad))


def test_a_part_deforms_in_the_axes_of_its_machine() -> None:
    # machine x scale only; the part's y axis lies along machine x: its y grows
    to_machine = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    deformed = part_gain(machine_gain(np.array([0.01, 0, 0, 0, 0, 0])), to_machine, 0.0)
    assert deformed == pytest.approx(np.diag([1.0, 1.01, 1.0]))


def test_shrinkage_makes_smaller_and_warmth_larger() -> None:
    assert part_gain(np.eye(3), POSE, 0.002) == pytest.approx(0.998 * np.eye(3))
    assert part_gain(np.eye(3), POSE, 0.0, 70e-6 * 30.0) == pytest.approx((1.0 + 2.1e-3) * np.eye(3))


def test_derivatives_agree_with_differences() -> None:
    step = 1e-5
    derivatives = affine_derivatives(POSE)
    for index in range(6):
        bump = np.eye(6)[index] * step
        upper, lower = (part_gain(machine_gain(sign * bump), POSE, 0.0) for sign in (1.0, -1.0))
        assert derivatives[index] == pytest.approx((upper - lower) / (2.0 * step), abs=1e-9)


def test_row_derivatives_read_the_same_deformation_along_a_direction() -> None:
    generator = np.random.default_rng(3)
    direction, arm = generator.standard_normal((2, 5, 3))
    ours = row_derivatives(direction @ POSE.T, arm @ POSE.T)
    theirs = np.einsum("ni,kij,nj->nk", direction, affine_derivatives(POSE), arm)
    assert ours == pytest.approx(theirs, abs=1e-12)


def test_skews_in_radians() -> None:
    ours = skew_radians(np.array([FIGURES, FIGURES]))
    expected = [*FIGURES[:3], *np.radians(FIGURES[3:])]
    assert ours == pytest.approx(np.array([expected, expected]))
    assert FIGURES[3] == 0.4
