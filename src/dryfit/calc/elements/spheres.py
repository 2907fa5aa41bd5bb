"""Least-squares spheres."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.arcs import refuse_short_arc
from dryfit.calc.elements.checking import checked_surface
from dryfit.calc.elements.records import SphereFit, SphereStd
from dryfit.calc.elements.solving import refuse_uncertain, solve, thinned
from dryfit.calc.elements.surfaces import SPHERE, Pose


def fit_sphere(points: Array, normals: Array) -> SphereFit:
    """The sphere with the least sum of squared distances from points (n, 3) [mm], n >= 5.

    normals : (n, 3) of the surface at the points; they give a start and tell hollow from solid, the result
        does not rest on them
    Raises ComputationRefused where the points lie in a plane, in a cap of less than three degrees, are too
    noisy for the cap that they cover, or fit more than one sphere.
    Source: orthogonal distance regression; checked against closed forms and scipy.optimize.
    """
    kept, outward = checked_surface(points, normals, 5, "sphere")
    solution = solve(SPHERE, _starts(kept, outward), kept, outward)
    radius, radius_std = float(solution.pose.sizes[0]), solution.size_std(0)
    cap = _cap_deg(solution.local)
    refuse_short_arc("sphere", cap, len(kept))
    refuse_uncertain(solution, radius, radius_std)
    return SphereFit(
        locked(solution.pose.origin, (3,), "centre"),
        radius,
        locked(solution.residuals, (len(kept),), "residuals"),
        solution.rms,
        cap,
        solution.agreement < 0.0,
        SphereStd(radius_std, solution.position_std()),
    )


def _starts(points: Array, normals: Array) -> Iterator[Pose]:
    few = thinned(len(points))
    places, outward = points[few], normals[few]
    middle = places.mean(axis=0)
    local = places - middle
    # |p|^2 = 2 c . p + (r^2 - c^2), linear in the centre c
    design = np.column_stack([2.0 * local, np.ones(len(local))])
    *centre, rest = np.linalg.lstsq(design, (local**2).sum(axis=1), rcond=None)[0]
    square = rest + float(np.dot(centre, centre))
    if square > 0.0:
        yield Pose(np.eye(3), middle + centre, np.array([math.sqrt(square)]))
    # p = c + r n with the normals as they are, r negative where they point at the centre
    spread = outward - outward.mean(axis=0)
    turning = float((spread**2).sum())
    if turning > 0.0:
        radius = float((spread * local).sum()) / turning
        yield Pose(np.eye(3), middle - radius * outward.mean(axis=0), np.array([abs(radius)]))


def _cap_deg(local: Array) -> float:
    """Angle of the cone from the centre, about the mean direction, that holds all points [deg]."""
    directions = local / np.linalg.norm(local, axis=1)[:, None]
    mean = directions.mean(axis=0)
    length = float(np.linalg.norm(mean))
    if length < 1e-9:
        return 360.0
    # half the chord between unit vectors is the sine of half the angle, exact where the cosine is not
    half_chords = 0.5 * np.linalg.norm(directions - mean / length, axis=1)
    return math.degrees(4.0 * math.asin(min(1.0, float(half_chords.max()))))
