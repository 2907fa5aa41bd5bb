"""Edges of a mesh: where its surface turns, and where it turns away from the viewer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, cross

# A triangle counts as facing the viewer above this cosine: rounding leaves upright walls at 1e-16.
_FACING = 1e-6
_SAME_PLACE = 1e-6  # of the size of the body: vertices that round to the same multiple are one
_CELLS = 1 << 21  # three such numbers go into one integer of 63 bits


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """A mesh and its edges; the edges hold for any points that keep the faces.

    vertices  (n, 3) at each place one only
    faces     (m, 3)
    edges     (k, 2) vertex indices, the lower one first
    first, last  (k,) two of the triangles at each edge, the same one where it has only one
    count     (k,) number of triangles at each edge
    """

    vertices: Array
    faces: IntArray
    edges: IntArray
    first: IntArray
    last: IntArray
    count: IntArray


def group_by_cell(vertices: Array, cell: float) -> tuple[IntArray, IntArray]:
    """Vertices that share a cubic cell: one index for each cell (c,), and the cell of each vertex (n,)."""
    keys = np.round((vertices - vertices.min(axis=0)) / cell).astype(np.int64)
    single = (keys[:, 0] * _CELLS + keys[:, 1]) * _CELLS + keys[:, 2]
    _, first, group = np.unique(single, return_index=True, return_inverse=True)
    return first, group.reshape(-1)


def build_surface(vertices: Array, faces: IntArray) -> Surface:
    """Vertices at the same place made one, since many files repeat them, and the edges between triangles.

    vertices, faces : (n, 3) and (m, 3); a triangle whose corners fall together is left out
    """
    size = float(np.ptp(vertices, axis=0).max()) or 1.0
    kept, group = group_by_cell(vertices, size * _SAME_PLACE)
    joined = group[faces]
    whole = (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
    joined = joined[whole]
    pairs = np.sort(joined[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    owner = np.repeat(np.arange(len(joined)), 3)
    single = pairs[:, 0] * len(kept) + pairs[:, 1]
    order = np.argsort(single, kind="stable")
    starts = np.flatnonzero(np.diff(single[order], prepend=-1))
    count = np.diff(starts, append=len(order))
    return Surface(
        vertices[kept],
        joined,
        pairs[order[starts]],
        owner[order[starts]],
        owner[order[starts + count - 1]],
        count,
    )


def crease_edges(surface: Surface, points: Array, toward: Array, angle_deg: float = 25.0) -> IntArray:
    """(k, 2) vertex indices of the edges that a drawing shows: where a face that is seen ends or turns.

    points : (n, 3) where the vertices of the surface are drawn; toward : (3,) unit, to the viewer
    angle_deg : two triangles that meet under less than this show no edge, so that facets read as a curve
    An edge of one triangle only, or of more than two, is always shown.
    """
    normals, is_area = _unit_normals(surface, points)
    is_seen = is_area & (normals @ toward > _FACING)
    cosine = np.einsum("ij,ij->i", normals[surface.first], normals[surface.last])
    turns = (surface.count != 2) | (cosine < np.cos(np.radians(angle_deg)))
    seen = is_seen[surface.first] | is_seen[surface.last]
    return np.asarray(surface.edges[turns & seen], dtype=np.int64)


def contour_edges(surface: Surface, points: Array, toward: Array) -> IntArray:
    """(k, 2) vertex indices of the edges where the surface ends or turns away from the viewer."""
    normals, _ = _unit_normals(surface, points)
    facing = np.sign(np.where(np.abs(normals @ toward) > _FACING, normals @ toward, 0.0))
    turns = (surface.count != 2) | (facing[surface.first] != facing[surface.last])
    return np.asarray(surface.edges[turns], dtype=np.int64)


def _unit_normals(surface: Surface, points: Array) -> tuple[Array, BoolArray]:
    corner = points[surface.faces]
    normal = cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1)
    is_area = length > 1e-12 * float(np.ptp(points, axis=0).max()) ** 2
    return normal / np.where(is_area, length, 1.0)[:, None], is_area


def coarsen(vertices: Array, faces: IntArray, most: int, cell: float) -> tuple[Array, IntArray]:
    """A mesh of at most `most` triangles, for drawing only: vertices that share a cell become one.

    vertices : (n, 3); faces : (m, 3); cell : first edge of the cells, doubled until the count suffices
    Creases are no longer to be relied on; the silhouette departs by no more than a cell.
    """
    while True:
        kept, group = group_by_cell(vertices, cell)
        joined = group[faces]
        whole = (
            (joined[:, 0] != joined[:, 1]) & (joined[:, 1] != joined[:, 2]) & (joined[:, 2] != joined[:, 0])
        )
        if int(whole.sum()) <= most:
            return vertices[kept], joined[whole]
        cell *= 2.0
