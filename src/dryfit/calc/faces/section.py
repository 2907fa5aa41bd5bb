"""Extents of a mesh and its cut with a plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.faces.surface import Surface, connected_labels, prepare_surface
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True, eq=False)
class Extent:
    """low_mm, high_mm along the direction; low_point, high_point (3,) [mm] vertices that reach them."""

    low_mm: float
    high_mm: float
    low_point: Array
    high_point: Array

    @property
    def length_mm(self) -> float:
        return self.high_mm - self.low_mm


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """segments  (k, 2, 3) [mm] one per triangle that the plane cuts
    loops        which closed line each segment belongs to, (k,)
    is_closed    whether every line closes
    area_mm2     enclosed by the lines, holes taken off; only where they close
    """

    segments: Array
    loops: IntArray
    is_closed: bool
    area_mm2: float | None


def extent_along(mesh: TriangleMesh, direction: Array) -> Extent:
    """How far a mesh reaches along a unit direction (3,); vertices that no triangle uses do not count."""
    used = np.zeros(len(mesh.vertices), dtype=np.bool_)
    used[mesh.faces] = True
    return _extent(mesh.vertices[used], direction)


def _extent(points: Array, direction: Array) -> Extent:
    if not len(points):
        raise ComputationRefused(
            "there is nothing to measure an extent of", "mesh", "give a part with triangles"
        )
    along = points @ direction
    low, high = int(np.argmin(along)), int(np.argmax(along))
    return Extent(float(along[low]), float(along[high]), points[low], points[high])


def section_polygon(mesh: TriangleMesh, point: Array, normal: Array) -> Section:
    """The lines in which a plane through point (3,) with unit normal (3,) cuts a mesh.

    A vertex on the plane counts as lying just above it, so that a cut along an edge or a face is still a set
    of closed lines.
    Raises ComputationRefused where the plane misses the mesh.
    """
    surface = prepare_surface(mesh)
    height = (surface.vertices - point) @ normal
    above = height >= 0
    side = above[surface.corners]
    cut = np.flatnonzero(side.any(axis=1) & ~side.all(axis=1))
    if not len(cut):
        raise ComputationRefused(
            "the cutting plane misses the part", "section", "move the point of the plane"
        )
    edges = _cut_edges(surface.corners[cut], side[cut])
    places = _crossings(surface, height, edges)
    loops, is_closed = _lines(edges, len(surface.vertices))
    enclosed = _enclosed(places, point, normal, surface.normals[cut]) if is_closed else None
    return Section(places, loops, is_closed, enclosed)


def section_extent(section: Section, direction: Array) -> Extent:
    """How far a section reaches along a unit direction (3,)."""
    return _extent(section.segments.reshape(-1, 3), direction)


def _cut_edges(corners: IntArray, side: BoolArray) -> IntArray:
    """(k, 2, 2) the two edges of each triangle that the plane crosses, each as (vertex below, above)."""
    # The corner that lies alone on its side starts both edges.
    alone = np.where(side.sum(axis=1) == 1, np.argmax(side, axis=1), np.argmin(side, axis=1))
    rows = np.arange(len(corners))
    single = corners[rows, alone]
    others = [corners[rows, (alone + k) % 3] for k in (1, 2)]
    is_up = side[rows, alone]
    ends = [
        np.where(is_up[:, None], np.column_stack([other, single]), np.column_stack([single, other]))
        for other in others
    ]
    return np.stack(ends, axis=1)


def _crossings(surface: Surface, height: Array, edges: IntArray) -> Array:
    below, above = edges[..., 0], edges[..., 1]
    share = height[above] / (height[above] - height[below])
    crossings: Array = surface.vertices[above] + share[..., None] * (
        surface.vertices[below] - surface.vertices[above]
    )
    return crossings


def _lines(edges: IntArray, vertex_count: int) -> tuple[IntArray, bool]:
    """Segments that share a crossed edge lie on one line; it closes where every edge is shared by two."""
    keys = edges[..., 0] * vertex_count + edges[..., 1]
    _, place, count = np.unique(keys, return_inverse=True, return_counts=True)
    place = place.reshape(-1, 2)
    return connected_labels(len(count), place)[place[:, 0]], bool((count % 2 == 0).all())


def _enclosed(segments: Array, point: Array, normal: Array, outward: Array) -> float:
    """Area by the divergence theorem in the plane: half the sum of outward normal times position."""
    flat = outward - (outward @ normal)[:, None] * normal
    flat = flat / np.maximum(np.linalg.norm(flat, axis=1), 1e-300)[:, None]
    middle = segments.mean(axis=1) - segments.reshape(-1, 3).mean(axis=0)
    length = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    return 0.5 * float(((middle * flat).sum(axis=1) * length).sum())
