"""Corners of a common face, from its outline."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.mating.outline import signed_area

MAX_CORNERS = 8
MIN_CORNERS = 3
# A corner whose triangle is smaller than this share of the face is not one.
CORNER_SHARE = 0.01
# Two triangles, angles or lengths this close (relative) are equal: the choice must not hang on rounding.
TIE = 1e-7


def simplified(ring: Array) -> Array:
    """The 3 to 8 corners of a ring (k, 2), in its order.

    The vertex with the smallest triangle goes first; of equal ones the earliest in the ring.
    Source: Visvalingam and Whyatt, The Cartographic Journal 30 (1993) 46 (memory).
    """
    area = abs(signed_area(ring))
    corners = ring
    while len(corners) > MIN_CORNERS:
        triangles = _triangle_areas(corners)
        smallest = float(triangles.min())
        if len(corners) <= MAX_CORNERS and smallest >= CORNER_SHARE * area:
            break
        place = int(np.flatnonzero(triangles <= smallest + TIE * area)[0])
        corners = np.delete(corners, place, axis=0)
    return corners


def started(ring: Array, centre: Array, toward: Array) -> Array:
    """The same ring, counter-clockwise, starting at a place given by the geometry.

    ring    (k, 2)
    centre  (2,) centroid of the face
    toward  (2,) direction that turns with the parts; the ring starts with the first corner met
            counter-clockwise from it. Where it is zero: with the least corner, x first, then y
    """
    if signed_area(ring) < 0:
        ring = ring[::-1]
    size = float(np.ptp(ring, axis=0).max())
    if float(np.hypot(*toward)) <= 1e-6 * size:
        key = np.round((ring - ring.min(axis=0)) / (1e-6 * size))
        return np.roll(ring, -int(np.lexsort((key[:, 1], key[:, 0]))[0]), axis=0)
    local = ring - centre
    along = local @ toward
    across = toward[0] * local[:, 1] - toward[1] * local[:, 0]
    angles = np.mod(np.arctan2(across, along) + 1e-6, 2 * np.pi)
    # Of corners in one direction the farthest comes first.
    near = np.flatnonzero(angles <= angles.min() + 1e-6)
    start = near[np.argmax((local[near] ** 2).sum(axis=1))]
    return np.roll(ring, -int(start), axis=0)


def _triangle_areas(ring: Array) -> Array:
    before, after = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    areas: Array = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]) / 2
    return areas
