"""Sizes of the invented observatory [mm, model size]; why they are as they are stands in demo_observatory."""

from __future__ import annotations

import math

SEGMENTS = 6
RIBS = 12
R_INNER, R_OUTER, RING_TOP = 480.0, 560.0, 40.0  # ring section 80 x 40: stout, and room for the rib feet
R_RIB_TIP, SEAT_LENGTH, RIB_RISE, RIB_WIDTH = 80.0, 60.0, 460.0, 28.0
R_CROWN_INNER, R_CROWN_OUTER, CROWN_HEIGHT = 75.0, 145.0, 30.0  # 290 mm across fits the small machine
RAIL_OFFSET, RAIL_WIDTH, RAIL_TIP, RAIL_RADIUS = 60.0, 28.0, 70.0, 410.0
WALL_INNER, WALL_OUTER, WALL_HEIGHT = 520.0, 550.0, 200.0

CROWN_BOTTOM = RING_TOP + RIB_RISE
CROWN_TOP = CROWN_BOTTOM + CROWN_HEIGHT
RAIL_LEG = CROWN_TOP - RING_TOP - math.sqrt(RAIL_RADIUS**2 - SEAT_LENGTH**2)  # the seat lies on the crown


def middle_deg(segment: int) -> float:
    """Azimuth of the middle of ring segment or wall panel 1 to 6."""
    return 30.0 + 60.0 * (segment - 1)


def rib_deg(rib: int) -> float:
    """Azimuth of rib 1 to 12: two on each segment, none on a joint."""
    return 15.0 + 30.0 * (rib - 1)
