"""A stand-in for a fine surface: many samples of it with their tangent planes, quicker by far to look up."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.scans.grid import DistanceGrid
from dryfit.calc.scans.surface import Nearest, NominalSurface

# A mesh of no more triangles is quick enough itself.
FEW_TRIANGLES = 4000
_SAMPLES = 120_000
_MANY = 20_000  # points for which a second thread is worth its start
_CELLS_OFF = 3.0  # of the grid; farther off the nearest sample need not be found


class ClosestSurface(Protocol):
    """What the fits need of a surface."""

    @property
    def diagonal_mm(self) -> float:
        """Of the box round it."""

    @property
    def centre_mm(self) -> Array:
        """(3,) middle of the box."""

    def nearest(self, points: Array) -> Nearest:
        """Closest points with their side."""


class SampledSurface:
    """Samples of a surface: the distance to it is taken as that to the tangent plane of the nearest sample.

    Off by the sagitta of the surface over the spacing of the samples: for choosing among poses, not for measuring.
    """

    def __init__(self, surface: NominalSurface, grid: DistanceGrid, triangle: IntArray) -> None:
        from scipy.spatial import cKDTree

        self._grid, self._coarse = grid, triangle
        self._points, self._normals, self._triangle = surface.sample(_SAMPLES, seed=21)
        self._tree = cKDTree(self._points)
        self._spacing = float(np.sqrt(surface.areas.sum() / _SAMPLES))
        self.diagonal_mm = surface.diagonal_mm
        self.centre_mm = surface.centre_mm

    def nearest(self, points: Array) -> Nearest:
        """Nearly closest points; points out of reach of the grid are said to be twice as far off as that.

        Those some cells off the surface get the sample of their cell: they have no weight, or little, and the tree
        would be slow with them.
        """
        grid = self._grid
        index, reach = grid.look_up(points.T[None])[0], grid.reach_mm
        is_far = index == len(grid.points)
        index[is_far] = 0
        near = grid.points[index]
        coarse = ((points - near) ** 2).sum(axis=1) < (_CELLS_OFF * grid.cell_mm) ** 2
        few = np.flatnonzero(coarse & ~is_far)
        normal, triangle, spacing = grid.normals[index], self._coarse[index], np.full(len(points), np.inf)
        if len(few):
            fine = self._tree.query(points[few], workers=2 if len(few) > _MANY else 1)[1]
            near[few], normal[few] = self._points[fine], self._normals[fine]
            triangle[few], spacing[few] = self._triangle[fine], self._spacing
        away = points - near
        apart = np.sqrt(np.einsum("ni,ni->n", away, away))
        height = np.einsum("ni,ni->n", away, normal)
        is_flat = apart**2 - height**2 <= 9.0 * spacing**2
        is_flat &= np.isfinite(spacing)
        side = np.where(height < 0.0, -1.0, 1.0)
        distance = np.where(is_flat, height, side * np.where(is_far, 2.0 * reach, apart))
        return Nearest(distance, points - height[:, None] * normal, normal, triangle)


def quick_surface(surface: NominalSurface, grid: DistanceGrid, triangle: IntArray) -> ClosestSurface:
    """The surface itself where it is plain, samples of it where it is fine.

    grid of samples of the surface; triangle (s,) of each
    """
    return surface if len(surface.faces) <= FEW_TRIANGLES else SampledSurface(surface, grid, triangle)
