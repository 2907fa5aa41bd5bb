"""How the sources of a machine and a material move printed points."""

from dryfit.calc.errormodel.deformation import (
    affine_derivatives,
    machine_gain,
    part_gain,
    row_derivatives,
    skew_radians,
)
from dryfit.calc.errormodel.surface import Outward, outward_motion

__all__ = [
    "Outward",
    "affine_derivatives",
    "machine_gain",
    "outward_motion",
    "part_gain",
    "row_derivatives",
    "skew_radians",
]
