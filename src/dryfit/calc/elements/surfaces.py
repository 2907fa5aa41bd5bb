"""Distances from curved elements in their own frame, with derivatives.

In its own frame an element has z as its axis. A step of its pose moves the origin by t and turns the axes by
w, both in the element's own axes, so that a point q of the frame goes to q - t - w x q; with g the gradient
of the distance the derivative by t is -g and that by w is -(q x g).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, cross
from dryfit.base.rotation import rotation_from_vector


@dataclass(frozen=True, slots=True, eq=False)
class Pose:
    """Where an element is: axes (3, 3) as columns, origin (3,), and its own sizes (k,)."""

    axes: Array
    origin: Array
    sizes: Array

    def to_local(self, points: Array) -> Array:
        """Points (n, 3) in the frame of the element."""
        local: Array = (points - self.origin) @ self.axes
        return local


@dataclass(frozen=True, slots=True, eq=False)
class Local:
    """Signed distances (n,), their gradients (n, 3), and derivatives by the sizes (n, k)."""

    distance: Array
    gradient: Array
    by_size: Array


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """An element: its distance function and which parts of its pose matter.

    free   of 0..2 (shift along x, y, z) and 3..5 (turn about x, y, z)
    sizes  its own sizes, after the free parts of the pose
    """

    name: str
    measure: Callable[[Array, Array], Local]
    free: tuple[int, ...]
    sizes: int

    @property
    def unknowns(self) -> int:
        """How many numbers describe it."""
        return len(self.free) + self.sizes


def moved(surface: Surface, pose: Pose, step: Array) -> Pose:
    """The pose after a step (p,) of its unknowns."""
    motion = np.zeros(6)
    motion[list(surface.free)] = step[: len(surface.free)]
    turn = rotation_from_vector(motion[3:])
    return Pose(
        pose.axes @ turn, pose.origin + pose.axes @ motion[:3], pose.sizes + step[len(surface.free) :]
    )


def evaluate(surface: Surface, pose: Pose, points: Array) -> tuple[Array, Array]:
    """Distances (n,) of points (n, 3), and their derivatives (n, p) by the unknowns."""
    local_points = pose.to_local(points)
    local = surface.measure(local_points, pose.sizes)
    motion = np.hstack([-local.gradient, -cross(local_points, local.gradient)])
    return local.distance, np.hstack([motion[:, list(surface.free)], local.by_size])


def from_axis(points: Array) -> tuple[Array, Array]:
    """Distances (n,) from the z axis, and unit directions (n, 2) away from it (zero on the axis itself)."""
    distance = np.hypot(points[:, 0], points[:, 1])
    return distance, points[:, :2] / np.maximum(distance, 1e-300)[:, None]


def _cylinder(points: Array, sizes: Array) -> Local:
    distance, outward = from_axis(points)
    count = len(points)
    gradient = np.column_stack([outward, np.zeros(count)])
    return Local(distance - sizes[0], gradient, np.full((count, 1), -1.0))


def _sphere(points: Array, sizes: Array) -> Local:
    distance = np.linalg.norm(points, axis=1)
    gradient = points / np.maximum(distance, 1e-300)[:, None]
    return Local(distance - sizes[0], gradient, np.full((len(points), 1), -1.0))


def _cone(points: Array, sizes: Array) -> Local:
    """sizes: radius in the plane z = 0, and half angle [rad], positive where it widens along z."""
    distance, outward = from_axis(points)
    cosine, sine = np.cos(sizes[1]), np.sin(sizes[1])
    beyond, height = distance - sizes[0], points[:, 2]
    gradient = np.column_stack([outward * cosine, np.full(len(points), -sine)])
    by_size = np.column_stack([np.full(len(points), -cosine), -beyond * sine - height * cosine])
    return Local(beyond * cosine - height * sine, gradient, by_size)


def _torus(points: Array, sizes: Array) -> Local:
    """sizes: radius of the ring and of the tube."""
    distance, outward = from_axis(points)
    beyond, height = distance - sizes[0], points[:, 2]
    tube = np.hypot(beyond, height)
    floor = np.maximum(tube, 1e-300)
    across, along = beyond / floor, height / floor
    gradient = np.column_stack([outward * across[:, None], along])
    return Local(tube - sizes[1], gradient, np.column_stack([-across, np.full(len(points), -1.0)]))


CIRCLE = Surface("circle", _cylinder, (0, 1), 1)
CYLINDER = Surface("cylinder", _cylinder, (0, 1, 3, 4), 1)
SPHERE = Surface("sphere", _sphere, (0, 1, 2), 1)
CONE = Surface("cone", _cone, (0, 1, 3, 4), 2)
TORUS = Surface("torus", _torus, (0, 1, 2, 3, 4), 2)
