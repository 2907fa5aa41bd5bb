"""Sizes of the invented observatory [mm, model size]; why they are as they are stands in demo_observatory."""

from __future__ import annotations

import math
from dataclasses import dataclass

SEGMENTS = 6
RIBS = 12
R_INNER, R_OUTER, RING_TOP = 480.0, 560.0, 40.0  # ring section 80 x 40: stout, and room for the rib feet
R_RIB_TIP, SEAT_LENGTH, RIB_WIDTH = 80.0, 60.0, 28.0
R_RIB_ARC = 460.0  # a rib of this rise is a quarter of a circle, any other one of an ellipse
R_CROWN_INNER, R_CROWN_OUTER, CROWN_HEIGHT = 75.0, 145.0, 30.0  # 290 mm across fits the small machine
RAIL_OFFSET, RAIL_WIDTH, RAIL_TIP, RAIL_RADIUS = 60.0, 28.0, 70.0, 410.0
RAIL_RELIEF, RELIEF_RISE = 8.0, 0.5  # from the end of the seat to past the edge of the crown
WALL_INNER, WALL_OUTER = 520.0, 550.0


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights that the evidence decides [mm]: rib_rise from foot to seat, wall_height of the drum."""

    rib_rise: float
    wall_height: float

    @property
    def crown_bottom(self) -> float:
        """Over the plate."""
        return RING_TOP + self.rib_rise

    @property
    def crown_top(self) -> float:
        """Over the plate."""
        return self.crown_bottom + CROWN_HEIGHT

    @property
    def rib_tilt_deg(self) -> float:
        """By how much a rib is tilted on the bed to stand on both ends."""
        return math.degrees(math.atan2(self.rib_rise, R_RIB_ARC))

    @property
    def rail_leg(self) -> float:
        """The straight rise of a rail whose seat lies on the crown."""
        return self.crown_top - RING_TOP - math.sqrt(RAIL_RADIUS**2 - SEAT_LENGTH**2)


BY_THE_GUIDE = Heights(rib_rise=460.0, wall_height=200.0)
BY_THE_SCHEDULE = Heights(rib_rise=418.0, wall_height=182.0)


def middle_deg(segment: int) -> float:
    """Azimuth of the middle of ring segment or wall panel 1 to 6."""
    return 30.0 + 60.0 * (segment - 1)


def rib_deg(rib: int) -> float:
    """Azimuth of rib 1 to 12: two on each segment, none on a joint."""
    return 15.0 + 30.0 * (rib - 1)
