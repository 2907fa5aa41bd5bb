"""Least-squares cylinders."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.arcs import arc_of, refuse_short_arc
from dryfit.calc.elements.checking import checked_surface, facing_positive
from dryfit.calc.elements.records import CylinderFit, CylinderStd
from dryfit.calc.elements.solving import refuse_uncertain, solve, thinned
from dryfit.calc.elements.starts import axes_to_try, round_start
from dryfit.calc.elements.surfaces import CYLINDER


def fit_cylinder(points: Array, normals: Array) -> CylinderFit:
    """The cylinder with the least sum of squared distances from points (n, 3) [mm], n >= 6.

    normals : (n, 3) of the surface at the points; they choose among starts and tell a bore from a boss, the
        result does not rest on them
    The points are vertices, each once: a vertex that is repeated counts again and makes the std too small.
    Raises ComputationRefused where the points lie in a plane, reach less than three degrees round, are too
    noisy for the arc that they cover, or fit more than one cylinder.
    Source: orthogonal distance regression in the frame of the axis, as in Forbes, NPL report DITC 140/89
    (memory); checked against closed forms and scipy.optimize.
    """
    kept, outward = checked_surface(points, normals, 6, "cylinder")
    few = kept[thinned(len(kept))]
    starts = [round_start(few, axis) for axis in axes_to_try(kept, outward)]
    solution = solve(CYLINDER, [start for start in starts if start is not None], kept, outward)
    local, radius, radius_std = solution.local, float(solution.pose.sizes[0]), solution.size_std(0)
    arc = arc_of(np.arctan2(local[:, 1], local[:, 0]))
    refuse_short_arc("cylinder", arc, len(kept))
    refuse_uncertain(solution, radius, radius_std)
    return CylinderFit(
        locked(solution.pose.origin, (3,), "point"),
        facing_positive(solution.pose.axes[:, 2]),
        radius,
        locked(solution.residuals, (len(kept),), "residuals"),
        solution.rms,
        float(np.ptp(local[:, 2])),
        arc,
        solution.agreement < 0.0,
        CylinderStd(radius_std, solution.position_std(), solution.axis_std_deg()),
    )
