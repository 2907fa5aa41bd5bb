"""Corrected copies of meshes: what to command so that a machine with known figures prints the model."""

from dryfit.calc.compensate.affine import correct_points, greatest_departure
from dryfit.calc.compensate.firmware import AxisSettings, axis_settings
from dryfit.calc.compensate.layers import cut_at_height
from dryfit.calc.compensate.outline import Outline, outline_motion

__all__ = [
    "AxisSettings",
    "Outline",
    "axis_settings",
    "correct_points",
    "cut_at_height",
    "greatest_departure",
    "outline_motion",
]
