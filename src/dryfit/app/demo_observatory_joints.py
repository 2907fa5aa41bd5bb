"""Joints of the invented observatory: how its parts are held while they are bonded."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dryfit.app.demo_files import polar, write_joint, write_numbers, write_points
from dryfit.app.demo_observatory_sizes import (
    R_INNER,
    RAIL_OFFSET,
    RIBS,
    RING_TOP,
    SEGMENTS,
    WALL_INNER,
    WALL_OUTER,
    Heights,
    middle_deg,
    rib_deg,
)
from dryfit.base.arrays import Array

_PLAY = ("contact_play_mm = 0.02", "locator_play_mm = 0.03")
# Faces touch dry; the cement lies in grooves that the model does not show.
_BOND = ("bond_line_mm = 0.0", "bond_line_std_mm = 0.02")


def list_joints(heights: Heights) -> Iterator[str]:
    """[[joint]] rows with their comments, in bonding order."""
    yield "# The turned plate: the floor under each segment, its rim inside, and for the first one a dowel."
    for number in range(1, SEGMENTS + 1):
        yield _jig_joint(number)
    yield "# Ring joints. Faces touch dry; the cement lies in grooves. The last one closes the ring."
    for number in range(1, SEGMENTS + 1):
        following = number % SEGMENTS + 1
        last = ('role = "closing"',) if following == 1 else ()
        yield write_joint(
            f"ring-{number}", f"ring-{following}", 'locators = "pin-and-slot"', *last, *_BOND, *_PLAY
        )
    yield "# Ribs stand on the ring by pin and slot. The crown lies on their seats and is centred by eye."
    for number in range(1, RIBS + 1):
        segment = int(rib_deg(number) // 60) + 1
        yield write_joint(f"ring-{segment}", f"rib-{number}", 'locators = "pin-and-slot"', *_BOND, *_PLAY)
    for number in range(1, RIBS + 1):
        yield write_joint(
            f"rib-{number}",
            "crown",
            'locators = "none"',
            'role = "locating"',
            *_BOND,
            "contact_play_mm = 0.02",
            "locator_play_mm = 0.3",
        )
    yield "# Rails: pin and slot at the foot, and a pin on the crown that holds them upright."
    for side, segment in (("left", 1), ("right", SEGMENTS)):
        yield write_joint(f"ring-{segment}", f"rail-{side}", 'locators = "pin-and-slot"', *_BOND, *_PLAY)
        point = [100.0, RAIL_OFFSET if side == "left" else -RAIL_OFFSET, heights.crown_top]
        yield write_joint(
            "crown",
            f"rail-{side}",
            'locators = "pin"',
            f"locator_points_mm = [{write_numbers(point)}]",
            *_BOND,
            *_PLAY,
        )
    yield from _wall_joints()


def _wall_joints() -> Iterator[str]:
    yield "# Wall panels hang under the ring: a pin in the middle, a slot near one end."
    radius = 0.5 * (WALL_INNER + WALL_OUTER)
    for number in range(1, SEGMENTS + 1):
        middle = middle_deg(number)
        points = np.array([polar(radius, middle, 0.0), polar(radius, middle + 25.0, 0.0)])
        yield write_joint(
            f"ring-{number}",
            f"wall-{number}",
            'locators = "pin-and-slot"',
            f"locator_points_mm = {write_points(points)}",
            *_BOND,
            *_PLAY,
        )
    yield "# Where two panels meet nothing is bonded: the joint shows what is left."
    for number in (3, 6):
        yield write_joint(f"wall-{number}", f"wall-{number % SEGMENTS + 1}", 'role = "closing"')


def _jig_joint(number: int) -> str:
    middle = middle_deg(number)
    spots = [(radius, turn) for turn in (-28.0, 0.0, 28.0) for radius in (490.0, 550.0)]
    points = [polar(radius, middle + turn, 0.0) for radius, turn in spots]
    normals: list[Array] = [np.array([0.0, 0.0, 1.0])] * len(points)
    for turn in (-27.5, 27.5):  # middles of the outer facets of the inner face
        points.append(polar(R_INNER * math.cos(math.radians(2.5)), middle + turn, 0.5 * RING_TOP))
        normals.append(polar(1.0, middle + turn, 0.0))
    if number == 1:
        points.append(polar(520.0, middle, 0.0))
        normals.append(polar(1.0, middle + 90.0, 0.0))
    return write_joint(
        "ground",
        f"ring-{number}",
        "contact_play_mm = 0.02",
        "[joint.faces]",
        f"points_mm = {write_points(np.array(points))}",
        f"normals = {write_points(np.array(normals), 8)}",
    )
