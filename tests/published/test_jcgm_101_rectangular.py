"""Sum of four rectangular inputs, JCGM 101:2008, 9.2.3 (memory).

The 97.5 % point has the closed form 2 sqrt(3) (2 - 0.6^(1/4)), by the tail of the Irwin-Hall distribution:
the sum of four unit rectangles exceeds 4 - x with probability x^4/24. A normal sum would give 3.92.
"""

import numpy as np

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import LinearMap, Sources, sample
from published.registry import check

SOURCE = "JCGM 101:2008, 9.2.3"
FOUR = Sources.of([(f"x{k}", Estimate(0.0, 1.0, "uniform")) for k in range(4)])


def test_coverage_interval() -> None:
    exact = 2.0 * np.sqrt(3.0) * (2.0 - 0.6**0.25)
    draws = sample(
        np.zeros(1),
        np.zeros(1),
        np.ones((1, 4)),
        FOUR,
        np.array([-exact]),
        np.array([exact]),
        count=1_000_000,
    )
    check(SOURCE, "97.5 % point", 3.88, draws.high[0], 0.015, seen=False)
    check(SOURCE, "97.5 % point, closed form", exact, draws.high[0], 0.012, seen=False)
    check(SOURCE, "2.5 % point, closed form", -exact, draws.low[0], 0.012, seen=False)
    check(SOURCE, "share outside", 0.05, draws.outside[0], 0.001, seen=False)
    check(SOURCE, "standard deviation", 2.0, draws.std[0], 0.006, seen=False)


def test_standard_uncertainty_to_first_order() -> None:
    check(SOURCE, "u", 2.0, LinearMap(np.zeros(1), np.ones((1, 4)), FOUR).std[0], 1e-12, seen=False)
