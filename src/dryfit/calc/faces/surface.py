"""The triangles of a mesh with their normals and neighbours, vertices joined where they coincide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross
from dryfit.model.mesh import TriangleMesh

# Coordinates of binary STL are single precision: one unit in the last place, relative to the coordinate.
SINGLE_PRECISION = 2.0**-23
# A sliver's normal is only as good as its height allows; beyond this it is no longer believed at all.
MAX_SLACK_RAD = np.radians(5.0)


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """The triangles of a mesh that have an area beyond the rounding of their corners.

    vertices   (n, 3) [mm]      coinciding ones made one: STL repeats each vertex per triangle
    corners    (m, 3)           indices into vertices
    rows       (m,)             index of each triangle in the mesh
    row_count                   triangles of the mesh, those without area counted
    normals    (m, 3) [-]       areas (m,) [mm2]       centroids (m, 3) [mm]
    slacks     (m,) [rad]       how far rounding of the vertices may have turned each normal
    neighbours (k, 2)           pairs of triangles that share an edge
    edges      (k, 2)           the two vertices of the shared edge
    bends      (k,) [rad]       angle between the normals of each pair, not below 0
    noise_mm                    rounding of one coordinate, as single precision leaves it
    """

    vertices: Array
    corners: IntArray
    rows: IntArray
    row_count: int
    normals: Array
    areas: Array
    centroids: Array
    slacks: Array
    neighbours: IntArray
    edges: IntArray
    bends: Array
    noise_mm: float


def dots(one: Array, two: Array) -> Array:
    """(n,) scalar product of each row of one with that of two."""
    result: Array = np.einsum("ij,ij->i", one, two)
    return result


def lengths(rows: Array) -> Array:
    """(n,) length of each row."""
    result: Array = np.sqrt(dots(rows, rows))
    return result


def angles_between(one: Array, two: Array) -> Array:
    """(n,) [rad] angle between unit rows; exact for small angles, where the scalar product is not."""
    result: Array = 2 * np.arcsin(np.minimum(lengths(one - two) / 2, 1.0))
    return result


def prepare_surface(mesh: TriangleMesh) -> Surface:
    """Normals, areas and neighbours of a mesh."""
    a, b, c = (mesh.vertices[mesh.faces[:, i]] for i in range(3))
    noise = SINGLE_PRECISION * float(np.abs(mesh.vertices).max(initial=0.0))
    normals = cross(b - a, c - a)
    double_areas = lengths(normals)
    longest = np.maximum(np.maximum(lengths(b - a), lengths(c - b)), lengths(a - c))
    heights = double_areas / np.maximum(longest, 1e-300)
    rows = np.flatnonzero(heights > 2 * noise)
    vertices, corners = _join(mesh.vertices, mesh.faces[rows], noise)
    neighbours, edges = _neighbours(corners, len(vertices))
    normals = normals[rows] / double_areas[rows, None]
    return Surface(
        vertices=vertices,
        corners=corners,
        rows=rows,
        row_count=len(mesh.faces),
        normals=normals,
        areas=double_areas[rows] / 2,
        centroids=(a + b + c)[rows] / 3,
        slacks=np.minimum(4 * noise / heights[rows], MAX_SLACK_RAD),
        neighbours=neighbours,
        edges=edges,
        bends=angles_between(normals[neighbours[:, 0]], normals[neighbours[:, 1]]),
        noise_mm=noise,
    )


def _join(vertices: Array, faces: IntArray, noise_mm: float) -> tuple[Array, IntArray]:
    """Vertices in the same cell of a grid finer than their rounding are one; unused ones are dropped.

    Equal vertices that were moved into the assembly may differ in their last bits, hence a grid. Its step is
    a power of two, so that round coordinates lie in the middle of cells and not between them.
    """
    used = np.zeros(len(vertices), dtype=np.bool_)
    used[faces] = True
    points = vertices[used]
    place = np.cumsum(used) - 1
    step = 2.0 ** np.floor(np.log2(max(noise_mm, 1e-12) / 16))
    cells = np.rint(points / step).astype(np.int64)
    # Multiplying by odd constants (wrapping) mixes the bits; equal cells get equal keys.
    bits = cells.view(np.uint64)
    keys = (bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)) ^ (bits[:, 1] * np.uint64(0xC2B2AE3D27D4EB4F))
    keys = (keys ^ (keys >> np.uint64(29))) * np.uint64(0x165667B19E3779F9) + bits[:, 2]
    keys *= np.uint64(0x9E3779B97F4A7C15)
    bits = max(len(points).bit_length(), 1)
    keys >>= np.uint64(bits + 1)  # room for order_of to pack the place in
    first, inverse = _distinct(keys.astype(np.int64))
    strayed = np.flatnonzero((cells[first][inverse] != cells).any(axis=1))
    if len(strayed):  # two cells share a key: those of the second are told apart on their own
        _, head, again = np.unique(cells[strayed], axis=0, return_index=True, return_inverse=True)
        inverse[strayed] = len(first) + again.reshape(-1)
        first = np.concatenate([first, strayed[head]])
    return points[first], inverse[place[faces]]


def order_of(keys: IntArray) -> IntArray:
    """Order that sorts keys not below 0, equal ones in their given order.

    Packing the place into the low bits lets the values themselves be sorted, which takes a fifth of the time
    of sorting places by value.
    """
    bits = len(keys).bit_length()
    if int(keys.max(initial=0)).bit_length() + bits > 63:
        return np.argsort(keys, kind="stable")
    packed = (keys << bits) | np.arange(len(keys))
    packed.sort()
    order: IntArray = packed & ((1 << bits) - 1)
    return order


def _distinct(keys: IntArray) -> tuple[IntArray, IntArray]:
    """Place of one of each distinct key, and for each key which of those it equals."""
    order = order_of(keys)
    ordered = keys[order]
    is_new = np.ones(len(keys), dtype=np.bool_)
    is_new[1:] = ordered[1:] != ordered[:-1]
    inverse = np.empty(len(keys), dtype=np.int64)
    inverse[order] = np.cumsum(is_new) - 1
    return order[is_new], inverse


def _neighbours(corners: IntArray, vertex_count: int) -> tuple[IntArray, IntArray]:
    """Pairs (k, 2) of triangles that share an edge, and its vertices; more than two on an edge are chained."""
    starts, ends = corners.reshape(-1), np.roll(corners, -1, axis=1).reshape(-1)
    keys = np.minimum(starts, ends) * vertex_count + np.maximum(starts, ends)
    order = order_of(keys)
    same = keys[order][1:] == keys[order][:-1]
    first, second = order[:-1][same], order[1:][same]
    pairs = np.column_stack([first // 3, second // 3])
    distinct = pairs[:, 0] != pairs[:, 1]
    edges = np.column_stack([starts[first], ends[first]])
    return pairs[distinct], edges[distinct]


def connected_labels(count: int, links: IntArray) -> IntArray:
    """(count,) component of each node, counted from 0; links (k, 2) join nodes."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    ones = np.ones(len(links), dtype=np.int8)
    graph = coo_matrix((ones, (links[:, 0], links[:, 1])), shape=(count, count))
    labels: IntArray = connected_components(graph, directed=False)[1].astype(np.int64)
    return labels
