"""The affine part of the error model.

A commanded point q (3,) in machine axes prints at A q, with

    A = I + [[ex, tan(sxy), tan(sxz)], [0, ey, tan(syz)], [0, 0, ez]].

A part whose bed pose is R (design -> machine axes) deforms by G = (1 - k) (1 + a dT) R^T A R, with k
the shrinkage of its material, a its expansion and dT the departure from the reference temperature.
"""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array

# Row and column of each affine figure in A - I, in the order of model.machine.AFFINE_FIGURES.
_PLACES = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
_DEGREE = np.pi / 180.0


def skew_radians(figures: Array) -> Array:
    """The six affine figures with their skews turned from degrees into radians.

    figures : (..., 6) scales [-], then squareness xy, xz, yz [deg]
    """
    converted = np.array(figures, dtype=np.float64)
    converted[..., 3:] *= _DEGREE
    return converted


def machine_gain(figures: Array) -> Array:
    """The matrix A (3, 3) that takes a commanded point to the printed one.

    figures : (6,) scale x, y, z [-], squareness xy, xz, yz [deg]
    Positive xz means that the print leans toward +X as it grows in Z.
    Raises ValueError where a skew reaches 45 degrees or a scale -1: no printer, and tan() would mislead.
    """
    ex, ey, ez, sxy, sxz, syz = (float(figure) for figure in figures)
    if max(abs(sxy), abs(sxz), abs(syz)) >= 45.0 or min(ex, ey, ez) <= -1.0:
        raise ValueError(f"error figures out of range: {tuple(figures)}")
    txy, txz, tyz = np.tan(np.array([sxy, sxz, syz]) * _DEGREE)
    return np.array([[1.0 + ex, txy, txz], [0.0, 1.0 + ey, tyz], [0.0, 0.0, 1.0 + ez]])


def part_gain(
    gain: Array, to_machine: Array, shrinkage: Array | float, thermal_strain: Array | float = 0.0
) -> Array:
    """The matrix G (..., 3, 3) by which a printed part differs from its model, assembly axes.

    gain : (..., 3, 3) A of its machine
    to_machine : (..., 3, 3) rotation from assembly axes to machine axes in the part's bed pose
    shrinkage : (...) [-] 0.002 is 0.2 % smaller
    thermal_strain : (...) [-] expansion times departure from the reference temperature
    """
    size = np.asarray((1.0 - np.asarray(shrinkage)) * (1.0 + np.asarray(thermal_strain)))
    deformation: Array = size[..., None, None] * (np.swapaxes(to_machine, -1, -2) @ gain @ to_machine)
    return deformation


def affine_derivatives(to_machine: Array) -> Array:
    """Derivatives (6, 3, 3) of G by the six affine figures, at the perfect machine.

    to_machine : (3, 3) rotation from assembly axes to machine axes
    Scales per unit; skews per degree.
    """
    derivatives = np.empty((6, 3, 3))
    for index, (row, column) in enumerate(_PLACES):
        unit = 1.0 if row == column else _DEGREE
        derivatives[index] = unit * np.outer(to_machine[row], to_machine[column])
    return derivatives


def row_derivatives(direction: Array, arm: Array) -> Array:
    """Derivatives (n, 6) of direction . G arm by the six affine figures, at the perfect machine.

    direction, arm : (n, 3) in machine axes
    Scales per unit; skews per degree.
    """
    columns = [
        (1.0 if row == column else _DEGREE) * direction[:, row] * arm[:, column] for row, column in _PLACES
    ]
    return np.stack(columns, axis=1)
