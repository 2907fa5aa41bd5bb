"""Squareness as a height under a foot or a shift of one end; scale as a factor. Plane geometry.

ISO 230-1:2012, 3.6.7: the squareness of two axes is the difference between the inclinations of two reference
lines. A plate with feet a distance L apart, one of them raised by h, inclines by asin(h / L), and so does
what stands on it: the raised side moves up, the top moves away from it. A lean toward +X is therefore taken
out by raising the feet on the +X side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# Common practice, no source: thinnest foil that shims are built up from, and step of a set of feeler gauges.
SHIM_STEP_MM = 0.05
FEELER_MM = 0.05


@dataclass(frozen=True, slots=True)
class Adjustment:
    """A length to be set, with its standard uncertainty, both in the unit of the name that holds it.

    value  positive on the side that the function names
    """

    value: float
    std: float


def foot_shim(skew_deg: float, std_deg: float, spacing_mm: float) -> Adjustment:
    """Thickness [mm] under the foot on the positive side that takes a lean toward the positive side out.

    spacing_mm : between the two feet, measured along the plate that joins them
    Negative: under the foot on the negative side.
    Source: the sine of the inclination of a plate on two supports (sine bar; trade, memory).
    """
    _check(skew_deg, spacing_mm)
    skew = math.radians(skew_deg)
    return Adjustment(spacing_mm * math.sin(skew), spacing_mm * math.cos(skew) * math.radians(std_deg))


def screw_turns(shim: Adjustment, pitch_mm: float) -> Adjustment:
    """Turns of a foot's screw that raise it by a thickness."""
    if not pitch_mm > 0:
        raise ValueError("a screw has a positive pitch")
    return Adjustment(shim.value / pitch_mm, shim.std / pitch_mm)


def beam_shift(skew_xy_deg: float, std_deg: float, width_mm: float) -> Adjustment:
    """How far [mm] the +X end of a beam along X is moved toward -Y, its other end held, to stand square to Y.

    Positive XY: Y leans toward +X, so that the angle between +X and +Y is less than 90 degrees.
    """
    return foot_shim(skew_xy_deg, std_deg, width_mm)


def step_factor(scale: float, std: float) -> Adjustment:
    """By what to multiply the steps per millimetre of an axis that prints 1 + scale times too long."""
    if not scale > -1.0:
        raise ValueError("an axis cannot be shorter than nothing")
    return Adjustment(1.0 / (1.0 + scale), std / (1.0 + scale) ** 2)


def remaining_std_deg(std_deg: float, spacing_mm: float, *steps_mm: float) -> float:
    """Standard uncertainty of a skew [deg] once it was taken out over a spacing.

    steps_mm : each a length that can be set or seen in steps only: rectangular, of that full width
    Source: JCGM 100:2008, F.2.2.1, resolution of an indication; root sum of squares.
    """
    _check(0.0, spacing_mm)
    set_std = math.sqrt(sum(step**2 for step in steps_mm) / 12.0)
    return math.hypot(std_deg, math.degrees(set_std / spacing_mm))


def _check(skew_deg: float, spacing_mm: float) -> None:
    if not abs(skew_deg) < 45.0:
        raise ValueError("a skew of 45 degrees or more is no printer's")
    if not spacing_mm > 0:
        raise ValueError("a spacing is positive")
