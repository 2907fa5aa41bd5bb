"""Rotations that may bring one shape onto another, from what each knows of its own axes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, cross
from dryfit.calc.likeness.shape import Shape

# Spreads that differ by less than this share say nothing of where the axes point.
_SAME_SPREAD = 0.02
_MOST_ORDER = 12  # highest symmetry of turning that is looked for
_LEAST_MOMENT = 1e-4  # share of the whole below which a moment is rounding
_Complex = npt.NDArray[np.complex128]
_FLIPS = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float)


def principal_rotations(a: Shape, b: Shape) -> Array:
    """Rotations (4, 3, 3) about the centres that match the principal axes, in their right-handed senses."""
    sa, sb = a.signature, b.signature
    return np.array([sb.axes @ np.diag(flip) @ sa.axes.T for flip in _FLIPS])


def symmetric_rotations(a: Shape, b: Shape) -> Array:
    """Rotations (k, 3, 3) to try where spreads are alike, so that principal axes say too little.

    Where two are alike the angle about the third axis comes from the moments of order 1 to 12 about it.
    Where all are alike (a cube, a ball) the farthest corners are matched with one another first.
    """
    sa, sb = a.signature, b.signature
    found: list[Array] = []
    spreads = 0.5 * (sa.spreads_mm + sb.spreads_mm)
    alike = [spreads[k] - spreads[k + 1] < _SAME_SPREAD * spreads[0] for k in (0, 1)]
    if all(alike):
        found += _by_corners(a, b)
    elif any(alike):
        single = 2 if alike[0] else 0
        for sense in (1.0, -1.0):
            found += _about(a, b, sa.axes[:, single], sense * sb.axes[:, single])
    return np.array(found).reshape(-1, 3, 3)


def _about(a: Shape, b: Shape, axis_a: Array, axis_b: Array) -> list[Array]:
    """Rotations that bring one axis onto the other, turned so that the moments about it agree."""
    frame_a, frame_b = _frame(axis_a), _frame(axis_b)
    moments_a, moments_b = _moments(a, frame_a), _moments(b, frame_b)
    strength = np.minimum(np.abs(moments_a), np.abs(moments_b))
    found = [frame_b @ frame_a.T]
    for k in np.argsort(-strength)[:2]:
        order = int(k) + 1
        if strength[k] < _LEAST_MOMENT:
            continue
        start = float(np.angle(moments_b[k] / moments_a[k])) / order
        angles = start + 2.0 * np.pi * np.arange(order) / order
        found += [frame_b @ _turn(float(angle)) @ frame_a.T for angle in angles]
    return found


def _by_corners(a: Shape, b: Shape) -> list[Array]:
    found: list[Array] = []
    tip = _far_directions(a, 1)[0]
    for other in _far_directions(b, 24):
        found += _about(a, b, tip, other)
    return found


def _far_directions(shape: Shape, most: int) -> Array:
    """Directions (k, 3) of the vertices farthest from the centre, ten degrees apart at least."""
    arms = shape.mesh.vertices - shape.signature.centre_mm
    length = np.sqrt((arms**2).sum(axis=1))
    left = arms[length > 0.99 * length.max()]
    left = left[np.argsort(-(left**2).sum(axis=1), kind="stable")]
    left = left / np.sqrt((left**2).sum(axis=1))[:, None]
    found: list[Array] = []
    while len(left) and len(found) < most:
        found.append(left[0])
        left = left[left @ left[0] < np.cos(np.radians(10.0))]
    return np.array(found)


def _frame(axis: Array) -> Array:
    """(3, 3) right-handed, its third column along the axis."""
    side = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    side /= np.linalg.norm(side)
    return np.stack([side, np.cross(axis, side), axis], axis=1)


def _turn(angle_rad: float) -> Array:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _moments(shape: Shape, frame: Array) -> _Complex:
    """Complex moments of order 1 to 12 of the surface about the third axis of a frame, as shares."""
    vertices = (shape.mesh.vertices - shape.signature.centre_mm) @ frame
    a, b, c = (vertices[shape.mesh.faces[:, k]] for k in range(3))
    areas = np.sqrt((cross(b - a, c - a) ** 2).sum(axis=1))
    total = np.zeros(_MOST_ORDER, dtype=np.complex128)
    whole = 0.0
    for p in (a + b, b + c, c + a):  # middles of the edges: exact for the second moments
        z = p[:, 0] + 1j * p[:, 1]
        square = np.abs(z) ** 2
        unit = np.exp(1j * np.angle(z))
        power = areas * square + 0j
        whole += float((areas * square).sum())
        for k in range(_MOST_ORDER):
            power = power * unit
            total[k] += power.sum()
    moments: _Complex = total / max(whole, 1e-300)
    return moments
