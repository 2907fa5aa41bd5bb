"""How the shares of a part in the results change as it turns about the machine's vertical.

A part enters each result through one matrix B (3, 3): the sum over its contact rows of sensitivity times
direction times arm, in machine axes. An affine figure in row i and column j of the error model acts through
B[i, j]. A turn by t takes B to Rz B Rz^T, whose entries are sums of 1, cos t, sin t, cos 2t and sin 2t, so
five numbers per result and figure say everything about all turns.
"""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array

TERMS = 5  # 1, cos t, sin t, cos 2t, sin 2t
_DEGREE = np.pi / 180.0


def turn_basis(turn_deg: Array) -> Array:
    """(..., 5) values of 1, cos t, sin t, cos 2t, sin 2t."""
    t = np.asarray(turn_deg) * _DEGREE
    return np.stack([np.ones_like(t), np.cos(t), np.sin(t), np.cos(2 * t), np.sin(2 * t)], axis=-1)


def turn_slopes(turn_deg: Array) -> Array:
    """(..., 5) derivatives of the basis by the turn in radians."""
    t = np.asarray(turn_deg) * _DEGREE
    return np.stack([np.zeros_like(t), -np.sin(t), np.cos(t), -2 * np.sin(2 * t), 2 * np.cos(2 * t)], axis=-1)


def turn_curvatures(turn_deg: Array) -> Array:
    """(..., 5) second derivatives of the basis by the turn in radians."""
    curvatures: Array = -turn_basis(turn_deg) * np.array([0.0, 1.0, 1.0, 4.0, 4.0])
    return curvatures


def turn_coefficients(moments: Array, rotation: Array) -> Array:
    """(5, q, 6) coefficients of the derivatives by the affine figures, scales per unit and skews per degree.

    moments  (q, 3, 3) B in assembly axes
    rotation (3, 3) from assembly to machine axes at turn 0
    The figures are in the order of model.machine.AFFINE_FIGURES.
    """
    m = rotation @ moments @ rotation.T
    half_sum, half_difference = 0.5 * (m[:, 0, 0] + m[:, 1, 1]), 0.5 * (m[:, 0, 0] - m[:, 1, 1])
    symmetric, twist = 0.5 * (m[:, 0, 1] + m[:, 1, 0]), 0.5 * (m[:, 0, 1] - m[:, 1, 0])
    none = np.zeros(len(m))
    figures = [
        (half_sum, none, none, half_difference, -symmetric),
        (half_sum, none, none, -half_difference, symmetric),
        (m[:, 2, 2], none, none, none, none),
        (twist * _DEGREE, none, none, symmetric * _DEGREE, half_difference * _DEGREE),
        (none, m[:, 0, 2] * _DEGREE, -m[:, 1, 2] * _DEGREE, none, none),
        (none, m[:, 1, 2] * _DEGREE, m[:, 0, 2] * _DEGREE, none, none),
    ]
    return np.stack([np.stack(figure, axis=0) for figure in figures], axis=2)
