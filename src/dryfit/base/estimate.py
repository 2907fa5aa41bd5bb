"""A value with its standard uncertainty and the shape of its distribution."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Distribution = Literal["normal", "uniform", "triangular"]

# Half width of a distribution over its standard deviation. Rectangular and triangular: JCGM 100:2008,
# 4.3.7 and 4.3.9. Normal: +-3 standard deviations is taken as the worst case (common practice, no source).
HALF_WIDTHS: dict[Distribution, float] = {
    "normal": 3.0,
    "uniform": math.sqrt(3.0),
    "triangular": math.sqrt(6.0),
}


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value and its standard uncertainty, both in the unit of the name that holds it."""

    value: float
    std: float = 0.0
    distribution: Distribution = "normal"

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.std)):
            raise ValueError("an estimate must be finite")
        if self.std < 0:
            raise ValueError(f"a standard uncertainty cannot be negative: {self.std}")

    @property
    def half_width(self) -> float:
        """Largest departure from the value that the worst case counts with."""
        return HALF_WIDTHS[self.distribution] * self.std
