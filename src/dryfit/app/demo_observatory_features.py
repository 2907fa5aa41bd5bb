"""Sizes of the invented observatory itself, and what the meshes must measure because of them.

Two of them are wrong on purpose: wall panels and ribs are modelled to the overall height of 14.6 m that an invented
guide prints. Ring and crown were measured with a rule; what was left, 13.2 m, went to the wall and the dome in the
guide's proportion, 200 mm and 460 mm of the model. The invented building is 13.4 m high, and the two came out a tenth
too tall: far more than the evidence can explain, and nothing that anybody would see on parts that fit one another
well. All other features are right; there is at least one of each kind.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dryfit.app.demo_files import (
    polar,
    write_faces,
    write_feature,
    write_look,
    write_numbers,
    write_pick,
)
from dryfit.app.demo_observatory_sizes import (
    CROWN_HEIGHT,
    R_CROWN_INNER,
    R_INNER,
    R_OUTER,
    RAIL_OFFSET,
    RAIL_WIDTH,
    RIBS,
    RING_TOP,
    SEGMENTS,
    WALL_INNER,
    WALL_OUTER,
    Heights,
    rib_deg,
)

FACET_DEG = 5.0  # of ring and wall
CROWN_FACET_DEG = 10.0
MID_FACET_DEG = 32.5  # the middle of a facet near the middle of the first segment
UP = np.array([0.0, 0.0, 1.0])


def list_features(heights: Heights) -> Iterator[str]:
    """[[feature]] rows with their comments."""
    yield "# What the meshes must measure before anything is printed. Drum and dome: as high as the real ones?"
    walls = ", ".join(f'"wall-{number}"' for number in range(1, SEGMENTS + 1))
    yield write_feature(
        "drum-height",
        "extent",
        f"parts = [{walls}]",
        "direction = [0, 0, 1]",
        'dimension = "drum.height"',
        "deviations_mm = [-1.5, 1.5]",
    )
    ribs = ", ".join(f'"rib-{number}"' for number in range(1, RIBS + 1))
    yield write_feature(
        "dome-rise",
        "extent",
        f"parts = [{ribs}]",
        "direction = [0, 0, 1]",
        'dimension = "dome.rise"',
        "deviations_mm = [-1, 1]",
    )
    yield _wall_thickness(heights)
    yield "# The ring: its outside, the angle of a segment, and its section half-way along one."
    yield from _ring()
    yield "# The crown: its bore, its underside, and whether it stands in the middle of the ring."
    yield from _crown(heights)
    yield "# Ribs and rails."
    yield from _ribs_and_rails(heights)


def _ring_outside() -> str:
    point = polar(_middle_radius(R_OUTER, FACET_DEG), MID_FACET_DEG, 0.5 * RING_TOP)
    return write_pick("ring-1", point, polar(1.0, MID_FACET_DEG, 0.0), "cylinder", R_OUTER)


def _crown_bore(heights: Heights) -> str:
    azimuth = 0.5 * CROWN_FACET_DEG
    point = polar(
        _middle_radius(R_CROWN_INNER, CROWN_FACET_DEG), azimuth, heights.crown_bottom + 0.5 * CROWN_HEIGHT
    )
    return write_pick("crown", point, -polar(1.0, azimuth, 0.0), "cylinder", R_CROWN_INNER)


def _ring() -> Iterator[str]:
    yield write_feature(
        "ring-outside",
        "diameter",
        write_faces(_ring_outside()),
        'dimension = "ring.diameter"',
        "deviations_mm = [-0.8, 0.8]",
    )
    size = math.sqrt((R_OUTER - R_INNER) * RING_TOP)
    ends = [
        write_pick("ring-1", polar(0.5 * (R_INNER + R_OUTER), azimuth, 0.5 * RING_TOP), normal, "plane", size)
        for azimuth, normal in ((0.0, polar(1.0, -90.0, 0.0)), (60.0, polar(1.0, 150.0, 0.0)))
    ]
    yield write_feature(
        "segment-angle",
        "angle",
        write_faces(*ends),
        "nominal_deg = 60",
        "nominal_std_deg = 0.01",
        "deviations_deg = [-0.05, 0.05]",
    )
    yield write_feature(
        "ring-section",
        "section",
        'part = "ring-1"',
        f"at_mm = {write_numbers(polar(0.5 * (R_INNER + R_OUTER), MID_FACET_DEG, 0.5 * RING_TOP))}",
        f"normal = {write_numbers(polar(1.0, MID_FACET_DEG + 90.0, 0.0), 8)}",
        f"direction = {write_numbers(polar(1.0, MID_FACET_DEG, 0.0), 8)}",
        f"nominal_mm = {R_OUTER - R_INNER:g}",
        "nominal_std_mm = 0.1",
        'iso_2768 = "m"',
    )


def _wall_thickness(heights: Heights) -> str:
    point = polar(_middle_radius(WALL_OUTER, FACET_DEG), MID_FACET_DEG, -0.5 * heights.wall_height)
    # A cylinder for the drum as a whole: the panel's outside in twelve facets.
    pick = write_pick("wall-1", point, polar(1.0, MID_FACET_DEG, 0.0), "cylinder", WALL_OUTER)
    return write_feature(
        "wall-thickness",
        "thickness",
        write_faces(pick),
        f"nominal_mm = {WALL_OUTER - WALL_INNER:g}",
        "nominal_std_mm = 0.1",
        "deviations_mm = [-0.4, 0.4]",
    )


def _crown(heights: Heights) -> Iterator[str]:
    yield write_feature(
        "crown-bore",
        "diameter",
        write_faces(_crown_bore(heights)),
        f"nominal_mm = {2.0 * R_CROWN_INNER:g}",
        "nominal_std_mm = 0.05",
        'iso_286 = "IT12"',
    )
    yield write_feature(
        "crown-underside", "flatness", write_faces(write_look("crown", -UP)), "upper_mm = 0.1"
    )
    yield write_feature(
        "crown-centred", "centres", write_faces(_ring_outside(), _crown_bore(heights)), "upper_mm = 0.2"
    )


def _ribs_and_rails(heights: Heights) -> Iterator[str]:
    across = polar(1.0, rib_deg(1) + 90.0, 0.0)
    yield write_feature(
        "rib-width",
        "distance",
        write_faces(write_look("rib-1", across), write_look("rib-1", -across)),
        'dimension = "rib.width"',
        'iso_2768 = "m"',
    )
    yield write_feature(
        "bore-from-rail",
        "position",
        write_faces(_crown_bore(heights), write_look("rail-left", polar(1.0, -90.0, 0.0))),
        f"nominal_mm = {RAIL_OFFSET - 0.5 * RAIL_WIDTH:g}",
        "nominal_std_mm = 0.05",
        'iso_2768 = "m"',
    )


def _middle_radius(radius: float, facet_deg: float) -> float:
    """Distance of the middle of a facet from the axis."""
    return radius * math.cos(math.radians(0.5 * facet_deg))
