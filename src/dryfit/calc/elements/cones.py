"""Least-squares cones."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.arcs import arc_of, refuse_short_arc
from dryfit.calc.elements.checking import checked_surface, refusal
from dryfit.calc.elements.records import ConeFit, ConeStd
from dryfit.calc.elements.solving import Solution, refuse_uncertain, solve, thinned
from dryfit.calc.elements.starts import axes_to_try, revolved, round_start
from dryfit.calc.elements.surfaces import CONE, Pose

_LEAST_HALF_ANGLE = 1e-7  # rad: below this it is rounding
_CERTAIN = 3.0  # standard uncertainties by which a half angle must differ from none


def fit_cone(points: Array, normals: Array) -> ConeFit:
    """The cone with the least sum of squared distances from points (n, 3) [mm], n >= 7.

    normals : (n, 3) of the surface at the points; they choose among starts and tell a countersink from a
        taper, the result does not rest on them
    Raises ComputationRefused where the points lie in a plane, cannot be told from a cylinder, reach less than
    three degrees round, are too noisy for the arc that they cover, or fit more than one cone.
    Source: orthogonal distance regression in the frame of the axis, with the radius at the middle of the
    points as unknown in place of the apex, as in Forbes, NPL report DITC 140/89 (memory).
    """
    kept, outward = checked_surface(points, normals, 7, "cone")
    solution = solve(CONE, _starts(kept, outward), kept, outward)
    local = solution.local
    arc = arc_of(np.arctan2(local[:, 1], local[:, 0]))
    refuse_short_arc("cone", arc, len(kept))
    radius, angle = (float(size) for size in solution.pose.sizes)
    refuse_uncertain(solution, radius, solution.size_std(0))
    _refuse_cylinder(solution, angle)
    widening = math.copysign(1.0, angle)
    axis = solution.pose.axes[:, 2]
    return ConeFit(
        locked(solution.pose.origin - axis * radius / math.tan(angle), (3,), "apex"),
        locked(axis * widening, (3,), "axis"),
        math.degrees(abs(angle)),
        locked(solution.residuals, (len(kept),), "residuals"),
        solution.rms,
        float(np.ptp(local[:, 2])),
        arc,
        solution.agreement < 0.0,
        ConeStd(
            math.degrees(solution.size_std(1)),
            solution.position_std(),
            _apex_std(solution.covariance[-2:, -2:], radius, angle),
            solution.axis_std_deg(),
        ),
    )


def _starts(points: Array, normals: Array) -> Iterator[Pose]:
    few = points[thinned(len(points))]
    for axis in axes_to_try(points, normals):
        found = revolved(few, axis, 5)
        if found is not None:
            frame, (x, y, alpha, beta, _) = found
            square = alpha + x * x + y * y
            if square > 0.0:
                radius = math.sqrt(square)
                origin = few.mean(axis=0) + frame @ np.array([x, y, 0.0])
                yield Pose(frame, origin, np.array([radius, math.atan(0.5 * beta / radius)]))
        plain = round_start(few, axis)
        if plain is not None:
            yield Pose(plain.axes, plain.origin, np.append(plain.sizes, 0.0))


def _refuse_cylinder(solution: Solution, angle: float) -> None:
    std = solution.size_std(1)
    if abs(angle) > max(_LEAST_HALF_ANGLE, _CERTAIN * std if math.isfinite(std) else 0.0):
        return
    what = f"a half angle of {math.degrees(abs(angle)):.2g} degrees cannot be told from none: it has no apex"
    raise refusal("cone", len(solution.residuals), what, "measure the face as a cylinder")


def _apex_std(covariance: Array, radius: float, angle: float) -> float:
    """Std of radius / tan(angle), to first order, from the covariance (2, 2) of both."""
    slopes = np.array([1.0 / math.tan(angle), -radius / math.sin(angle) ** 2])
    if not np.isfinite(covariance).all():
        return math.inf
    return float(np.sqrt(slopes @ covariance @ slopes))
