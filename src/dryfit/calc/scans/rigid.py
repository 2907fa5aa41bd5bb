"""Rigid motions: composed, taken apart, and fitted to pairs of points."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.errors import ComputationRefused
from dryfit.base.rotation import rotation_from_vector

# Second singular value of the pairs' spread over the first: below this they lie on one line.
_ON_A_LINE = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class RigidMotion:
    """A turn, then a shift: y = rotation @ x + shift_mm.

    rotation (3, 3) [-]    shift_mm (3,) [mm]
    """

    rotation: Array
    shift_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", locked(self.rotation, (3, 3), "rotation"))
        object.__setattr__(self, "shift_mm", locked(self.shift_mm, (3,), "shift_mm"))

    def apply(self, points: Array) -> Array:
        """Points (n, 3) [mm] moved."""
        moved: Array = points @ self.rotation.T + self.shift_mm
        return moved

    def after(self, first: RigidMotion) -> RigidMotion:
        """The motion that does `first`, then this one."""
        return RigidMotion(self.rotation @ first.rotation, self.rotation @ first.shift_mm + self.shift_mm)

    def inverse(self) -> RigidMotion:
        """The motion that undoes this one."""
        return RigidMotion(self.rotation.T, -self.rotation.T @ self.shift_mm)


STILL = RigidMotion(np.eye(3), np.zeros(3))


@dataclass(frozen=True, slots=True, eq=False)
class SimilarityFit:
    """y = scale * rotation @ x + shift_mm; rms_mm: root mean square distance left over."""

    motion: RigidMotion
    scale: float
    rms_mm: float


def fit_rigid(source: Array, target: Array, weights: Array | None = None) -> SimilarityFit:
    """The rigid motion that brings points source (n, 3) nearest to target (n, 3), n >= 3; scale 1.

    weights : (n,) positive; None: all alike. Points (n, 2) of a plane are taken, too, and turned about z.
    Raises ComputationRefused where the points lie on one line.
    Source: Umeyama, IEEE PAMI 13 (1991) 376 (memory; checked against scipy in the tests).
    """
    return _fit(source, target, weights, with_scale=False)


def fit_similarity(source: Array, target: Array, weights: Array | None = None) -> SimilarityFit:
    """The same with a change of size. Used to name a suspected unit or scale, never to hide one.

    Raises ComputationRefused as fit_rigid does.
    """
    return _fit(source, target, weights, with_scale=True)


def _fit(source: Array, target: Array, weights: Array | None, with_scale: bool) -> SimilarityFit:
    one, other = np.asarray(source, dtype=np.float64), np.asarray(target, dtype=np.float64)
    if one.shape != other.shape or one.ndim != 2 or one.shape[1] not in (2, 3):
        raise ValueError(f"pairs of points have shapes {one.shape} and {other.shape}")
    share = np.ones(len(one)) if weights is None else np.asarray(weights, dtype=np.float64)
    share = share / share.sum()
    middle, goal = share @ one, share @ other
    a, b = one - middle, other - goal
    left, values, right = np.linalg.svd((share[:, None] * b).T @ a)
    if values[1] <= _ON_A_LINE * max(values[0], 1e-300):  # in a plane the second is the last
        raise ComputationRefused(
            "the pairs of points lie on one line: they tell no turn about it",
            "rigid fit",
            "give other points",
        )
    sign = np.ones(len(values))
    sign[-1] = np.sign(np.linalg.det(left) * np.linalg.det(right))
    rotation = (left * sign) @ right
    scale = float((values * sign).sum() / (share @ (a**2).sum(axis=1))) if with_scale else 1.0
    shift = goal - scale * rotation @ middle
    gaps = scale * one @ rotation.T + shift - other
    whole, moved = np.eye(3), np.zeros(3)
    whole[: len(sign), : len(sign)], moved[: len(sign)] = rotation, shift
    return SimilarityFit(RigidMotion(whole, moved), scale, math.sqrt(float(share @ (gaps**2).sum(axis=1))))


def rotation_vector(rotation: Array) -> Array:
    """Axis times angle [rad] (3,) of a rotation (3, 3); the angle lies between 0 and pi.

    Source: the inverse of Rodrigues' formula (memory; checked against scipy in the tests).
    """
    odd = 0.5 * np.array(
        [rotation[2, 1] - rotation[1, 2], rotation[0, 2] - rotation[2, 0], rotation[1, 0] - rotation[0, 1]]
    )
    sine, cosine = float(np.linalg.norm(odd)), 0.5 * (float(np.trace(rotation)) - 1.0)
    angle = math.atan2(sine, cosine)
    if sine > 1e-6:
        return np.asarray(odd * (angle / sine))
    if cosine > 0.0:
        return odd
    # Near a half turn the odd part vanishes; the even part holds the axis.
    even = 0.5 * (rotation + rotation.T) + np.eye(3)
    axis = even[:, int(np.argmax(np.diag(even)))]
    axis = axis / np.linalg.norm(axis)
    return np.asarray(axis * (angle if float(axis @ odd) >= 0.0 else -angle))


def small_motion(step: Array, about: Array) -> RigidMotion:
    """The motion of a step (6,): turn [rad] about the point about (3,) [mm], then shift [mm]."""
    turn = rotation_from_vector(step[:3])
    return RigidMotion(turn, about - turn @ about + step[3:])


def step_between(start: RigidMotion, end: RigidMotion, about: Array) -> Array:
    """The step (6,) about a point that brings one pose to another; the inverse of small_motion."""
    between = end.after(start.inverse())
    turn = rotation_vector(between.rotation)
    return np.concatenate([turn, between.rotation @ about + between.shift_mm - about])
