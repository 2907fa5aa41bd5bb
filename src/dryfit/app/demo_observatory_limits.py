"""What must fit in the invented observatory, and within which limits."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dryfit.app.demo_files import polar, write_characteristic, write_numbers, write_points
from dryfit.app.demo_observatory_sizes import (
    R_OUTER,
    R_RIB_TIP,
    RAIL_OFFSET,
    RAIL_RADIUS,
    RAIL_TIP,
    RIBS,
    RING_TOP,
    SEAT_LENGTH,
    SEGMENTS,
    Heights,
    middle_deg,
    rib_deg,
)


def list_characteristics(heights: Heights) -> Iterator[str]:
    """[[characteristic]] rows with their comments."""
    yield "# What must fit. The ring first: how it closes, and how round it is."
    closing = 'joint = "ring-6:ring-1"'
    yield write_characteristic("ring-closure", "gap", closing, "limits_mm = [-0.8, 0.8]")
    for where, direction, limits in (
        ("in-out", "[1, 0, 0]", "[-0.4, 0.4]"),
        ("up-down", "[0, 0, 1]", "[-0.3, 0.3]"),
    ):
        yield write_characteristic(
            f"ring-closure-{where}", "step", closing, f"direction = {direction}", f"limits_mm = {limits}"
        )
    yield _ring_diameter()
    yield "# The crown: its height over the plate, its level, and whether every rib reaches its seat."
    yield write_characteristic(
        "crown-height",
        "height",
        'parts = ["crown"]',
        f"points_mm = [{write_numbers([0.0, 0.0, heights.crown_top])}]",
        f"limits_mm = {write_numbers([heights.crown_top - 1.0, heights.crown_top + 1.0])}",
    )
    for axis, reach in (("x", [120.0, 0.0]), ("y", [0.0, 120.0])):
        points = np.array([[-reach[0], -reach[1], heights.crown_top], [*reach, heights.crown_top]])
        yield write_characteristic(
            f"crown-level-{axis}",
            "height",
            'parts = ["crown", "crown"]',
            f"points_mm = {write_points(points)}",
            "limits_mm = [-0.7, 0.7]",
        )
    yield _crown_seats(heights)
    yield from _rails(heights)
    yield "# The drum wall: the joints front and back, and how plumb three of its panels hang."
    for number in (3, 6):
        joint = f"wall-{number}:wall-{number % SEGMENTS + 1}"
        yield write_characteristic(
            f"wall-gap-{number}", "gap", f'joint = "{joint}"', "limits_mm = [-0.8, 0.8]"
        )
    for number in (1, 3, 5):
        axes = np.array([polar(1.0, middle_deg(number), 0.0), [0.0, 0.0, 1.0]])
        yield write_characteristic(
            f"wall-plumb-{number}",
            "squareness",
            f'parts = ["ring-{number}", "wall-{number}"]',
            f"axes = {write_points(axes, 8)}",
            "limits_deg = [-0.2, 0.2]",
        )


def _ring_diameter() -> str:
    azimuths = [30.0 * step for step in range(12)]
    parts = [f'"ring-{int(((azimuth + 1.0) % 360.0) // 60.0) + 1}"' for azimuth in azimuths]
    # Points on a joint belong to the segment that begins there.
    points = np.array([polar(R_OUTER, azimuth, 0.5 * RING_TOP) for azimuth in azimuths])
    return write_characteristic(
        "ring-diameter",
        "diameter",
        f"parts = [{', '.join(parts)}]",
        f"points_mm = {write_points(points)}",
        f"limits_mm = {write_numbers([2.0 * R_OUTER - 0.8, 2.0 * R_OUTER + 0.8])}",
    )


def _crown_seats(heights: Heights) -> str:
    ribs = range(1, RIBS + 1)
    points = np.array(
        [polar(R_RIB_TIP + 0.5 * SEAT_LENGTH, rib_deg(rib), heights.crown_bottom) for rib in ribs]
    )
    parts = ", ".join(f'"rib-{rib}"' for rib in ribs)
    return write_characteristic(
        "crown-seats",
        "flatness",
        f"parts = [{parts}]",
        f"points_mm = {write_points(points)}",
        "upper_mm = 1.8",
    )


def _rails(heights: Heights) -> Iterator[str]:
    yield "# The shutter runs between the rails: their distance at the crown and half way up."
    rise = RAIL_RADIUS * math.sin(math.pi / 4)
    half_way = (RAIL_TIP + rise, RING_TOP + heights.rail_leg + rise)
    for where, point in (("top", (75.0, heights.crown_top)), ("half-way", half_way)):
        x, z = point
        points = np.array([[x, -RAIL_OFFSET, z], [x, RAIL_OFFSET, z]])
        yield write_characteristic(
            f"rail-distance-{where}",
            "distance",
            'parts = ["rail-right", "rail-left"]',
            f"points_mm = {write_points(points)}",
            f"limits_mm = {write_numbers([2.0 * RAIL_OFFSET - 1.0, 2.0 * RAIL_OFFSET + 1.0])}",
        )
