"""What the boundary offset makes of a hole, and what to model instead."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.base.estimate import Estimate

_ALONG = 0.05  # share of the normals' spread below which a direction is that of the axis


@dataclass(frozen=True, slots=True)
class HoleAfterOffset:
    """printed_mm: diameter that the hole prints at; model_mm: diameter to model so that the wanted prints."""

    printed_mm: Estimate
    model_mm: Estimate


def hole_after_offset(modelled_mm: float, wanted_mm: float, offset_mm: Estimate) -> HoleAfterOffset:
    """A hole whose wall moves by the boundary offset: its diameter becomes smaller by twice the offset.

    The outline of an upright hole moves all round; a hole that lies is narrowed in level directions only and
    prints oval. Axis scales and shrinkage, far smaller for a hole, are left out.
    """
    twice, std = 2.0 * offset_mm.value, 2.0 * offset_mm.std
    return HoleAfterOffset(Estimate(modelled_mm - twice, std), Estimate(wanted_mm + twice, std))


@dataclass(frozen=True, slots=True, eq=False)
class RoundFace:
    """A round face. radius_mm: negative for a hole, positive for a pin; axis (3,) unit, point_mm (3,) on it."""

    radius_mm: float
    axis: Array
    point_mm: Array


def turn_of_face(points: Array, normals: Array) -> RoundFace:
    """Whether a round face bounds a hole or a pin, from points (n, 3) on it and outward normals (n, 3).

    On a cylinder each point is the foot of the axis plus the radius times the normal, square to the axis:
    least squares for the foot and the signed radius.
    Raises ComputationRefused where the normals do not turn about one axis.
    """
    spread, axes = np.linalg.eigh(normals.T @ normals / max(len(normals), 1))
    if len(points) < 3 or spread[0] > _ALONG or spread[1] < 1e-4:
        raise ComputationRefused(
            "the face does not turn about one axis, so that hole and pin are not told apart",
            "diameter feature",
            "pick a point on the wall of the hole",
        )
    level = axes[:, 1:]
    p, n = points @ level, normals @ level
    count = len(p)
    matrix = np.zeros((2 * count, 3))
    matrix[:count, 0] = matrix[count:, 1] = 1.0
    matrix[:count, 2], matrix[count:, 2] = n[:, 0], n[:, 1]
    solved = np.linalg.lstsq(matrix, np.concatenate([p[:, 0], p[:, 1]]), rcond=None)[0]
    foot = level @ solved[:2] + axes[:, 0] * float((points @ axes[:, 0]).mean())
    return RoundFace(float(solved[2]), axes[:, 0], foot)
