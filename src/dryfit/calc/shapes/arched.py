"""Arched bars: ribs and rails that spring from a level foot and end on a level seat."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.shapes.bands import arc_points, band
from dryfit.model.mesh import TriangleMesh


def arched_bar(
    tip_x: float,
    r_inner: float,
    r_outer: float,
    leg: float,
    seat_length: float,
    seat_side: Literal["under", "over"],
    width: float,
    z0: float,
    facets: int,
    name: str = "",
) -> TriangleMesh:
    """A bar of rectangular section in the plane y = 0, springing upright from a level foot.

    It rises straight for leg, turns along a quarter circle about (tip_x, 0, z0 + leg), and ends upright at
    x = tip_x. Over the last seat_length the arc on the seat's side gives way to a level face.

    r_inner, r_outer : radii of the under and upper side [mm]
    leg : height of the straight rise [mm], 0 for none
    seat_side : "over" puts the level seat on the upper side, to carry a part; "under" on the under side
    width : along y, half to either side [mm]
    z0 : height of the foot [mm]
    Raises ValueError where the seat is longer than the arc is wide, or would leave no thickness.
    """
    seat_radius = r_outer if seat_side == "over" else r_inner
    if not (0.0 < r_inner < r_outer and 0.0 < seat_length < seat_radius and leg >= 0.0):
        raise ValueError(
            "an arched bar needs 0 < r_inner < r_outer, leg >= 0 and a seat shorter than its arc"
        )
    seat_rise = math.sqrt(seat_radius**2 - seat_length**2)
    if seat_side == "over" and seat_rise <= r_inner:
        raise ValueError("the seat would cut through the bar")
    angles = math.degrees(math.acos(seat_length / seat_radius)) * np.arange(facets + 1) / facets
    top = {"inner": r_inner, "outer": r_outer}
    top["outer" if seat_side == "over" else "inner"] = seat_rise
    under = _side_line(arc_points(r_inner, angles), r_inner, leg, top["inner"])
    upper = _side_line(arc_points(r_outer, angles), r_outer, leg, top["outer"])
    flat = band(under, upper, -0.5 * width, 0.5 * width, name)
    # The band lies in (x, y) with its width along z: stood up, y becomes z and z becomes -y.
    x, y, z = flat.vertices.T
    return TriangleMesh(np.stack([x + tip_x, -z, y + z0], axis=1), flat.faces, name)


def _side_line(arc: Array, radius: float, leg: float, tip_rise: float) -> Array:
    """(k, 2) one side from the foot to the tip, x from the tip, y from the foot."""
    start = [[radius, 0.0]] if leg > 0.0 else []
    return np.array([*start, *(arc + np.array([0.0, leg])), [0.0, leg + tip_rise]])
