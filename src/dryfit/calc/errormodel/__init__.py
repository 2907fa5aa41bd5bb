"""How the sources of a machine and a material move printed points."""

from dryfit.calc.errormodel.deformation import (
    affine_derivatives,
    machine_gain,
    part_gain,
    row_derivatives,
    skew_radians,
)
from dryfit.calc.errormodel.lengths import UNKNOWNS, Lengths, MeasureArrays, measure_arrays, read_lengths
from dryfit.calc.errormodel.surface import Outward, outward_motion

__all__ = [
    "UNKNOWNS",
    "Lengths",
    "MeasureArrays",
    "Outward",
    "affine_derivatives",
    "machine_gain",
    "measure_arrays",
    "outward_motion",
    "part_gain",
    "read_lengths",
    "row_derivatives",
    "skew_radians",
]
