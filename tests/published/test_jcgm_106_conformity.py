"""Probability of conformity, JCGM 106:2012, Table 1 (memory; reproduces, source text not seen)."""

import pytest

from dryfit.calc.chain import probability_outside
from published.registry import check

SOURCE = "JCGM 106:2012, Table 1"
TABLE = [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]


@pytest.mark.parametrize(("conforms", "z"), TABLE)
def test_one_sided_limits(conforms: float, z: float) -> None:
    above_lower = 1.0 - probability_outside(10.0 + 2.0 * z, 2.0, 10.0, None)
    below_upper = 1.0 - probability_outside(10.0 - 2.0 * z, 2.0, None, 10.0)
    # z is rounded to two decimals: half its last digit times the normal density there
    tolerance = {0.80: 1.5e-3, 0.90: 1e-3, 0.95: 6e-4, 0.99: 2e-4, 0.999: 3e-5}[conforms]
    check(SOURCE, f"lower limit, z {z}", conforms, above_lower, tolerance, seen=False)
    check(SOURCE, f"upper limit, z {z}", conforms, below_upper, tolerance, seen=False)
