"""A skew read with a square: from the gap at its blade."""

from __future__ import annotations

import math


def skew_of_gap(gap_mm: float, height_mm: float, toward: int) -> float:
    """Skew [deg] of the blade's axis, positive where it leans toward the positive side of the stock's axis.

    gap_mm : between blade and face, positive where it opens at the tip, negative at the heel   height_mm : where it
    was taken, over the stock   toward : +1 where the stock points along its positive axis from the corner, -1 along
    the negative one
    Source: the gap of a square on a sheared body, -height tan(skew) for a stock that points along the positive axis
    (design.md, section 4).
    """
    return -toward * math.degrees(math.atan2(gap_mm, height_mm)) + 0.0  # never a minus before zero


def skew_std(gap_std_mm: float, gap_mm: float, height_mm: float) -> float:
    """Standard uncertainty [deg] of that skew by the gap's. Source: JCGM 100:2008, eq. 10."""
    return math.degrees(gap_std_mm * height_mm / (height_mm**2 + gap_mm**2))
