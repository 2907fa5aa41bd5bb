"""One-way clutch, Chase and others, Brigham Young University (memory; reproduces, source text not seen).

cos(phi) = (a + c)/(e - c). Tolerances are three standard deviations.
"""

import math

import numpy as np

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import LinearMap, Sources, worst_case
from published.registry import check

SOURCE = "One-way clutch, Chase and others"
A, C, E = 27.645, 11.430, 50.800
TOLERANCES = {"a": 0.05, "c": 0.01, "e": 0.0125}


def clutch() -> LinearMap:
    """Pressure angle [deg] with its derivatives in closed form."""
    phi = math.acos((A + C) / (E - C))
    per_cosine = -1.0 / math.sin(phi)
    row = np.array([1.0, 1.0 + (A + C) / (E - C), -(A + C) / (E - C)]) * per_cosine / (E - C)
    sources = Sources.of([(name, Estimate(0.0, width / 3.0)) for name, width in TOLERANCES.items()])
    return LinearMap(np.array([math.degrees(phi)]), np.degrees(row)[None], sources)


def test_angle_and_sensitivities() -> None:
    ours = clutch()
    check(SOURCE, "phi", 7.018, ours.mean[0], 5e-4, seen=False, unit="deg")
    roller = math.sqrt((E - C) ** 2 - (A + C) ** 2)
    check(SOURCE, "b", 4.8105, roller, 5e-5, seen=False, unit="mm")
    for name, theirs, derivative in zip("ace", (-0.207877, -0.414196, 0.206319), ours.matrix[0], strict=True):
        check(SOURCE, f"dphi/d{name}", theirs, math.radians(derivative), 1e-6, seen=False, unit="rad/mm")


def test_root_sum_square_and_worst_case() -> None:
    ours = clutch()
    check(SOURCE, "root sum square", 0.6579, 3.0 * ours.std[0], 5e-5, seen=False, unit="deg")
    low, high = worst_case(ours.mean, np.abs(ours.matrix) * ours.sources.half_width)
    check(SOURCE, "worst case, upward", 0.9806, high[0] - ours.mean[0], 5e-5, seen=False, unit="deg")
    check(SOURCE, "worst case, downward", 0.9806, ours.mean[0] - low[0], 5e-5, seen=False, unit="deg")
