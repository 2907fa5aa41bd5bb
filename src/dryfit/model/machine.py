"""A printer: its build volume and its error figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from dryfit.base.estimate import Estimate

# The figures of the error model, in the order of every vector and matrix of machine sources.
FIGURES = (
    "scale_x",
    "scale_y",
    "scale_z",
    "skew_xy_deg",
    "skew_xz_deg",
    "skew_yz_deg",
    "boundary_offset_mm",
    "first_layer_flare_mm",
)
AFFINE_FIGURES = FIGURES[:6]

Knowledge = Literal["stated", "prior"]


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """What a machine makes of a commanded point.

    figures          one estimate per name of FIGURES; scales are dimensionless, skews in degrees
    repeatability_mm one standard deviation of a printed point, per axis [mm]
    first_layer_height_mm  height over the bed within which the flare acts [mm]
    knowledge        "stated" by the user, or the wide "prior" of a machine never qualified
    unstated         names of figures that the document leaves out and that were taken as exactly 0
    exact            names of figures stated without a standard uncertainty
    """

    figures: Mapping[str, Estimate]
    repeatability_mm: float
    first_layer_height_mm: float
    knowledge: Knowledge
    unstated: tuple[str, ...] = ()
    exact: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if set(self.figures) != set(FIGURES):
            raise ValueError(f"an error model holds exactly the figures {FIGURES}")
        if not self.repeatability_mm >= 0:
            raise ValueError("repeatability_mm cannot be negative")


# Common practice, no source: a home-built printer stands square within 0.3 degrees and to scale within
# 0.3 %, its outlines within 0.1 mm and its points within 0.1 mm (one standard deviation each).
_PRIOR_STD = {
    "scale_x": 0.003,
    "scale_y": 0.003,
    "scale_z": 0.003,
    "skew_xy_deg": 0.3,
    "skew_xz_deg": 0.3,
    "skew_yz_deg": 0.3,
    "boundary_offset_mm": 0.1,
    "first_layer_flare_mm": 0.0,
}

WIDE_PRIOR = ErrorModel(
    figures={name: Estimate(0.0, std) for name, std in _PRIOR_STD.items()},
    repeatability_mm=0.1,
    first_layer_height_mm=0.0,
    knowledge="prior",
)


@dataclass(frozen=True, slots=True)
class Machine:
    """A printer. build_volume_mm: usable x, y, z extents [mm]."""

    id: str
    build_volume_mm: tuple[float, float, float]
    error: ErrorModel
