"""What of a shape does not depend on where it lies: area, volume, spread about its centre."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray, bounds_of, corners_of, cross
from dryfit.calc.likeness.facets import chord_errors
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True, eq=False)
class Signature:
    """Figures of a mesh that turning, moving and mirroring do not change, and the frame they belong to.

    volume_mm3   signed; of an open mesh a figure without meaning
    area_mm2
    centre_mm    (3,) [mm] centroid of the surface by area
    spreads_mm   (3,) [mm] standard deviations of the surface along its principal axes, descending
    axes         (3, 3) columns: those axes, right-handed; any where two spreads are equal
    radius_mm    distance of the farthest vertex from the centre
    vertices, triangles  counts
    """

    volume_mm3: float
    area_mm2: float
    centre_mm: Array
    spreads_mm: Array
    axes: Array
    radius_mm: float
    vertices: int
    triangles: int


def signature(mesh: TriangleMesh) -> Signature:
    """Area, volume and second moments of the surface, exact for its triangles.

    The surface is used rather than the volume, so that an open mesh has a signature too. The mean of
    x x^T over a triangle is (s s^T + a a^T + b b^T + c c^T) / 12, s = a + b + c (memory).
    Raises ValueError for a mesh without area.
    """
    middle = 0.5 * bounds_of(mesh.vertices).sum(axis=0)
    a, b, c = corners_of(mesh.vertices - middle, mesh.faces)
    areas = 0.5 * np.sqrt((cross(b - a, c - a) ** 2).sum(axis=1))
    area = float(areas.sum())
    if not area > 0:
        raise ValueError("a mesh without area has no signature")
    s = a + b + c
    centre = (areas @ s) / (3.0 * area)
    second = sum((x * areas[:, None]).T @ x for x in (s, a, b, c)) / (12.0 * area)
    values, axes = np.linalg.eigh(second - np.outer(centre, centre))
    axes = axes[:, ::-1].copy()
    axes[:, 2] *= np.sign(np.linalg.det(axes))
    used = mesh.vertices[mesh.faces.ravel()[: 3 * len(mesh.faces)]] if _has_unused(mesh) else mesh.vertices
    return Signature(
        volume_mm3=float(np.einsum("ij,ij->", a, cross(b, c))) / 6.0,
        area_mm2=area,
        centre_mm=middle + centre,
        spreads_mm=np.sqrt(np.maximum(values[::-1], 0.0)),
        axes=axes,
        radius_mm=float(np.sqrt(((used - middle - centre) ** 2).sum(axis=1).max())),
        vertices=len(mesh.vertices),
        triangles=len(mesh.faces),
    )


def _has_unused(mesh: TriangleMesh) -> bool:
    is_used = np.zeros(len(mesh.vertices), dtype=bool)
    is_used[mesh.faces.ravel()] = True
    return not bool(is_used.all())


@dataclass(frozen=True, eq=False)
class Shape:
    """A mesh with its signature and the search trees that comparisons share."""

    mesh: TriangleMesh
    signature: Signature

    @cached_property
    def tree(self) -> Any:
        """igl.AABB over the triangles."""
        import igl

        tree = igl.AABB()
        tree.init(self.mesh.vertices, self.mesh.faces)
        return tree

    @cached_property
    def corners(self) -> Any:
        """Search tree over the vertices."""
        from scipy.spatial import cKDTree

        return cKDTree(self.mesh.vertices, balanced_tree=False)

    @cached_property
    def normals(self) -> Array:
        """(m, 3) unit normals; 0 for triangles without area."""
        a, b, c = (self.mesh.vertices[self.mesh.faces[:, k]] for k in range(3))
        normals = cross(b - a, c - a)
        length = np.sqrt((normals**2).sum(axis=1))
        return normals / np.where(length > 0, length, 1.0)[:, None]

    @cached_property
    def image(self) -> Shape:
        """The shape reflected in x = 0, still facing outwards."""
        return mirrored(self)

    @cached_property
    def chord_errors_mm(self) -> tuple[Array, Array]:
        """[mm] of chord_errors by triangle (m,), and the greatest round each vertex (n,)."""
        errors = chord_errors(self)
        at_vertex = np.zeros(len(self.mesh.vertices))
        for k in range(3):
            np.maximum.at(at_vertex, self.mesh.faces[:, k], errors)
        return errors, at_vertex

    @cached_property
    def looked_at(self) -> tuple[Array, IntArray]:
        """All vertices in use and the middles of large triangles, (k, 3), and a triangle of each, (k,).

        The rim of a hole may lie on the other surface although the hole does not: its walls show it.
        """
        faces = self.mesh.faces
        owner = np.full(len(self.mesh.vertices), -1, dtype=np.int64)
        owner[faces.ravel()] = np.repeat(np.arange(len(faces)), 3)
        used = np.flatnonzero(owner >= 0)
        corners = self.mesh.vertices[faces]
        large = np.flatnonzero((corners.max(axis=1) - corners.min(axis=1)).max(axis=1) > 1.0)
        points = np.vstack([self.mesh.vertices[used], corners[large].mean(axis=1)])
        return points, np.concatenate([owner[used], large])

    def nearest(self, points: Array) -> tuple[Array, IntArray, Array]:
        """Distances (k,) [mm] of points from the surface, the triangles and points that are nearest."""
        squared, triangles, nearest = self.tree.squared_distance(
            self.mesh.vertices, self.mesh.faces, np.ascontiguousarray(points)
        )
        distances = np.sqrt(np.maximum(np.atleast_1d(squared), 0.0))
        return distances, np.atleast_1d(triangles).astype(np.int64), np.asarray(nearest).reshape(-1, 3)

    def spread_points(self, count: int) -> Array:
        """(about count, 3) points over the surface: centres of triangles at equal steps of area."""
        a, b, c = (self.mesh.vertices[self.mesh.faces[:, k]] for k in range(3))
        summed = np.cumsum(np.sqrt((cross(b - a, c - a) ** 2).sum(axis=1)))
        steps = (np.arange(count) + 0.5) / count * summed[-1]
        chosen = np.minimum(np.searchsorted(summed, steps), len(summed) - 1)
        # Three points within a triangle take turns, so that a triangle met often is not one point.
        weights = np.array([[0.6, 0.2, 0.2], [0.2, 0.6, 0.2], [0.2, 0.2, 0.6]])[np.arange(count) % 3]
        points: Array = weights[:, :1] * a[chosen] + weights[:, 1:2] * b[chosen] + weights[:, 2:] * c[chosen]
        return points


def shape_of(mesh: TriangleMesh | Shape) -> Shape:
    """The mesh with its signature; a shape is returned as it is."""
    return mesh if isinstance(mesh, Shape) else Shape(mesh, signature(mesh))


def mirrored(shape: Shape) -> Shape:
    """The shape reflected in x = 0, still facing outwards."""
    mesh = TriangleMesh(shape.mesh.vertices * [-1.0, 1.0, 1.0], shape.mesh.faces[:, ::-1])
    s = shape.signature
    axes = s.axes * np.array([[-1.0], [1.0], [1.0]])
    axes[:, 2] *= np.sign(np.linalg.det(axes))
    return Shape(mesh, Signature(s.volume_mm3, s.area_mm2, s.centre_mm * [-1.0, 1.0, 1.0], s.spreads_mm, axes,
                                 s.radius_mm, s.vertices, s.triangles))  # fmt: skip
