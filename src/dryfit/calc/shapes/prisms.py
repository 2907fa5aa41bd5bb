"""Upright prisms over any simple outline."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.model.mesh import TriangleMesh


def prism(outline: Array, height: float, z0: float = 0.0, name: str = "") -> TriangleMesh:
    """The prism over an outline in plan.

    outline : (n, 2) [mm] corners of a simple polygon, in either turning direction, none doubled
    height : [mm] more than 0
    Raises ValueError where the outline encloses no area or crosses itself.
    """
    if outline.ndim != 2 or outline.shape[1] != 2 or len(outline) < 3 or not height > 0.0:
        raise ValueError("a prism needs at least three corners (n, 2) and a height above 0")
    area = 0.5 * float(np.sum(_cross(outline, np.roll(outline, -1, axis=0))))
    if area == 0.0:
        raise ValueError("the outline encloses no area")
    ring = outline if area > 0.0 else outline[::-1]
    caps = _clip_ears(ring)
    count = len(ring)
    here = np.arange(count)
    after = (here + 1) % count
    sides = np.concatenate(
        [
            np.stack([here, after, after + count], axis=1),
            np.stack([here, after + count, here + count], axis=1),
        ]
    )
    level = np.full((count, 1), z0)
    vertices = np.vstack([np.hstack([ring, level]), np.hstack([ring, level + height])])
    return TriangleMesh(vertices, np.concatenate([caps[:, ::-1], caps + count, sides]), name)


def _cross(first: Array, second: Array) -> Array:
    product: Array = first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]
    return product


def _clip_ears(ring: Array) -> IntArray:
    """(n - 2, 3) triangles of a counter-clockwise simple polygon, ear by ear."""
    left = list(range(len(ring)))
    triangles = []
    while len(left) > 3:
        place = next((place for place in range(len(left)) if _is_ear(ring, left, place)), None)
        if place is None:
            raise ValueError("the outline crosses or touches itself")
        triangles.append([left[place - 1], left[place], left[(place + 1) % len(left)]])
        del left[place]
    return np.array([*triangles, left], dtype=np.int64)


def _is_ear(ring: Array, left: list[int], place: int) -> bool:
    """Whether the corner is convex and no other corner lies in or on its triangle."""
    corners = [left[place - 1], left[place], left[(place + 1) % len(left)]]
    a, b, c = ring[corners]
    if _cross(b - a, c - b) <= 0.0:
        return False
    others = ring[[index for index in left if index not in corners]]
    inside = (
        (_cross(b - a, others - a) >= 0) & (_cross(c - b, others - b) >= 0) & (_cross(a - c, others - c) >= 0)
    )
    return not bool(inside.any())
