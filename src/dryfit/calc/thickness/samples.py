"""Points spread over a surface: evenly by area, and one on each small patch that the even ones miss."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, bounds_of, corners_of, cross
from dryfit.base.errors import ComputationRefused
from dryfit.model.mesh import TriangleMesh

# Side of the cubes in which small patches are looked for, over the distance between even samples: finer
# than this, the number of patches would exceed that of the even samples.
_CELL_OVER_SPACING = 2.0
_CELL_BITS = 18  # per axis of the number of a cube
# Steps of the additive sequence that fills a square evenly: powers of the inverse of the real root of
# x^3 = x + 1 (memory).
_EVEN_STEPS = np.array([0.7548776662466927, 0.5698402909980532])


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """k points on a surface.

    points     (k, 3) [mm]
    normals    (k, 3) unit, outward by the order of the triangle's corners
    triangles  (k,) on which each lies
    area_mm2   (k,) of the surface for which each stands; together the area of the mesh
    even       how many are spread evenly; the others lie on small patches
    left_out   small patches without a sample, since there were more of them than even samples
    """

    points: Array
    normals: Array
    triangles: IntArray
    area_mm2: Array
    even: int
    left_out: int

    @property
    def words(self) -> str:
        """How densely the surface is sampled."""
        each = float(self.area_mm2.sum()) / self.even
        text = f"{self.even} samples, one on every {each:.3g} mm2 of surface, about {each**0.5:.2g} mm apart"
        extra = len(self.points) - self.even
        if extra:
            text += f", and {extra} on smaller patches"
        if self.left_out:
            text += f"; {self.left_out} still smaller patches have none"
        return text


def triangle_normals(mesh: TriangleMesh) -> tuple[Array, Array]:
    """Unit normals (m, 3), zero where a triangle has no area, and areas (m,) [mm2]."""
    a, b, c = corners_of(mesh.vertices, mesh.faces)
    normal = cross(b - a, c - a)
    double = np.sqrt(np.einsum("ij,ij->i", normal, normal))
    normal /= np.where(double > 0, double, 1.0)[:, None]
    return normal, 0.5 * double


def sample_surface(mesh: TriangleMesh, count: int, seed: int) -> Samples:
    """About count points, the same for the same mesh, count and seed.

    Triangles are put in order by the way they face and then by place, and each count-th part of the area
    along that order gets one point: a face that is larger than that part has a point for certain, whatever
    the order of triangles in the file. Inside a large triangle the points follow an even sequence. Then
    every patch (the triangles of one cube that face the same way) without a point gets one, up to count.
    Raises ComputationRefused for a surface without area.
    """
    normals, areas = triangle_normals(mesh)
    total = float(areas.sum())
    if not total > 0.0:
        raise ComputationRefused("no triangle of the mesh has an area", "thickness", "look at its mesh file")
    generator = np.random.Generator(np.random.PCG64(seed))
    cells = _patch_numbers(mesh, normals, _CELL_OVER_SPACING * (total / count) ** 0.5)
    order = np.argsort(cells, kind="stable")
    reach = np.cumsum(areas[order])
    targets = (np.arange(count) + generator.random(count)) * (float(reach[-1]) / count)
    chosen = order[np.minimum(np.searchsorted(reach, targets, side="right"), len(order) - 1)]
    points = _points_within(mesh, chosen, generator)
    extra, extra_area, left_out = _missed_patches(cells, order, areas, chosen, count)
    if len(extra):
        points = np.vstack([points, mesh.vertices[mesh.faces[extra]].mean(axis=1)])
    triangles = np.concatenate([chosen, extra])
    share = np.full(count, (total - float(extra_area.sum())) / count)
    return Samples(
        points, normals[triangles], triangles, np.concatenate([share, extra_area]), count, left_out
    )


def _patch_numbers(mesh: TriangleMesh, normals: Array, side_mm: float) -> IntArray:
    """(m,) number of the cube and of one of 26 directions; neighbouring cubes have near numbers."""
    a, b, c = corners_of(mesh.vertices, mesh.faces)
    middle = (a + b + c) / 3.0
    low, high = bounds_of(middle)
    step = max(side_mm, float((high - low).max()) / (2**_CELL_BITS - 1), 1e-12)
    cube = np.floor((middle - low) / step).astype(np.int64)
    facing = (np.rint(normals).astype(np.int64) + 1) @ np.array([9, 3, 1])
    number = ((facing << _CELL_BITS) + cube[:, 0]) << (2 * _CELL_BITS)
    numbered: IntArray = number + (cube[:, 1] << _CELL_BITS) + cube[:, 2]
    return numbered


def _points_within(mesh: TriangleMesh, chosen: IntArray, generator: np.random.Generator) -> Array:
    """One point (k, 3) in each chosen triangle; those of one triangle follow one another in chosen."""
    starts_new = np.concatenate([[True], chosen[1:] != chosen[:-1]])
    first = np.maximum.accumulate(np.where(starts_new, np.arange(len(chosen)), 0))
    rank = np.arange(len(chosen)) - first
    square = (generator.random((len(chosen), 2))[first] + rank[:, None] * _EVEN_STEPS) % 1.0
    square = np.where((square.sum(axis=1) > 1.0)[:, None], 1.0 - square, square)
    a, b, c = np.moveaxis(mesh.vertices[mesh.faces[chosen]], 1, 0)
    points: Array = a + square[:, :1] * (b - a) + square[:, 1:] * (c - a)
    return points


def _missed_patches(
    cells: IntArray, order: IntArray, areas: Array, chosen: IntArray, most: int
) -> tuple[IntArray, Array, int]:
    """The largest triangle of each patch without a point, the area of the patch, and how many too many."""
    sorted_cells = cells[order]
    starts = np.flatnonzero(np.concatenate([[True], sorted_cells[1:] != sorted_cells[:-1]]))
    patch = np.empty(len(cells), dtype=np.int64)
    patch[order] = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(order))))
    is_missed: BoolArray = np.ones(len(starts), dtype=np.bool_)
    is_missed[patch[chosen]] = False
    area: Array = np.zeros(len(starts))
    np.add.at(area, patch, areas)
    is_missed &= area > 0.0
    by_area = np.lexsort((areas, patch))  # the last of each patch is its largest triangle
    largest = by_area[np.append(np.flatnonzero(np.diff(patch[by_area])), len(by_area) - 1)]
    missed = np.flatnonzero(is_missed)
    missed = missed[np.argsort(-area[missed], kind="stable")]
    extra = np.asarray(largest[missed[:most]], dtype=np.int64)
    return extra, area[missed[:most]], max(0, len(missed) - most)
