"""A skew read with a square, against the printed body itself: angles between the edges that a sheared machine makes."""

import math

import numpy as np
import pytest

from dryfit.calc.charts import chart_individuals, skew_of_gap, skew_std
from dryfit.calc.errormodel import machine_gain

AXES = np.eye(3)


@pytest.mark.parametrize("toward", [1, -1])
@pytest.mark.parametrize(("place", "blade", "stock"), [(3, 1, 0), (4, 2, 0), (5, 2, 1)])
def test_the_gap_of_a_sheared_corner_gives_its_skew_back(
    place: int, blade: int, stock: int, toward: int
) -> None:
    figures = np.zeros(6)
    figures[place] = 0.6
    printed = machine_gain(figures)
    edge, base = printed @ AXES[blade], printed @ (toward * AXES[stock])
    angle = math.acos(edge @ base / np.linalg.norm(edge) / np.linalg.norm(base))
    # An angle above 90 degrees opens the gap at the tip of a square of 300 mm.
    gap = -300.0 / math.tan(angle)
    assert skew_of_gap(gap, 300.0, toward) == pytest.approx(0.6, abs=1e-9)


def test_half_a_degree_is_4_4_mm_at_half_a_metre() -> None:
    # published-checks.md, common practice: half a degree is 4.4 mm in 500 mm.
    assert skew_of_gap(-4.36, 500.0, 1) == pytest.approx(0.5, abs=1e-3)


def test_std_of_a_skew_is_the_change_that_the_gap_makes() -> None:
    step = skew_of_gap(-2.001, 300.0, 1) - skew_of_gap(-1.999, 300.0, 1)
    assert skew_std(0.002, -2.0, 300.0) == pytest.approx(step, rel=1e-6)


def test_readings_on_one_step_of_the_feeler_gauges_do_not_draw_the_limits_together() -> None:
    chart = chart_individuals(np.full(6, 0.1), least_std=0.02)
    assert chart.upper[0] == pytest.approx(0.16)
    assert not chart.is_outside.any()
