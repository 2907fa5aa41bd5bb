"""The largest sphere that lies inside a body and touches its surface at a point.

A sphere begins as large as the ray through the body allows. While some point of the surface lies inside it,
it shrinks until it touches that point.
Source: shrinking ball (Ma, Bae and Choi 2012, 3D medial axis point approximation using nearest neighbors and
the normal field; memory), here with nearest points of triangles in place of sampled points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.thickness.nearest import nearest_ahead, nearest_seen
from dryfit.calc.thickness.solid import Solid

# Facets that meet under less than this are taken for one smooth surface (common practice, no source): a
# sphere beside the edge between them may pass through the neighbour by 1 - cos(15 deg) of its radius.
SMOOTH_DEG = 15.0
# Seen from the centre, a second touching point nearer to the first than this lies on the same smooth surface.
_BESIDE_DEG = 60.0
_MOST_STEPS = 30
_SHALLOW = 5e-3  # a sphere that is cut no deeper, over its radius, shrinks once more and is done
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class Inscribed:
    """Of n spheres.

    diameter_mm  (n,) nan where none was begun
    span_deg     (n,) angle at the centre between the point and the second point that the sphere touches:
                 180 between parallel faces, 180 less the angle of a wedge, 90 beside a square edge
    """

    diameter_mm: Array
    span_deg: Array


def inscribe_spheres(solid: Solid, points: Array, normals: Array, ray_mm: Array) -> Inscribed:
    """Spheres that touch at points (n, 3) [mm], relative to the middle of the solid, with outward normals.

    ray_mm : (n,) way of the ray through the body, which no such sphere exceeds; nan leaves a point out
    Between flat faces within 0.1 %; beside smooth facets too large by up to 2 % between nearly parallel
    faces and 7 % between those at 60 degrees. In meshes of many triangles a face that fills less than one part in
    LOOKS of the view from the centre can be missed. Never too small by more than rounding.
    """
    is_begun = np.isfinite(ray_mm) & (ray_mm > 0)
    start = np.where(is_begun, ray_mm, 0.0)
    spheres = _Spheres(points, normals, 0.5 * start, points - start[:, None] * normals)
    live = np.flatnonzero(is_begun)
    for _ in range(_MOST_STEPS):
        if not len(live):
            break
        seen = nearest_seen(solid, spheres.centres(live))
        depth = spheres.shrink(live, seen.near, seen.triangle >= 0)
        is_deep = depth > _SHALLOW
        live = live[is_deep]
        if seen.ahead is not None:
            _shrink_ahead(solid, spheres, live, seen.ahead[is_deep])
    diameter = np.where(is_begun, 2.0 * spheres.radius, np.nan)
    span = _span_deg(spheres.touched, points, spheres.radius)
    return Inscribed(diameter, np.where(is_begun, span, np.nan))


@dataclass(frozen=True, slots=True, eq=False)
class _Spheres:
    """Of n spheres that shrink in place: points, normals and touched points (n, 3), radius (n,) [mm]."""

    points: Array
    normals: Array
    radius: Array
    touched: Array

    def centres(self, which: IntArray) -> Array:
        """(k, 3) [mm] of some."""
        found: Array = self.points[which] - self.radius[which, None] * self.normals[which]
        return found

    def shrink(self, which: IntArray, near: Array, is_seen: BoolArray) -> Array:
        """Let some (k,) pass through what was nearest to their centres where it cut them, and say how deep."""
        p, n, r = self.points[which], self.normals[which], self.radius[which]
        depth = _depth_of_cut(p, n, r, near, is_seen)
        is_cut = depth > 0.0
        cut, near = which[is_cut], near[is_cut]
        apart = p[is_cut] - near
        smaller = (apart**2).sum(axis=1) / (2.0 * np.einsum("ij,ij->i", apart, n[is_cut]))
        self.radius[cut], self.touched[cut] = np.minimum(smaller, r[is_cut]), near
        return depth


def _shrink_ahead(solid: Solid, spheres: _Spheres, live: IntArray, ahead: IntArray) -> None:
    """Shrink by quick looks as far as they tell. A whole look follows: it finds what they missed."""
    for _ in range(_MOST_STEPS):
        if not len(live):
            return
        seen = nearest_ahead(solid, spheres.centres(live), ahead)
        is_deep = spheres.shrink(live, seen.near, seen.triangle >= 0) > _SHALLOW
        assert seen.ahead is not None
        live, ahead = live[is_deep], seen.ahead[is_deep]


def _depth_of_cut(p: Array, n: Array, r: Array, near: Array, is_seen: BoolArray) -> Array:
    """(n,) how deep each near point lies in its sphere, over the radius; 0 where it may lie there."""
    near = np.where(is_seen[:, None], near, p)
    depth = 1.0 - np.linalg.norm(near - p + r[:, None] * n, axis=1) / r
    is_beside = _span_deg(near, p, r) < _BESIDE_DEG
    is_smooth = is_beside & (depth <= 1.0 - np.cos(np.radians(SMOOTH_DEG)))
    counts = (depth > _ROUNDING) & ~is_smooth & (np.einsum("ij,ij->i", p - near, n) > 0)
    return np.where(counts, depth, 0.0)


def _span_deg(touched: Array, points: Array, radius: Array) -> Array:
    """Angle (n,) [deg] of the chord between two points of a sphere, seen from its centre."""
    chord = np.linalg.norm(points - touched, axis=1)
    half = chord / np.where(radius > 0, 2.0 * radius, 1.0)
    angle: Array = 2.0 * np.degrees(np.arcsin(np.clip(half, 0.0, 1.0)))
    return angle
