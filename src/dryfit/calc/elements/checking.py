"""Checks of the points of a fit, and the words of a refusal."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.errors import ComputationRefused

# Below this share of the extent a scatter is rounding, and not shape.
ROUNDING = 1e-9


def refusal(element: str, count: int, what: str, do: str) -> ComputationRefused:
    """The refusal of a fit; the caller raises it."""
    noun = "point" if count == 1 else "points"
    return ComputationRefused(what, f"the fit of a {element} to {count} {noun}", do)


def checked_points(points: Array, width: int, least: int, element: str) -> Array:
    """The points (n, width), finite, at least so many.

    Raises ValueError on another shape or on values that are not finite, ComputationRefused on too few.
    """
    kept = locked(points, (None, width), "points")
    if len(kept) < least:
        what = f"a {element} needs at least {least} points"
        raise refusal(element, len(kept), what, "pick a larger face, or state more points")
    return kept


def checked_surface(points: Array, normals: Array, least: int, element: str) -> tuple[Array, Array]:
    """Points and unit normals (n, 3) of a curved element.

    Raises ComputationRefused where the points are too few, or all lie in one plane to within rounding, and
    ValueError where shapes do not match or a normal has no length.
    """
    kept = checked_points(points, 3, least, element)
    directions = locked(normals, (len(kept), 3), "normals")
    lengths = np.linalg.norm(directions, axis=1)
    if not (lengths > 0.0).all():
        raise ValueError("a normal has no length")
    spread = spreads(kept)
    if spread[2] <= ROUNDING * spread[0]:
        what = f"all points lie in one plane: they determine no {element}"
        raise refusal(element, len(kept), what, "pick a face that is curved, or measure this one as a plane")
    return kept, directions / lengths[:, None]


def spreads(points: Array) -> Array:
    """Root sums of squares of centred points along their principal axes, falling; zeros for missing ones."""
    values = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    full = np.zeros(points.shape[1])
    full[: len(values)] = values
    return full


def facing_positive(direction: Array) -> Array:
    """The direction or its opposite, whichever has its largest component positive; read-only."""
    sign = np.sign(direction[np.argmax(np.abs(direction))])
    return locked(direction * sign, direction.shape, "direction")
