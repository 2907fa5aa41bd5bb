"""Fitted circles and planes of a few points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array

_CONVERGED = 1e-13


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """origin (3,), unit normal (3,), and two in-plane unit axes (2, 3)."""

    origin: Array
    normal: Array
    axes: Array


@dataclass(frozen=True, slots=True, eq=False)
class Circle:
    """centre (2,) and radius in the plane's axes; outward (n, 2) unit directions from centre to points."""

    centre: Array
    radius: float
    outward: Array


def plane_through(points: Array) -> Plane:
    """Least-squares plane through points (n, 3), n >= 3.

    Raises ValueError where the points lie on a line or at one place.
    """
    origin = points.mean(axis=0)
    _, values, right = np.linalg.svd(points - origin, full_matrices=True)
    if len(points) < 3 or values[1] <= 1e-9 * max(values[0], 1e-300):
        raise ValueError("the points lie on one line: they span no plane")
    return Plane(origin, right[2], right[:2])


def circle_through(points: Array) -> Circle:
    """Circle (n, 2) with the least sum of squared distances, n >= 3.

    Gauss-Newton from the algebraic circle. Raises ValueError where the points lie on a line.
    Source: Gander, Golub and Strebel, BIT 34 (1994) 558 (memory).
    """
    centre, radius = _algebraic_circle(points)
    for _ in range(200):
        offset = points - centre
        distance = np.linalg.norm(offset, axis=1)
        outward = offset / distance[:, None]
        design = np.hstack([outward, np.ones((len(points), 1))])
        step = np.linalg.lstsq(design, distance - radius, rcond=None)[0]
        centre, radius = centre + step[:2], radius + float(step[2])
        if np.abs(step).max() <= _CONVERGED * max(1.0, radius):
            return Circle(centre, radius, outward)
    raise ValueError("no circle fits the points: they lie nearly on a line")


def _algebraic_circle(points: Array) -> tuple[Array, float]:
    shift = points.mean(axis=0)
    local = points - shift
    design = np.hstack([2.0 * local, np.ones((len(points), 1))])
    if np.linalg.matrix_rank(design, tol=1e-9 * np.abs(local).max(initial=1e-300)) < 3:
        raise ValueError("the points lie on one line: no circle goes through them")
    solution = np.linalg.lstsq(design, (local**2).sum(axis=1), rcond=None)[0]
    centre = solution[:2]
    return centre + shift, float(np.sqrt(solution[2] + centre @ centre))


def flatness_of(points: Array) -> float:
    """Peak-to-valley departure [mm] of points (n, 3) from their least-squares plane.

    Source: ISO 12781-1:2011, parameter FLTt with the least squares reference plane (memory).
    """
    plane = plane_through(points)
    height = (points - plane.origin) @ plane.normal
    return float(height.max() - height.min())


def plane_residual_matrix(points: Array, plane: Plane) -> Array:
    """(n, n) projector that turns heights over a plane into residuals from the refitted plane."""
    local = (points - plane.origin) @ plane.axes.T
    design = np.hstack([np.ones((len(points), 1)), local])
    residual: Array = np.eye(len(points)) - design @ np.linalg.pinv(design)
    return residual


def face_centroid(points: Array, normal: Array) -> Array:
    """Centroid (3,) of the convex polygon round points (n, 3) of a face; their mean for fewer than three.

    normal : (3,) unit normal of the face, along which the points are projected for the order of corners
    """
    mean = points.mean(axis=0)
    if len(points) < 3:
        return np.asarray(mean)
    axis = points[np.argmax(np.linalg.norm(points - mean, axis=1))] - mean
    axis = axis - normal * (axis @ normal)
    length = np.linalg.norm(axis)
    if length < 1e-12:
        return np.asarray(mean)
    axis = axis / length
    across = np.cross(normal, axis)
    angle = np.arctan2((points - mean) @ across, (points - mean) @ axis)
    corners = points[np.argsort(angle)]
    first, second = corners - mean, np.roll(corners, -1, axis=0) - mean
    area = np.cross(first, second) @ normal
    total = area.sum()
    if total < 1e-12 * length**2:
        return np.asarray(mean)
    centroid: Array = mean + (area[:, None] * (first + second)).sum(axis=0) / (3.0 * total)
    return centroid
