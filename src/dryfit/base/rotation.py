"""Rotations: extrinsic x, y, z Euler angles and the exponential map."""

from __future__ import annotations

import math

import numpy as np

from dryfit.base.arrays import Array


def skew(vector: Array) -> Array:
    """The matrix that turns a cross product into a matrix product: skew(a) @ b = a x b."""
    x, y, z = (float(component) for component in vector)
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def rotation_from_vector(vector: Array) -> Array:
    """Rotation (3, 3) by |vector| radians about its direction.

    Source: Rodrigues' formula (memory; checked against scipy.spatial.transform in the tests).
    """
    x, y, z = float(vector[0]), float(vector[1]), float(vector[2])
    square = x * x + y * y + z * z
    if square < 1e-16:
        first, second = 1.0 - square / 6.0, 0.5 - square / 24.0
    else:
        angle = math.sqrt(square)
        first, second = math.sin(angle) / angle, (1.0 - math.cos(angle)) / square
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    rotation: Array = np.eye(3) + first * cross + second * (cross @ cross)
    return rotation


def rotations_from_vectors(vectors: Array) -> Array:
    """Rotations (n, 3, 3) by |vector| radians about each direction; see rotation_from_vector."""
    square = (vectors**2).sum(axis=1)
    small = square < 1e-16
    angle = np.sqrt(np.where(small, 1.0, square))
    first = np.where(small, 1.0 - square / 6.0, np.sin(angle) / angle)
    second = np.where(small, 0.5 - square / 24.0, (1.0 - np.cos(angle)) / angle**2)
    crosses = np.zeros((len(vectors), 3, 3))
    crosses[:, 0, 1], crosses[:, 0, 2] = -vectors[:, 2], vectors[:, 1]
    crosses[:, 1, 0], crosses[:, 1, 2] = vectors[:, 2], -vectors[:, 0]
    crosses[:, 2, 0], crosses[:, 2, 1] = -vectors[:, 1], vectors[:, 0]
    turned: Array = np.eye(3) + first[:, None, None] * crosses + second[:, None, None] * (crosses @ crosses)
    return turned


def rotation_from_euler(euler_xyz_deg: tuple[float, float, float]) -> Array:
    """Rotation (3, 3) of extrinsic turns about x, then y, then z, in degrees.

    Turns by whole multiples of 90 degrees are exact: their sines and cosines are 0 or +-1.
    """
    result = np.eye(3)
    for axis, angle in enumerate(euler_xyz_deg):
        result = _turn(axis, angle) @ result
    return result


def turn_about_z(angle_deg: float) -> Array:
    """Rotation (3, 3) about the vertical, in degrees."""
    return _turn(2, angle_deg)


def _turn(axis: int, angle_deg: float) -> Array:
    cosine, sine = _exact_cosine_and_sine(angle_deg)
    first, second = (axis + 1) % 3, (axis + 2) % 3
    turn = np.eye(3)
    turn[first, first] = turn[second, second] = cosine
    turn[first, second], turn[second, first] = -sine, sine
    return turn


def _exact_cosine_and_sine(angle_deg: float) -> tuple[float, float]:
    quarter, rest = divmod(angle_deg, 90.0)
    if rest == 0.0:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    return math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
