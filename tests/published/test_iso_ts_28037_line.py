"""Weighted straight line, ISO/TS 28037:2010, the example with equal weights (seen)."""

import numpy as np

from dryfit.calc.adjust import adjust
from dryfit.calc.charts import fit_drift
from published.registry import check

SOURCE = "ISO/TS 28037:2010"
X = np.arange(1.0, 7.0)
Y = np.array([3.3, 5.6, 7.1, 9.3, 10.7, 12.1])


def test_line() -> None:
    line = adjust(np.column_stack([np.ones(6), X]), Y, np.full(6, 0.25), names=("a", "b"))
    check(SOURCE, "a", 1.866667, line.estimate[0], 5e-7, seen=True)
    check(SOURCE, "b", 1.757143, line.estimate[1], 5e-7, seen=True)
    check(SOURCE, "u(a)", 0.4654747, line.std[0], 6e-8, seen=True)
    check(SOURCE, "u(b)", 0.1195229, line.std[1], 6e-8, seen=True)
    check(SOURCE, "cov(a, b)", -0.050, line.covariance[0, 1], 5e-4, seen=True)
    check(SOURCE, "chi-square", 1.665, line.vpv, 5e-4, seen=True)
    assert line.dof == 4
    assert line.is_consistent


def test_line_as_a_drift() -> None:
    drift = fit_drift(X, Y, np.full(6, 0.5))
    check(SOURCE, "a, as a drift", 1.866667, drift.value(0.0), 5e-7, seen=True)
    check(SOURCE, "b, as a drift", 1.757143, drift.rate, 5e-7, seen=True)
    check(SOURCE, "u(a), as a drift", 0.4654747, drift.std(0.0), 6e-8, seen=True)
    check(SOURCE, "u(b), as a drift", 0.1195229, drift.rate_std, 6e-8, seen=True)
    check(SOURCE, "chi-square, as a drift", 1.665, drift.vpv, 5e-4, seen=True)
