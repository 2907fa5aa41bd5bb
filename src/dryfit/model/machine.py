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

Knowledge = Literal["stated", "prior", "estimated"]


@dataclass(frozen=True, slots=True)
class Estimated:
    """How the figures of a machine hang together where readings estimated them.

    record       of the qualification in the ledger
    at           UTC, ISO 8601
    correlation  (8, 8) of the figures, in the order of FIGURES
    material     id of the material of the artefact
    with_shrinkage  (8,) correlation of each figure with the shrinkage of that material
    dof          degrees of freedom of the variances; infinite where they were taken as known
    """

    record: int
    at: str
    correlation: tuple[tuple[float, ...], ...]
    material: str
    with_shrinkage: tuple[float, ...]
    dof: float


@dataclass(frozen=True, slots=True)
class ErrorModel:
    """What a machine makes of a commanded point.

    figures          one estimate per name of FIGURES; scales are dimensionless, skews in degrees
    repeatability_mm one standard deviation of a printed point, per axis [mm]
    first_layer_height_mm  height over the bed within which the flare acts [mm]
    knowledge        "stated" by the user, "estimated" from readings of the ledger, or the wide "prior" of a
                     machine never qualified
    unstated         names of figures that the document leaves out and that were taken as exactly 0
    exact            names of figures stated without a standard uncertainty
    estimated        how the figures were estimated and hang together; None where they were not
    """

    figures: Mapping[str, Estimate]
    repeatability_mm: float
    first_layer_height_mm: float
    knowledge: Knowledge
    unstated: tuple[str, ...] = ()
    exact: tuple[str, ...] = ()
    estimated: Estimated | None = None

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
    """A printer.

    build_volume_mm     usable x, y, z extents [mm]
    extrusion_width_mm  of one printed line [mm]; None: not stated
    overhang_deg        steepest overhang, from the vertical, that it prints without support; None: not stated
    clearance_mm        to be kept from the sides of the build volume [mm]; None: not stated
    upright_feet_mm     spacing along X and along Y of the bolts or feet by which the uprights stand on the
                        frame that carries bed and guides [mm]; None: not stated
    foot_pitch_mm       of the screws of those feet, where they are screws [mm]; None: not stated
    gantry_width_mm     distance of the two guides of the gantry, along X [mm]; None: not stated
    """

    id: str
    build_volume_mm: tuple[float, float, float]
    error: ErrorModel
    extrusion_width_mm: float | None = None
    overhang_deg: float | None = None
    clearance_mm: float | None = None
    upright_feet_mm: tuple[float, float] | None = None
    foot_pitch_mm: float | None = None
    gantry_width_mm: float | None = None
