"""The affine figures as settings of a machine whose firmware can take them.

The printed point is A q. With D the diagonal of A, A = T D, and T has ones on its diagonal and above it the
tangents by which the axes lean: a = XY, b = XZ, c = YZ. Steps per millimetre times 1 / D make the axes
true to length; then a firmware that moves to

    y' = y - c z,   x' = x - a y' - b z,   z' = z

in place of (x, y, z) prints what it was told, since T (x', y', z') = (x, y, z).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked

_DEGREE = np.pi / 180.0


@dataclass(frozen=True, slots=True, eq=False)
class AxisSettings:
    """What to give the firmware.

    tangents      (3,) [-] XY, XZ, YZ: positive where Y leans toward +X, Z toward +X, Z toward +Y
    tangents_std  (3,) standard uncertainties
    factors       (3,) [-] by which steps per millimetre of X, Y, Z are multiplied
    factors_std   (3,)
    """

    tangents: Array
    tangents_std: Array
    factors: Array
    factors_std: Array

    def __post_init__(self) -> None:
        for name in ("tangents", "tangents_std", "factors", "factors_std"):
            object.__setattr__(self, name, locked(getattr(self, name), (3,), name))


def axis_settings(figures: Array, covariance: Array) -> AxisSettings:
    """Tangents and factors of six affine figures, with first-order uncertainty.

    figures : (6,) scale x, y, z [-], squareness xy, xz, yz [deg]
    covariance : (6, 6) in their units
    """
    scales, skews = 1.0 + figures[:3], figures[3:] * _DEGREE
    # The angle between two axes is that of their directions; an axis that is too long leans over its own length.
    length = scales[[1, 2, 2]]
    tangents = np.tan(skews) / length
    slope = np.zeros((6, 6))
    slope[[0, 1, 2], [3, 4, 5]] = _DEGREE / np.cos(skews) ** 2 / length
    slope[[0, 1, 2], [1, 2, 2]] = -tangents / length
    slope[[3, 4, 5], [0, 1, 2]] = -1.0 / scales**2
    std = np.sqrt(np.diag(slope @ covariance @ slope.T))
    return AxisSettings(tangents, std[:3], 1.0 / scales, std[3:])
