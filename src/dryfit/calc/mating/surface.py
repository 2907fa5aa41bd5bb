"""The triangles of a part that can take part in a mating, with their neighbours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.model.mesh import TriangleMesh

# Coordinates of binary STL are single precision: one unit in the last place, relative to the coordinate.
SINGLE_PRECISION = 2.0**-23
# A sliver's normal is only as good as its height allows; beyond this it is no longer believed at all.
MAX_SLACK_RAD = np.radians(5.0)


def lengths(rows: Array) -> Array:
    """(n,) length of each row."""
    result: Array = np.sqrt(np.einsum("ij,ij->i", rows, rows))
    return result


def dots(one: Array, two: Array) -> Array:
    """(n,) scalar product of each row of one with that of two."""
    result: Array = np.einsum("ij,ij->i", one, two)
    return result


def crosses(one: Array, two: Array) -> Array:
    """(n, 3) vector product of each row; several times quicker than numpy's general one."""
    result = np.empty_like(one)
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        result[:, k] = one[:, i] * two[:, j] - one[:, j] * two[:, i]
    return result


def boxes_meet(lower: Array, upper: Array, box: Array) -> BoolArray:
    """(n,) whether boxes lower..upper (n, 3) meet box (2, 3)."""
    meets: BoolArray = (lower[:, 0] <= box[1, 0]) & (upper[:, 0] >= box[0, 0])
    for k in (1, 2):
        meets &= (lower[:, k] <= box[1, k]) & (upper[:, k] >= box[0, k])
    return meets


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """Triangles without the degenerate ones, vertices welded where they are exactly equal.

    vertices   (n, 3) [mm]      faces    (m, 3) indices
    normals    (m, 3) [-]       areas    (m,) [mm2]     centroids (m, 3) [mm]
    slacks     (m,) [rad]       how far rounding of the vertices may have turned each normal
    lower, upper  (m, 3) [mm]   bounding box of each triangle
    neighbours (k, 2)           pairs of triangles that share an edge
    noise_mm   rounding of one coordinate, as single precision leaves it
    """

    vertices: Array
    faces: IntArray
    normals: Array
    areas: Array
    centroids: Array
    slacks: Array
    lower: Array
    upper: Array
    neighbours: IntArray
    noise_mm: float

    def inside(self, triangles: IntArray, box: Array) -> IntArray:
        """Those of the triangles whose bounding boxes meet box (2, 3)."""
        kept: IntArray = triangles[boxes_meet(self.lower[triangles], self.upper[triangles], box)]
        return kept


def surface_in_boxes(mesh: TriangleMesh, boxes: Array) -> Surface:
    """The triangles of mesh whose bounding boxes meet any of boxes (k, 2, 3) [mm]."""
    corners = [mesh.vertices[mesh.faces[:, i]] for i in range(3)]
    lower = np.minimum(np.minimum(corners[0], corners[1]), corners[2])
    upper = np.maximum(np.maximum(corners[0], corners[1]), corners[2])
    keep = np.zeros(len(mesh.faces), dtype=np.bool_)
    for box in boxes:
        keep |= boxes_meet(lower, upper, box)
    kept = np.flatnonzero(keep)
    corners = [corner[kept] for corner in corners]
    noise = SINGLE_PRECISION * float(np.abs(mesh.vertices).max(initial=0.0))
    cross = crosses(corners[1] - corners[0], corners[2] - corners[0])
    double_areas = lengths(cross)
    heights = double_areas / np.maximum(_longest_edges(corners), 1e-300)
    sound = heights > 2 * noise
    rows = kept[sound]
    vertices, faces = _weld(mesh.vertices, mesh.faces[rows])
    return Surface(
        vertices=vertices,
        faces=faces,
        normals=cross[sound] / double_areas[sound, None],
        areas=double_areas[sound] / 2,
        centroids=(corners[0] + corners[1] + corners[2])[sound] / 3,
        slacks=np.minimum(4 * noise / heights[sound], MAX_SLACK_RAD),
        lower=lower[rows],
        upper=upper[rows],
        neighbours=_neighbours(faces, len(vertices)),
        noise_mm=noise,
    )


def surface_centroid(mesh: TriangleMesh) -> Array:
    """(3,) [mm] area-weighted centroid of the surface; unlike a box's centre it turns with the part."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    areas = lengths(crosses(b - a, c - a))
    centroid: Array = areas @ (a + b + c) / (3 * areas.sum())
    return centroid


def _longest_edges(corners: list[Array]) -> Array:
    a, b, c = corners
    longest: Array = np.maximum(np.maximum(lengths(b - a), lengths(c - b)), lengths(a - c))
    return longest


def _weld(vertices: Array, faces: IntArray) -> tuple[Array, IntArray]:
    """Unused vertices dropped, exactly equal ones made one: STL repeats each vertex per triangle."""
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[faces] = True
    points = vertices[used] + 0.0  # makes -0.0 and 0.0 equal in bits
    place = np.cumsum(used) - 1
    bits = points.view(np.uint64)
    # Multiplying by odd constants (wrapping) mixes the bits; equal points get equal keys.
    keys = (bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)) ^ (bits[:, 1] * np.uint64(0xC2B2AE3D27D4EB4F))
    keys = (keys ^ (keys >> np.uint64(29))) * np.uint64(0x165667B19E3779F9) + bits[:, 2]
    keys *= np.uint64(0x9E3779B97F4A7C15)
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    if not (points[first][inverse] == points).all():  # two points share a key: sort by rows instead
        _, first, inverse = np.unique(points, axis=0, return_index=True, return_inverse=True)
    return points[first], inverse.reshape(-1)[place[faces]].astype(np.int64)


def _neighbours(faces: IntArray, vertex_count: int) -> IntArray:
    """(k, 2) pairs of triangles that share an edge; more than two on an edge are chained."""
    starts, ends = faces.reshape(-1), np.roll(faces, -1, axis=1).reshape(-1)
    keys = np.minimum(starts, ends) * vertex_count + np.maximum(starts, ends)
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    return np.column_stack([order[:-1][same] // 3, order[1:][same] // 3])
