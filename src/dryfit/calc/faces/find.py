"""Finding a face on a mesh: at a point, or toward a direction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.faces.distance import distances_to_triangles
from dryfit.calc.faces.segment import Faces
from dryfit.model.mesh import TriangleMesh

# Triangles hardly farther than the nearest may be meant as well: at an edge the normal decides. Common
# practice, no source.
AT_AN_EDGE_MM = 0.02
# A planar face looks toward a direction where its normal lies within this of it. Common practice, no source:
# a face of draft leans by 5 degrees at most.
TOWARD_DEG = 5.0
# A face toward a direction has at least this share of the largest that looks that way: a logo or a stray
# facet on top of a part is not its top.
TOWARD_SHARE = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class FaceFound:
    """face: its number among the faces; triangle: of the mesh; distance_mm: from the point to it.

    normal  (3,) unit, outward normal of that triangle
    """

    face: int
    triangle: int
    distance_mm: float
    normal: Array


@dataclass(frozen=True, slots=True)
class FaceLost:
    """reason: why there is no face, as a plain clause."""

    reason: str


def face_at(
    mesh: TriangleMesh,
    faces: Faces,
    point: Array,
    normal: Array | None,
    reach_mm: float,
    lean_deg: float = 180.0,
) -> FaceFound | FaceLost:
    """The face nearest to a point.

    point : (3,) [mm]    normal : (3,) unit, decides among triangles that lie equally near; or None
    reach_mm : farthest distance at which a face still counts as being at the point
    lean_deg : triangles whose normal leans farther from the stated one are passed over
    """
    surface = faces.surface
    corners = mesh.vertices[mesh.faces[surface.rows]]
    near = np.flatnonzero(
        ((corners.min(axis=1) <= point + reach_mm) & (corners.max(axis=1) >= point - reach_mm)).all(axis=1)
    )
    if normal is not None:
        near = near[surface.normals[near] @ normal >= np.cos(np.radians(lean_deg)) - 1e-12]
    distances = distances_to_triangles(point, corners[near])
    if not len(near) or distances.min() > reach_mm:
        facing = "" if normal is None or lean_deg >= 180.0 else " that looks the way it did"
        return FaceLost(f"no face{facing} lies within {reach_mm:.3g} mm of the point")
    likely = distances <= distances.min() + AT_AN_EDGE_MM
    if normal is not None:
        agreement = surface.normals[near] @ normal
        likely &= agreement >= agreement[likely].max() - 1e-6
    best = int(np.flatnonzero(likely)[np.argmin(distances[likely])])
    return _found(faces, int(near[best]), float(distances[best]))


def face_of_triangle(faces: Faces, triangle: int) -> FaceFound | FaceLost:
    """The face that a triangle of the mesh belongs to."""
    row = int(np.searchsorted(faces.surface.rows, triangle))
    if row == len(faces.surface.rows) or faces.surface.rows[row] != triangle:
        return FaceLost("that triangle has no area")
    return _found(faces, row, 0.0)


def face_toward(faces: Faces, direction: Array, within: Array | None = None) -> FaceFound | FaceLost:
    """The outermost planar face that looks toward a direction.

    direction : (3,) unit
    within : (2, 3) [mm] box that the centroid of the face must lie in; None for the whole part
    """
    groups = faces.groups
    fits = faces.is_plane & (groups.normals @ direction >= np.cos(np.radians(TOWARD_DEG)))
    if within is not None:
        fits &= ((groups.centroids >= within[0]) & (groups.centroids <= within[1])).all(axis=1)
    if not fits.any():
        return FaceLost("no planar face looks that way")
    fits &= groups.areas >= TOWARD_SHARE * groups.areas[fits].max()
    candidates = np.flatnonzero(fits)
    face = int(candidates[np.argmax(groups.centroids[candidates] @ direction)])
    rows = groups.triangles(face)
    middle = rows[np.argmin(np.linalg.norm(faces.surface.centroids[rows] - groups.centroids[face], axis=1))]
    return _found(faces, int(middle), 0.0)


def _found(faces: Faces, row: int, distance_mm: float) -> FaceFound:
    surface = faces.surface
    triangle = int(surface.rows[row])
    return FaceFound(int(faces.labels[triangle]), triangle, distance_mm, surface.normals[row])


def vertices_of(faces: Faces, triangles: IntArray) -> tuple[Array, Array]:
    """The distinct corners (n, 3) [mm] of triangles of the mesh, and a unit normal (n, 3) at each.

    The normal is the area-weighted mean over those triangles only, so that a neighbouring face does not
    turn it. Triangles without area are passed over.
    """
    surface = faces.surface
    rows = np.searchsorted(surface.rows, np.sort(triangles))
    rows = np.unique(np.minimum(rows, len(surface.rows) - 1))
    rows = rows[np.isin(surface.rows[rows], triangles)]
    used, place = np.unique(surface.corners[rows], return_inverse=True)
    sums = np.zeros((len(used), 3))
    weighted = surface.areas[rows, None] * surface.normals[rows]
    for corner in place.reshape(-1, 3).T:
        for axis in range(3):
            sums[:, axis] += np.bincount(corner, weighted[:, axis], len(used))
    sizes = np.linalg.norm(sums, axis=1)
    return surface.vertices[used], sums / np.maximum(sizes, 1e-300)[:, None]
