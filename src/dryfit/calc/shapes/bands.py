"""Bands: prisms between two lines in plan, which arcs, rings, walls and frames are."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.shapes.sweep import sweep_quads
from dryfit.model.mesh import TriangleMesh


def band(
    inner: Array, outer: Array, z0: float, z1: float, name: str = "", is_loop: bool = False
) -> TriangleMesh:
    """The prism between two lines of equally many points, from height z0 to z1 [mm].

    inner, outer : (k, 2) [mm] facing points; going from inner to outer and then along the lines turns
        counter-clockwise
    Raises ValueError where the shapes differ, or z1 is not above z0.
    """
    if inner.shape != outer.shape or inner.ndim != 2 or inner.shape[1] != 2:
        raise ValueError(f"the lines have shapes {inner.shape} and {outer.shape}, expected (k, 2) both")
    if not z1 > z0:
        raise ValueError("z1 must lie above z0")
    low, high = np.full((len(inner), 1), z0), np.full((len(inner), 1), z1)
    corners = [
        np.hstack([outer, low]),
        np.hstack([inner, low]),
        np.hstack([inner, high]),
        np.hstack([outer, high]),
    ]
    return sweep_quads(np.stack(corners, axis=1), name, is_loop)


def arc_points(radius: float, angles_deg: Array) -> Array:
    """(k, 2) points on a circle about the origin."""
    angles = np.radians(angles_deg)
    return radius * np.stack([np.cos(angles), np.sin(angles)], axis=1)


def arc_segment(
    r_inner: float,
    r_outer: float,
    z0: float,
    z1: float,
    start_deg: float,
    sweep_deg: float,
    facets: int,
    name: str = "",
) -> TriangleMesh:
    """A segment of a ring or of a tube's wall about the z axis, its arcs cut into flat facets.

    r_inner, r_outer : radii of the facets' edges [mm]
    sweep_deg : more than 0 and less than 360
    Its volume is facets / 2 * sin(sweep / facets) * (r_outer^2 - r_inner^2) * (z1 - z0).
    """
    if not 0.0 < sweep_deg < 360.0 or facets < 1 or not 0.0 < r_inner < r_outer:
        raise ValueError("a segment needs 0 < r_inner < r_outer, 0 < sweep_deg < 360 and a facet")
    angles = start_deg + sweep_deg * np.arange(facets + 1) / facets
    return band(arc_points(r_inner, angles), arc_points(r_outer, angles), z0, z1, name)


def round_ring(
    r_inner: float, r_outer: float, z0: float, z1: float, facets: int, name: str = ""
) -> TriangleMesh:
    """A whole ring about the z axis, in flat facets; volume as of a segment of 360 degrees."""
    if facets < 3 or not 0.0 < r_inner < r_outer:
        raise ValueError("a ring needs 0 < r_inner < r_outer and three facets")
    angles = 360.0 * np.arange(facets) / facets
    return band(arc_points(r_inner, angles), arc_points(r_outer, angles), z0, z1, name, is_loop=True)


def box(low: tuple[float, float, float], high: tuple[float, float, float], name: str = "") -> TriangleMesh:
    """The box between two opposite corners [mm]."""
    x0, y0, z0 = low
    x1, y1, z1 = high
    if not (x1 > x0 and y1 > y0):
        raise ValueError("the high corner must lie above the low one in every axis")
    return band(np.array([[x0, y0], [x0, y1]]), np.array([[x1, y0], [x1, y1]]), z0, z1, name)
