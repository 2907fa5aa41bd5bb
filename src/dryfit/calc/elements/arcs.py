"""How far points reach round an axis, and what facets hide of a round.

Vertices of a tessellated round lie on the true surface (assumed: that is how modelling programs write them);
the middles of its facets lie inside by the chord error. Fits therefore use vertices, and give the true radius.
"""

from __future__ import annotations

import math

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.checking import refusal

LEAST_ARC_DEG = 3.0  # common practice, no source: a bulge of a thousandth of the chord tells no radius
# Of the next widest gap: the widest of a closed round is one facet like the others.
_CLOSED = 1.5


def chord_error_mm(radius_mm: float, step_rad: float) -> float:
    """How far the middle of a facet lies inside a round of that radius [mm].

    step_rad : angle between neighbouring vertices round the axis
    Raises ValueError on a negative radius or an angle outside 0 to pi.
    Source: apothem of a regular polygon, r cos(step / 2).
    """
    if radius_mm < 0.0 or not 0.0 <= step_rad <= math.pi:
        raise ValueError(f"no chord of radius {radius_mm} mm and step {step_rad} rad")
    # 1 - cos(x) = 2 sin(x / 2)^2, without loss of digits at small steps
    return 2.0 * radius_mm * math.sin(step_rad / 4.0) ** 2


def facet_steps(points: Array, axis: Array, point: Array, same_rad: float = 1e-4) -> Array:
    """Angles [rad] between neighbouring vertices round an axis, in order of azimuth.

    points   : (n, 3) vertices
    axis     : (3,) direction; point : (3,) on the axis
    same_rad : vertices closer in azimuth than this stand one above the other
    The gap of an open arc is left out; a closed round returns as many steps as it has sides. Vertices on the
    axis itself have no azimuth and are passed over. Raises ValueError where the axis has no length.
    """
    direction = locked(axis, (3,), "axis")
    length = float(np.linalg.norm(direction))
    if length == 0.0:
        raise ValueError("the axis has no length")
    across = locked(points, (None, 3), "points") - locked(point, (3,), "point")
    frame = frame_along(direction / length)
    local = across @ frame[:, :2]
    away = np.hypot(local[:, 0], local[:, 1])
    local = local[away > 1e-9 * away.max(initial=0.0)]
    if len(local) == 0:
        return np.zeros(0)
    gaps = azimuth_gaps(np.arctan2(local[:, 1], local[:, 0]))
    gaps = _grouped(gaps, same_rad)
    steps = gaps if is_closed(gaps) else np.delete(gaps, np.argmax(gaps))
    steps.setflags(write=False)
    return steps


def _grouped(gaps: Array, same_rad: float) -> Array:
    """Gaps between groups of azimuths; what lies within a group goes to the gap before it."""
    wide = np.flatnonzero(gaps > same_rad)
    if len(wide) == 0:
        return np.array([2.0 * math.pi])
    ends = np.cumsum(gaps)[wide]
    return np.diff(np.concatenate([[ends[-1] - 2.0 * math.pi], ends]))


def azimuth_gaps(angles: Array) -> Array:
    """(n,) differences [rad] of sorted angles, the last one closing the turn; they sum to 2 pi."""
    ordered = np.sort(np.mod(angles, 2.0 * math.pi))
    return np.diff(np.append(ordered, ordered[0] + 2.0 * math.pi))


def is_closed(gaps: Array) -> bool:
    """Is the widest gap one like the others, so that the points go all round?"""
    if len(gaps) < 3:
        return False
    next_widest, widest = np.sort(gaps)[-2:]
    return bool(widest <= _CLOSED * next_widest)


def arc_of(angles: Array) -> float:
    """How far points with these azimuths [rad] reach round [deg]: 360 less the widest gap.

    It is 360 where the widest gap is at most one and a half times the next: points all round, or on two sides.
    """
    gaps = azimuth_gaps(angles)
    return 360.0 if is_closed(gaps) else 360.0 - math.degrees(float(gaps.max()))


def refuse_short_arc(element: str, arc_deg: float, count: int) -> None:
    """Raise ComputationRefused where an arc is too short to tell a radius."""
    if arc_deg < LEAST_ARC_DEG:
        what = f"the points reach only {arc_deg:.2g} degrees round: too little to tell a radius"
        do = f"pick a face that reaches at least {LEAST_ARC_DEG:g} degrees round, or measure it as a plane"
        raise refusal(element, count, what, do)


def frame_along(axis: Array) -> Array:
    """A right-handed frame (3, 3), in columns, whose third axis is the unit vector given."""
    first = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    first /= np.linalg.norm(first)
    return np.column_stack([first, np.cross(axis, first), axis])
