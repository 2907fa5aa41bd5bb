"""Control charts, NIST/SEMATECH e-Handbook of Statistical Methods, chapter 6.3.2.

EWMA 6.3.2.4: seen. Individuals 6.3.2.2 and cumulative sums 6.3.2.3: from memory; they reproduce, text not seen.
"""

import numpy as np
import pytest

from dryfit.calc.charts import chart_ewma, chart_individuals, mean_moving_range, sum_up
from published.registry import check

FLOW = np.array([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
EARLIER = np.array([52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5])
AVERAGES = (
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
)
SUMS = np.array(
    [
        *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
        *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
    ]
)


def test_individuals() -> None:
    source = "NIST e-Handbook, individuals"
    chart = chart_individuals(FLOW)
    check(source, "mean", 50.81, chart.center, 5e-7, seen=False)
    check(source, "mean moving range", 1.8778, mean_moving_range(FLOW), 5e-5, seen=False)
    check(source, "upper limit", 55.8041, chart.upper[0], 5e-5, seen=False)
    check(source, "lower limit", 45.8159, chart.lower[0], 5e-5, seen=False)
    assert not chart.is_outside.any()


def test_ewma() -> None:
    source = "NIST e-Handbook 6.3.2.4, EWMA"
    chart = chart_ewma(np.concatenate([EARLIER, FLOW]), 50.0, 2.0539, weight=0.3, settled=True)
    for index, theirs in enumerate(AVERAGES):
        check(source, f"average {index + 1:02d}", theirs, chart.points[index], 6e-3, seen=True)
    # the handbook rounds the factor to .4201 and cuts the limits off after four digits
    check(source, "upper limit", 52.5884, chart.upper[0], 1e-4, seen=True)
    check(source, "lower limit", 47.4115, chart.lower[0], 1e-4, seen=True)
    assert not chart.is_outside.any()


def test_exact_limits_are_those_of_one_value_at_first_and_the_settled_ones_at_last() -> None:
    exact = chart_ewma(np.full(60, 50.0), 50.0, 2.0, weight=0.3)
    assert exact.upper[0] == pytest.approx(50.0 + 3.0 * 0.3 * 2.0)  # the first average is 0.3 of a value
    assert exact.upper[-1] == pytest.approx(50.0 + 3.0 * 2.0 * np.sqrt(0.3 / 1.7))


def test_cumulative_sums() -> None:
    source = "NIST e-Handbook, cumulative sums"
    sums = sum_up(SUMS, 325.0, 0.3175, 4.1959)
    theirs = (3.0075, 4.94, 7.4475, 10.63, 11.9875, 14.445, 16.0025, 19.035)
    for index, value in enumerate(theirs):
        check(source, f"high side {index + 13}", value, sums.high[index + 12], 5e-5, seen=False)
    assert sums.alarm == 13  # the fourteenth, counted from one
