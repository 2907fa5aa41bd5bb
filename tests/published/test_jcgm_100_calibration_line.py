"""Calibration line of a thermometer, JCGM 100:2008 annex H.3 (seen).

A least-squares line is the update of a flat prior by the observations: the prior std of 10 is 3,000 times
the result's, which shifts the result by one part in ten million.
"""

import numpy as np

from dryfit.base.estimate import Estimate
from dryfit.calc.adjust import adjust
from dryfit.calc.chain import LinearMap, Sources, condition
from dryfit.calc.charts import fit_drift
from published.registry import check

SOURCE = "JCGM 100:2008, H.3"
T = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
B = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
DESIGN = np.column_stack([np.ones(len(T)), T - 20.0])


def test_line() -> None:
    free = condition(np.zeros(2), 100.0 * np.eye(2), DESIGN, B, 1e-4 * np.eye(len(T)))
    s = float(np.sqrt(((B - DESIGN @ free.shift) ** 2).sum() / (len(T) - 2)))
    line = condition(np.zeros(2), 100.0 * np.eye(2), DESIGN, B, s**2 * np.eye(len(T)))
    std = np.sqrt(np.diag(line.covariance))
    check(SOURCE, "intercept", -0.1712, line.shift[0], 5e-5, seen=True, unit="C")
    check(SOURCE, "slope", 0.00218, line.shift[1], 5e-6, seen=True)
    check(SOURCE, "u(intercept)", 0.0029, std[0], 5e-5, seen=True, unit="C")
    check(SOURCE, "u(slope)", 0.00067, std[1], 5e-6, seen=True)
    check(SOURCE, "correlation", -0.930, line.covariance[0, 1] / (std[0] * std[1]), 5e-4, seen=True)
    check(SOURCE, "s", 0.0035, s, 5e-5, seen=True, unit="C")
    at_30 = np.array([[1.0, 10.0]])
    check(SOURCE, "b(30 C)", -0.1494, (at_30 @ line.shift)[0], 5e-5, seen=True, unit="C")
    u_30 = np.sqrt(at_30 @ line.covariance @ at_30.T)[0, 0]
    check(SOURCE, "u(b(30 C))", 0.0041, u_30, 5e-5, seen=True, unit="C")


def test_innovations_of_a_first_reading_are_the_readings_themselves() -> None:
    line = condition(np.zeros(2), 1e-6 * np.eye(2), DESIGN[:1], B[:1], np.array([[9e-6]]))
    assert line.innovation[0] == B[0]
    expected = LinearMap(
        np.zeros(1), DESIGN[:1], Sources.of([("a", Estimate(0.0, 1e-3)), ("b", Estimate(0.0, 1e-3))])
    )
    assert abs(line.innovation_std[0] - np.sqrt(expected.covariance[0, 0] + 9e-6)) < 1e-15


def test_line_by_adjustment() -> None:
    line = adjust(DESIGN, B, np.ones(len(T)), names=("intercept", "slope"))
    std = line.std * line.unit_std
    check(SOURCE, "intercept, adjusted", -0.1712, line.estimate[0], 5e-5, seen=True, unit="C")
    check(SOURCE, "u(intercept), adjusted", 0.0029, std[0], 5e-5, seen=True, unit="C")
    check(SOURCE, "u(slope), adjusted", 0.00067, std[1], 5e-6, seen=True)
    check(
        SOURCE,
        "correlation, adjusted",
        -0.930,
        line.covariance[0, 1] / (line.std[0] * line.std[1]),
        5e-4,
        seen=True,
    )
    check(SOURCE, "s, adjusted", 0.0035, line.unit_std, 5e-5, seen=True, unit="C")


def test_line_as_a_drift() -> None:
    drift = fit_drift(T, B)
    check(SOURCE, "slope, as a drift", 0.00218, drift.rate, 5e-6, seen=True)
    check(SOURCE, "u(slope), as a drift", 0.00067, drift.rate_std, 5e-6, seen=True)
    check(SOURCE, "s, as a drift", 0.0035, drift.scatter_std, 5e-5, seen=True, unit="C")
    check(SOURCE, "b(30 C), as a drift", -0.1494, drift.value(30.0), 5e-5, seen=True, unit="C")
    check(SOURCE, "u(b(30 C)), as a drift", 0.0041, drift.std(30.0), 5e-5, seen=True, unit="C")
    check(SOURCE, "intercept, as a drift", -0.1712, drift.value(20.0), 5e-5, seen=True, unit="C")
    assert drift.dof == 9.0
