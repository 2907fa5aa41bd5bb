"""A mesh made ready for many comparisons with others: boxes of its triangles, its solid, its tree."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray, bounds_of, corners_of, cross
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, eq=False)
class Surface:
    """A mesh with what its comparisons share. What costs time is made when it is first asked for.

    mesh    in the frame common to all surfaces that are compared [mm]
    lows    (m, 3) [mm] least coordinates of each triangle
    highs   (m, 3) [mm] greatest coordinates of each triangle
    """

    mesh: TriangleMesh
    lows: Array
    highs: Array

    @property
    def vertices(self) -> Array:
        """(n, 3) [mm]"""
        return self.mesh.vertices

    @property
    def faces(self) -> IntArray:
        """(m, 3) indices into vertices."""
        return self.mesh.faces

    @cached_property
    def bounds(self) -> Array:
        """(2, 3) [mm] least and greatest coordinates of the triangles."""
        return np.stack([bounds_of(self.lows)[0], bounds_of(self.highs)[1]])

    @cached_property
    def fault(self) -> str | None:
        """Why the mesh bounds no solid, as a phrase to follow its name; None where it bounds one."""
        _, faces, unpaired = self._welded
        if len(faces) == 0:
            return "has no triangles with area"
        if unpaired:
            return f"is open or not consistently oriented ({unpaired} edges without a partner)"
        if self.volume_mm3 < 0:
            return "is inside out"
        # manifold3d reports a bad mesh by its status and gives an empty solid without an exception.
        status = self._manifold.status().name if self._has_manifold else "NoError"
        return None if status == "NoError" else f"bounds no solid ({status})"

    @cached_property
    def volume_mm3(self) -> float:
        """Signed volume, as tetrahedra from the middle of the box."""
        a, b, c = corners_of(self.vertices - self.bounds.mean(axis=0), self.faces)
        return float(np.einsum("ij,ij->", a, cross(b, c))) / 6.0

    @property
    def _has_manifold(self) -> bool:
        return "_manifold" in self.__dict__

    @cached_property
    def _welded(self) -> tuple[Array, IntArray, int]:
        """Vertices, faces and count of unpaired edges, vertices of exactly equal coordinates taken as one.

        No point of the surface moves.
        """
        vertices, faces = self.vertices, self.faces
        sound = faces[_names_three(faces)]
        if count_unpaired_edges(sound, len(vertices)) == 0:
            return vertices, sound, 0
        distinct, inverse = np.unique(vertices, axis=0, return_inverse=True)
        faces = inverse.reshape(-1)[faces]
        faces = faces[_names_three(faces)]
        return distinct, faces, count_unpaired_edges(faces, len(distinct))

    @cached_property
    def _manifold(self) -> Any:
        import manifold3d

        vertices, faces, _ = self._welded
        return manifold3d.Manifold(manifold3d.Mesh64(vertices.copy(), faces.astype(np.uint64)))

    def solid(self) -> tuple[Any, str | None]:
        """The solid as manifold3d has it, and why it is none: one of the two is None."""
        if self.fault is not None:
            return None, self.fault
        manifold = self._manifold
        status = manifold.status().name
        if status != "NoError":
            return None, f"bounds no solid ({status})"
        if manifold.is_empty():
            return None, "bounds no solid (nothing is left of it)"
        return manifold, None

    @cached_property
    def tree(self) -> Any:
        """Search tree over all triangles."""
        return tree_over(self.vertices, self.faces)


def prepare_surface(mesh: TriangleMesh | Surface) -> Surface:
    """The mesh with the boxes of its triangles; a surface is returned as it is.

    Raises ValueError for a mesh without faces.
    """
    if isinstance(mesh, Surface):
        return mesh
    if len(mesh.faces) == 0:
        raise ValueError("a mesh without faces overlaps nothing")
    a, b, c = corners_of(mesh.vertices, mesh.faces)
    return Surface(mesh, np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c))


def tree_over(vertices: Array, faces: IntArray) -> Any:
    """An igl.AABB tree over some triangles."""
    import igl

    tree = igl.AABB()
    tree.init(vertices, np.ascontiguousarray(faces))
    return tree


def distances_to(tree: Any, vertices: Array, faces: IntArray, points: Array) -> tuple[Array, Array]:
    """Distances (k,) [mm] of points from the triangles of a tree, and the nearest points (k, 3)."""
    squared, _, nearest = tree.squared_distance(
        vertices, np.ascontiguousarray(faces), np.ascontiguousarray(points)
    )
    return np.sqrt(np.maximum(np.atleast_1d(squared), 0.0)), np.asarray(nearest).reshape(-1, 3)


def used_vertices(surface: Surface, faces: IntArray) -> IntArray:
    """Vertices that some triangles use, ascending."""
    is_used = np.zeros(len(surface.vertices), dtype=bool)
    is_used[faces.ravel()] = True
    return np.flatnonzero(is_used).astype(np.int64)


def count_unpaired_edges(faces: IntArray, vertex_count: int) -> int:
    """Edges that are not run through as often one way as the other; no face names a vertex twice."""
    tails = faces.ravel()
    heads = faces[:, [1, 2, 0]].ravel()
    keys = np.minimum(tails, heads) * np.int64(vertex_count) + np.maximum(tails, heads)
    is_rising = tails < heads
    if np.array_equal(np.sort(keys[is_rising]), np.sort(keys[~is_rising])):
        return 0
    edges, inverse = np.unique(keys, return_inverse=True)
    balance = np.bincount(inverse, weights=np.where(tails < heads, 1.0, -1.0), minlength=len(edges))
    return int(np.count_nonzero(balance))


def _names_three(faces: IntArray) -> Any:
    a, b, c = faces.T
    return (a != b) & (b != c) & (c != a)
