"""Least-squares circles."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.arcs import arc_of, refuse_short_arc
from dryfit.calc.elements.checking import ROUNDING, checked_points, refusal, spreads
from dryfit.calc.elements.records import CircleFit, CircleStd
from dryfit.calc.elements.solving import refuse_uncertain, solve
from dryfit.calc.elements.surfaces import CIRCLE, Pose


def fit_circle(points: Array) -> CircleFit:
    """The circle with the least sum of squared distances from points (n, 2), n >= 3, in their unit.

    Raises ComputationRefused where the points lie on a line, reach less than three degrees round, or are
    too noisy for the arc that they cover.
    Source: Gander, Golub and Strebel, BIT 34 (1994) 558 (memory).
    """
    kept = _checked(points)
    centre, radius = fit_circle_algebraic(kept)
    flat = np.column_stack([kept, np.zeros(len(kept))])
    start = Pose(np.eye(3), np.append(centre, 0.0), np.array([radius]))
    solution = solve(CIRCLE, [start], flat, None)
    arc = arc_of(np.arctan2(solution.local[:, 1], solution.local[:, 0]))
    refuse_short_arc("circle", arc, len(kept))
    size, size_std = float(solution.pose.sizes[0]), solution.size_std(0)
    refuse_uncertain(solution, size, size_std)
    return CircleFit(
        locked(solution.pose.origin[:2], (2,), "centre"),
        size,
        locked(solution.residuals, (len(kept),), "residuals"),
        solution.rms,
        arc,
        CircleStd(size_std, solution.position_std()),
    )


def fit_circle_algebraic(points: Array) -> tuple[Array, float]:
    """Centre (2,) and radius of a circle near points (n, 2), n >= 3, in one step: a start for the geometric one.

    Exact for exact points; hardly drawn inward by noise on short arcs, as the plain algebraic circle is.
    Raises ComputationRefused where the points lie on a line.
    Source: Taubin, IEEE PAMI 13 (1991) 1115, in the singular-value form of Chernov (memory).
    """
    kept = _checked(points)
    found = nearby_circle(kept)
    if found is None:
        raise refusal("circle", len(kept), "the points lie on a line", "pick a face that is curved")
    return found


def nearby_circle(points: Array) -> tuple[Array, float] | None:
    """The circle of fit_circle_algebraic, or None where the points lie on a line or at one place."""
    shift = points.mean(axis=0)
    scale = float(np.sqrt(((points - shift) ** 2).sum(axis=1).mean()))
    if not scale > 0.0:
        return None
    local = (points - shift) / scale
    square = (local**2).sum(axis=1)
    # the mean square is 1 by the scale above
    design = np.column_stack([(square - 1.0) / 2.0, local])
    vector = np.linalg.svd(design, full_matrices=False)[2][-1]
    bend, slope = vector[0] / 2.0, vector[1:]
    if abs(bend) < ROUNDING:
        return None
    centre = -slope / (2.0 * bend)
    radius = float(np.sqrt(slope @ slope + 4.0 * bend**2) / (2.0 * abs(bend)))
    return shift + scale * centre, scale * radius


def _checked(points: Array) -> Array:
    kept = checked_points(points, 2, 3, "circle")
    spread = spreads(kept)
    if spread[1] <= ROUNDING * spread[0]:
        what = "the points lie on one line: no circle goes through them"
        raise refusal("circle", len(kept), what, "pick a face that is curved")
    return kept
