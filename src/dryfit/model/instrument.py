"""The instruments that a builder owns, and what is known of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

InstrumentKind = Literal[
    "caliper", "steel rule", "tape", "square", "height gauge", "dial indicator", "micrometer"
]

# What a reading is: see model.artefact.Measure.
MeasureKind = Literal["outside", "inside", "centres", "step", "height", "diagonal", "square"]

MEASURES_OF: dict[InstrumentKind, tuple[MeasureKind, ...]] = {
    "caliper": ("outside", "inside", "centres", "step", "height", "diagonal"),
    "steel rule": ("outside", "centres", "step", "height", "diagonal"),
    "tape": ("outside", "centres", "step", "height", "diagonal"),
    "square": ("square",),
    "height gauge": ("height",),
    "dial indicator": ("square",),
    "micrometer": ("outside", "height"),
}


@dataclass(frozen=True, slots=True)
class Instrument:
    """An instrument in the hands of its user.

    range_mm          longest length that it reads; of a square the length of its blade [mm]
    least_mm          shortest length that it reads [mm]
    resolution_mm     step of its display or scale; of a square the step of the feeler gauges [mm]
    mpe_mm, mpe_per_m_mm  maximum permissible error mpe_mm + mpe_per_m_mm * length / 1 m [mm]: shared by all
                      its readings; of a square the departure at the tip of the blade
    repeatability_mm  one standard deviation of one reading by its user [mm]
    repeatability_dof degrees of freedom of that; infinite where it was stated or assumed
    repeatability_from  in words: "stated", "assumed", "gauge study, record 12"
    expansion_per_k   of its scale [1/K]
    source            of its figures, in words
    """

    id: str
    kind: InstrumentKind
    range_mm: float
    resolution_mm: float
    mpe_mm: float
    mpe_per_m_mm: float = 0.0
    repeatability_mm: float = 0.0
    repeatability_dof: float = math.inf
    repeatability_from: str = "assumed"
    least_mm: float = 0.0
    expansion_per_k: float = 11.5e-6
    source: str = ""

    @property
    def measures(self) -> tuple[MeasureKind, ...]:
        """What it can read."""
        return MEASURES_OF[self.kind]

    def can_read(self, kind: MeasureKind, length_mm: float) -> bool:
        """Whether it reads a length of this kind. Of a square the height over the stock counts."""
        return kind in self.measures and self.least_mm <= length_mm <= self.range_mm
