"""Smoothly curved regions of a part, and the cylinders among them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.mating.planes import FlatPieces, bend_angles, connected_labels
from dryfit.calc.mating.surface import Surface

# Common practice, no source, for all of these.
SMOOTH_BEND_DEG = 20.0  # neighbouring facets of one curve bend by less than this
FLAT_BEND_DEG = 0.05  # below this a bend has no believable sense: it joins convex and concave alike
SIZE_RATIO = 4.0  # a flat face beside a fillet is larger than its strips by more than this
MIN_FACETS = 4  # fewer facets than this are flat faces at an angle
WIDE_RATIO, WIDE_SHARE = 1.5, 0.2  # a few facets so much wider than the median one may be flat faces
CYLINDER_FIT_MM = 0.02  # the vertices of a faceted cylinder lie on it within this


@dataclass(frozen=True, slots=True, eq=False)
class Cylinder:
    """point (3,) [mm] on the axis, axis (3,) unit, radius [mm]."""

    point: Array
    axis: Array
    radius_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class CurvedRegion:
    """Facets joined over smooth bends of one sense.

    pieces     flat pieces that are its facets      triangles  their triangles
    is_convex  a shaft is convex, a hole is not
    cylinder   None where the vertices do not lie on one
    box        (2, 3) [mm] bounding box
    """

    pieces: IntArray
    triangles: IntArray
    is_convex: bool
    cylinder: Cylinder | None
    box: Array


def curved_regions(surface: Surface, pieces: FlatPieces, min_area_mm2: float) -> list[CurvedRegion]:
    """Convex and concave regions of at least MIN_FACETS facets and the given area."""
    links = pieces.labels[surface.neighbours]
    angles = bend_angles(surface) - surface.slacks[surface.neighbours].sum(axis=1)
    sizes = pieces.areas[links]
    smooth = (links[:, 0] != links[:, 1]) & (angles <= np.radians(SMOOTH_BEND_DEG))
    smooth &= sizes.max(axis=1) <= SIZE_RATIO * sizes.min(axis=1)
    links, angles = links[smooth], angles[smooth]
    first, second = surface.neighbours[smooth].T
    steps = surface.centroids[second] - surface.centroids[first]
    rises = np.einsum("kx,kx->k", steps, surface.normals[second] - surface.normals[first])
    level = angles <= np.radians(FLAT_BEND_DEG)
    regions: list[CurvedRegion] = []
    for is_convex in (True, False):
        chosen = links[level | ((rises > 0) == is_convex)]
        for members in _groups(len(pieces.areas), chosen):
            if pieces.areas[members].sum() >= min_area_mm2:
                regions += _resolved(surface, pieces, members, chosen, is_convex)
    return regions


def fitted_cylinder(points: Array, normals: Array, weights: Array) -> tuple[Cylinder, float]:
    """Least-squares cylinder through points (n, 3), and the largest distance from it [mm].

    normals (m, 3), weights (m,): of the facets; the axis starts as the direction least present in them.
    Gauss-Newton on the distances of the vertices, which lie on the true radius though the facets do not.
    """
    centre = points.mean(axis=0)
    axis = np.linalg.eigh((normals * weights[:, None]).T @ normals)[1][:, 0]
    across = np.linalg.svd(axis[None])[2][1:]
    local = (points - centre) @ across.T
    # Algebraic circle (Kasa) as the start: 2 c . x + (r^2 - c^2) = x^2.
    system = np.column_stack([2 * local, np.ones(len(local))])
    answer = np.linalg.lstsq(system, (local**2).sum(axis=1), rcond=None)[0]
    centre = centre + answer[:2] @ across
    radius = float(np.sqrt(max(answer[2] + answer[:2] @ answer[:2], 0.0)))
    for _ in range(10):
        step = _cylinder_step(points, centre, axis, across, radius)
        centre = centre + step[:2] @ across
        axis = axis + step[2:4] @ across
        axis = axis / np.linalg.norm(axis)
        across = np.linalg.svd(axis[None])[2][1:]
        radius += float(step[4])
        if np.abs(step).max() < 1e-10 * max(radius, 1.0):
            break
    offsets = points - centre
    radial = offsets - (offsets @ axis)[:, None] * axis
    distances = np.abs(np.sqrt((radial**2).sum(axis=1)) - radius)
    return Cylinder(centre, axis, radius), float(distances.max())


def _cylinder_step(points: Array, centre: Array, axis: Array, across: Array, radius: float) -> Array:
    """(5,) change of the centre across the axis, the axis, and the radius."""
    offsets = points - centre
    heights = offsets @ axis
    radial = offsets - heights[:, None] * axis
    distances = np.sqrt((radial**2).sum(axis=1))
    directions = radial / np.maximum(distances, 1e-12)[:, None] @ across.T
    jacobian = np.column_stack([-directions, -heights[:, None] * directions, -np.ones(len(points))])
    step: Array = np.linalg.lstsq(jacobian, radius - distances, rcond=1e-12)[0]
    return step


def _groups(count: int, links: IntArray) -> list[IntArray]:
    """Components of at least MIN_FACETS nodes."""
    if len(links) < MIN_FACETS - 1:
        return []
    labels = connected_labels(count, links)
    order = np.argsort(labels, kind="stable")
    sizes = np.bincount(labels, minlength=1)
    ends = np.cumsum(sizes)
    return [order[ends[i] - sizes[i] : ends[i]] for i in np.flatnonzero(sizes >= MIN_FACETS)]


def _resolved(
    surface: Surface, pieces: FlatPieces, members: IntArray, links: IntArray, is_convex: bool
) -> list[CurvedRegion]:
    """The region as a cylinder; or its cylinders once its few wide facets, flat faces, are left out."""
    whole = _region(surface, pieces, members, is_convex)
    wide = pieces.areas[members] > WIDE_RATIO * np.median(pieces.areas[members])
    if whole.cylinder is not None:
        return [whole] if _is_of_sense(surface, whole.triangles, whole.cylinder, is_convex) else []
    if not wide.any() or wide.mean() > WIDE_SHARE:
        return [whole]
    narrow: BoolArray = np.zeros(len(pieces.areas), dtype=np.bool_)
    narrow[members[~wide]] = True
    inner = links[narrow[links].all(axis=1)]
    parts = [_region(surface, pieces, group, is_convex) for group in _groups(len(narrow), inner)]
    found = [
        part
        for part in parts
        if part.cylinder is not None and _is_of_sense(surface, part.triangles, part.cylinder, is_convex)
    ]
    return found or [whole]


def _is_of_sense(surface: Surface, triangles: IntArray, cylinder: Cylinder, is_convex: bool) -> bool:
    """Whether the normals point away from the axis (convex) or to it: bends too small to tell do not say."""
    offsets = surface.centroids[triangles] - cylinder.point
    away = np.einsum("mx,mx->m", offsets, surface.normals[triangles])
    axial = (offsets @ cylinder.axis) * (surface.normals[triangles] @ cylinder.axis)
    return bool((surface.areas[triangles] @ (away - axial) > 0) == is_convex)


def _region(surface: Surface, pieces: FlatPieces, members: IntArray, is_convex: bool) -> CurvedRegion:
    is_member = np.zeros(len(pieces.areas), dtype=np.bool_)
    is_member[members] = True
    triangles = np.flatnonzero(is_member[pieces.labels])
    points = surface.vertices[np.unique(surface.faces[triangles])]
    cylinder, worst = fitted_cylinder(points, surface.normals[triangles], surface.areas[triangles])
    fits = worst <= CYLINDER_FIT_MM + 4 * surface.noise_mm and bool(np.isfinite(cylinder.point).all())
    box = np.array([points.min(axis=0), points.max(axis=0)])
    return CurvedRegion(members, triangles, is_convex, cylinder if fits else None, box)
