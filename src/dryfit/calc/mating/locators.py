"""Where the locators of a joint lie on its common face."""

from __future__ import annotations

from typing import Literal

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.model.joint import FaceContacts

# Sides within this of one another are equal: the choice must not hang on a hair.
EQUAL_SIDES = 0.01
# Relative to the size of the face: below this a direction has no part in its plane, a point no distance.
NOTHING = 1e-6
# Contacts whose normals spread by more than this lie on a curved face.
FLAT_SPREAD_DEG = 5.0


def face_locators(faces: FaceContacts, axis: Literal["long", "short"], toward: Array | None = None) -> Array:
    """(2, 3) [mm] locator points: pin first, then slot or second pin.

    They lie at a quarter and three quarters of the long (or short) side of the least-area rectangle round
    the contacts, on the line through its centre.
    toward  (3,) [mm] from midway between the parts' centroids to the face; where both sides are equal
            within EQUAL_SIDES, the one nearer to it counts as the long one. Without it, or where it
            stands square on the face, the more level side does
    The first point is the nearer to the parts, with the smaller projection on toward; where both project
    alike (or toward is None) the one with the smaller x, then y, then z.
    Raises ComputationRefused for a curved face, and for contacts that have no such axis.
    """
    points, normal = faces.points_on_first, _mean_normal(faces)
    centre = points.mean(axis=0)
    size = float(np.ptp(points @ np.linalg.svd(normal[None])[2][1:].T, axis=0).max())
    if size <= NOTHING * max(1.0, float(np.abs(points).max())):
        raise _refused("the common face has a single contact point")
    pull = np.zeros(3) if toward is None else np.asarray(toward, dtype=np.float64)
    pull = pull - (pull @ normal) * normal
    if np.linalg.norm(pull) <= NOTHING * size:
        pull = np.zeros(3)
    middle, half = _half_side(points - centre, normal, axis, pull, size)
    pair: Array = centre + middle + np.array([[-0.5], [0.5]]) * half
    return pair if _is_in_order(pair, pull, size) else pair[::-1].copy()


def _mean_normal(faces: FaceContacts) -> Array:
    mean = faces.normals.mean(axis=0)
    length = float(np.linalg.norm(mean))
    if length < 1e-9 or (faces.normals @ mean).min() < length * np.cos(np.radians(FLAT_SPREAD_DEG)):
        raise _refused("the common face is curved")
    unit: Array = mean / length
    return unit


def _refused(what: str) -> ComputationRefused:
    return ComputationRefused(
        f"{what}: no rule places locators on it", "joint.faces", "state locator_points_mm for this joint"
    )


def _half_side(
    points: Array, normal: Array, axis: Literal["long", "short"], pull: Array, size: float
) -> tuple[Array, Array]:
    """Centre of the rectangle (3,) and half of the chosen side as a vector (3,)."""
    across = np.linalg.svd(normal[None])[2][1:]
    flat = points @ across.T
    hull = _hull(flat, size)
    if len(hull) < 3:
        if axis == "short":
            raise _refused("all contacts of the common face lie in a line")
        return hull.mean(axis=0) @ across, (hull[1] - hull[0]) / 2 @ across
    rectangles = [_rectangle(hull, side) for side in np.roll(hull, -1, axis=0) - hull]
    least = min(area for area, _, _ in rectangles)
    choices = []
    for area, middle, halves in rectangles:
        if area <= least * (1 + 1e-6):
            long, short = _ranked(halves @ across, pull)
            choices.append((middle @ across, long if axis == "long" else short))
    # Several rectangles of the same area (a hexagon has three): the one that lies along toward, or level.
    return min(choices, key=lambda choice: _preference(choice[1], pull))


def _ranked(halves: Array, pull: Array) -> tuple[Array, Array]:
    """The long and the short half side of halves (2, 3)."""
    lengths = np.linalg.norm(halves, axis=1)
    if abs(lengths[0] - lengths[1]) <= EQUAL_SIDES * lengths.max():
        first, second = sorted(halves, key=lambda half: _preference(half, pull))
        return first, second
    return (halves[0], halves[1]) if lengths[0] > lengths[1] else (halves[1], halves[0])


def _preference(half: Array, pull: Array) -> tuple[float, ...]:
    """Sort key, rounded so that ties are ties: along pull, then level, then along x, then along y."""
    unit = np.abs(half / np.linalg.norm(half))
    strength = float(np.linalg.norm(pull))
    along = 0.0 if strength == 0 else abs(float(half @ pull)) / float(np.linalg.norm(half)) / strength
    return tuple(np.round([-along, unit[2], -unit[0], -unit[1]], 6).tolist())


def _hull(flat: Array, size: float) -> Array:
    """Convex hull (k, 2), counter-clockwise; the two ends where all points lie in a line."""
    from shapely import MultiPoint

    direction = np.linalg.svd(flat - flat.mean(axis=0))[2][0]
    along = flat @ direction
    off_line = (flat - flat.mean(axis=0)) @ np.array([-direction[1], direction[0]])
    if np.ptp(off_line) <= NOTHING * size:
        return flat[[int(along.argmin()), int(along.argmax())]]
    return np.asarray(MultiPoint(flat).convex_hull.exterior.coords)[:-1]


def _rectangle(hull: Array, side: Array) -> tuple[float, Array, Array]:
    """Area, centre (2,) and half sides (2, 2) of the box round the hull with one side along side."""
    unit = side / np.linalg.norm(side)
    axes = np.array([unit, [-unit[1], unit[0]]])
    local = hull @ axes.T
    low, high = local.min(axis=0), local.max(axis=0)
    extents = high - low
    return float(extents.prod()), (low + high) / 2 @ axes, extents[:, None] / 2 * axes


def _is_in_order(pair: Array, pull: Array, size: float) -> bool:
    step = pair[1] - pair[0]
    strength = float(np.linalg.norm(pull))
    if strength > 0 and abs(step @ pull) > NOTHING * size * strength:
        return bool(step @ pull > 0)
    return bool(step[np.argmax(np.abs(step) > NOTHING * size)] > 0)
