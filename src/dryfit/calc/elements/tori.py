"""Least-squares tori."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.elements.arcs import arc_of, frame_along, refuse_short_arc
from dryfit.calc.elements.checking import checked_surface, facing_positive
from dryfit.calc.elements.circles import nearby_circle
from dryfit.calc.elements.records import TorusFit, TorusStd
from dryfit.calc.elements.solving import refuse_uncertain, solve, thinned
from dryfit.calc.elements.starts import axes_to_try
from dryfit.calc.elements.surfaces import TORUS, Pose


def fit_torus(points: Array, normals: Array) -> TorusFit:
    """The torus with the least sum of squared distances from points (n, 3) [mm], n >= 8.

    normals : (n, 3) of the surface at the points; they give the starts and tell a groove from a bead, the
        result does not rest on them
    Raises ComputationRefused where the points lie in a plane, reach less than three degrees round the axis
    or round the tube, are too noisy for what they cover, or fit more than one torus.
    Source: orthogonal distance regression; checked against closed forms and scipy.optimize.
    """
    kept, outward = checked_surface(points, normals, 8, "torus")
    solution = solve(TORUS, _starts(kept, outward), kept, outward)
    local = solution.local
    ring, tube = (float(size) for size in solution.pose.sizes)
    away = np.hypot(local[:, 0], local[:, 1])
    ring_arc = arc_of(np.arctan2(local[:, 1], local[:, 0]))
    tube_arc = arc_of(np.arctan2(local[:, 2], away - ring))
    refuse_short_arc("torus", min(ring_arc, tube_arc), len(kept))
    ring_std, tube_std = solution.size_std(0), solution.size_std(1)
    refuse_uncertain(solution, ring, ring_std)
    refuse_uncertain(solution, tube, tube_std)
    return TorusFit(
        locked(solution.pose.origin, (3,), "centre"),
        facing_positive(solution.pose.axes[:, 2]),
        ring,
        tube,
        locked(solution.residuals, (len(kept),), "residuals"),
        solution.rms,
        ring_arc,
        tube_arc,
        solution.agreement < 0.0,
        TorusStd(ring_std, tube_std, solution.position_std(), solution.axis_std_deg()),
    )


def _starts(points: Array, normals: Array) -> Iterator[Pose]:
    few = thinned(len(points))
    places, outward = points[few], normals[few]
    middle = places.mean(axis=0)
    for axis in axes_to_try(points, normals):
        frame = frame_along(axis)
        local, directions = (places - middle) @ frame, outward @ frame
        centre = _met_by(local[:, :2], directions[:, :2])
        away = np.hypot(*(local[:, :2] - centre).T)
        section = nearby_circle(np.column_stack([away, local[:, 2]]))
        if section is not None:
            (ring, height), tube = section
            yield Pose(frame, middle + frame @ np.append(centre, height), np.array([ring, tube]))


def _met_by(points: Array, directions: Array) -> Array:
    """The point (2,) nearest to all lines through points (n, 2); long directions count more."""
    across = np.column_stack([-directions[:, 1], directions[:, 0]])
    centre: Array = np.linalg.lstsq(across, (across * points).sum(axis=1), rcond=1e-10)[0]
    return centre
