"""The invented observatory at true size [mm], as its photographs show it, and the points that are marked on them.

The meshes were modelled to a guide that prints 14.6 m; here stands what the invented building really measures. Axes
are those of the model: z up from the terrace, x out of the door and the shutter, y to the right of who faces them.

A dome has no upright edge, so that nothing on it shows its rise in one picture. A stair tower stands beside it: its two
bridges are level and as deep as the rings that they meet, and its posts show all four levels one above the other.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from dryfit.base.arrays import Array

DRUM, RING, RISE, CROWN = 3640.0, 800.0, 8360.0, 600.0
WALL_TOP, RING_TOP, SEAT = DRUM, DRUM + RING, DRUM + RING + RISE
OVERALL = DRUM + RING + RISE + CROWN
GUIDE = 14600.0

R_WALL, R_RING, R_CROWN = 11000.0, 11200.0, 2900.0
PIER_FACE, PIER_HALF = 11150.0, 450.0
PORTAL_FACE, PORTAL_HALF = 11200.0, 1300.0
DOOR_HALF, DOOR_HEIGHT = 600.0, 2100.0
STAIR_FACE, STAIR_LEFT, STAIR_RIGHT, POST = 3000.0, 13200.0, 15200.0, 200.0
LADDER_MIDDLE, LADDER_HALF, RUNG, LADDER = 14200.0, 310.0, 300.0, 6600.0
STAFF_FOOT, STAFF = (12000.0, -4200.0), 4000.0
TARGET_X, TARGET_Y = 15000.0, 8000.0
FLAG = 2000.0
# Ribs on the side of the door, by their number in the model, and their azimuth.
RIBS_DEG: Mapping[int, float] = {1: 15.0, 2: 45.0, 11: -45.0, 12: -15.0}
LEVELS: Mapping[str, float] = {
    "foot": 0.0,
    "wall": WALL_TOP,
    "ring": RING_TOP,
    "seat": SEAT,
    "crown": OVERALL,
}


def list_points() -> dict[str, Array]:
    """Points that can be told apart on a photograph, by name: (3,) each."""
    points: dict[str, Array] = {}
    for post, y in (("left", STAIR_LEFT), ("right", STAIR_RIGHT)):
        for level, z in LEVELS.items():
            points[f"stair.{post}.{level}"] = np.array([STAIR_FACE, y, z])
    for side, sign in (("left", -1.0), ("right", 1.0)):
        for level, z in (("foot", 0.0), ("top", WALL_TOP)):
            points[f"portal.{side}.{level}"] = np.array([PORTAL_FACE, sign * PORTAL_HALF, z])
        for level, z in (("foot", 0.0), ("top", DOOR_HEIGHT)):
            points[f"door.{side}.{level}"] = np.array([PORTAL_FACE, sign * DOOR_HALF, z])
        for level, z in (("foot", 0.0), ("top", LADDER)):
            points[f"ladder.{side}.{level}"] = np.array([STAIR_FACE, LADDER_MIDDLE + sign * LADDER_HALF, z])
        points[f"target.{side}"] = np.array([TARGET_X, sign * TARGET_Y, 0.0])
        for rib, azimuth in RIBS_DEG.items():
            along = _across(azimuth) * sign
            for level, z in (("foot", 0.0), ("top", WALL_TOP)):
                points[f"pier-{rib}.{side}.{level}"] = _out(azimuth, PIER_FACE, z) + along * PIER_HALF
    for rib, azimuth in RIBS_DEG.items():
        for level, z in (("low", SEAT), ("high", OVERALL)):
            points[f"cleat-{rib}.{level}"] = _out(azimuth, R_CROWN + 60.0, z) - _across(azimuth) * 200.0
    for level, z in (("foot", 0.0), ("top", STAFF)):
        points[f"staff.{level}"] = np.array([*STAFF_FOOT, z])
    return points


def _out(azimuth_deg: float, radius: float, z: float) -> Array:
    angle = math.radians(azimuth_deg)
    return np.array([radius * math.cos(angle), radius * math.sin(angle), z])


def _across(azimuth_deg: float) -> Array:
    """To the right of who looks at the building from that side (3,)."""
    angle = math.radians(azimuth_deg)
    return np.array([-math.sin(angle), math.cos(angle), 0.0])
