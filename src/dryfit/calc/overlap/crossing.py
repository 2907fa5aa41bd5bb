"""Whether two surfaces run through each other, for meshes that bound no solid."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross
from dryfit.calc.overlap.boxes import common_box, meeting_boxes, triangles_touching
from dryfit.calc.overlap.surface import Surface

_MOST_POINTS = 200
_CHUNK = 20_000  # edges at a time: pairs stay in memory


def crossing_points(a: Surface, b: Surface, depth_mm: float) -> Array:
    """Points (k, 3) [mm], k at most 200, where edges of one surface pierce triangles of the other.

    An edge pierces where its ends lie on both sides of the triangle's plane by more than depth_mm or a
    tenth of its length, whichever is less, and its point in the plane lies in the triangle.
    """
    common = common_box(a.bounds, b.bounds)
    if (common[1] < common[0]).any():
        return np.zeros((0, 3))
    near_a, near_b = triangles_touching(a, common), triangles_touching(b, common)
    found = [_piercings(a, near_a, b, near_b, depth_mm), _piercings(b, near_b, a, near_a, depth_mm)]
    return np.vstack(found)[:_MOST_POINTS]


def edges_of(faces: IntArray) -> IntArray:
    """Distinct edges (k, 2) of triangles, the smaller vertex first."""
    tails, heads = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    pairs = np.stack([np.minimum(tails, heads), np.maximum(tails, heads)], axis=1)
    size = np.int64(pairs.max() + 1) if len(pairs) else np.int64(1)
    keys = np.sort(pairs[:, 0] * size + pairs[:, 1])
    keys = keys[np.append(True, keys[1:] != keys[:-1])] if len(keys) else keys
    return np.stack([keys // size, keys % size], axis=1)


def edge_boxes(vertices: Array, edges: IntArray) -> Array:
    """(k, 2, 3) [mm] boxes of edges."""
    p, q = vertices[edges[:, 0]], vertices[edges[:, 1]]
    return np.stack([np.minimum(p, q), np.maximum(p, q)], axis=1)


def _piercings(a: Surface, near_a: IntArray, b: Surface, near_b: IntArray, depth_mm: float) -> Array:
    edges = edges_of(a.faces[near_a])
    triangles = b.vertices[b.faces[near_b]]
    boxes = np.stack([b.lows[near_b], b.highs[near_b]], axis=1)
    found, count = [np.zeros((0, 3))], 0
    for start in range(0, len(edges), _CHUNK):
        some = edges[start : start + _CHUNK]
        i, j = meeting_boxes(edge_boxes(a.vertices, some), boxes, 0.0)
        points = _pierce(a.vertices[some[i, 0]], a.vertices[some[i, 1]], triangles[j], depth_mm)
        found.append(points)
        count += len(points)
        if count >= _MOST_POINTS:
            break
    return np.vstack(found)


def _pierce(p: Array, q: Array, triangles: Array, depth_mm: float) -> Array:
    """Points where segments p to q (k, 3) pass through triangles (k, 3, 3)."""
    corner = triangles[:, 0]
    u, v = triangles[:, 1] - corner, triangles[:, 2] - corner
    normal = cross(u, v)
    length = np.sqrt((normal**2).sum(axis=1))
    unit = normal / np.where(length > 0, length, 1.0)[:, None]
    above_p = np.einsum("ij,ij->i", unit, p - corner)
    above_q = np.einsum("ij,ij->i", unit, q - corner)
    least = np.minimum(depth_mm, 0.1 * np.sqrt(((q - p) ** 2).sum(axis=1)))
    passes = (length > 0) & (above_p * above_q < 0)
    passes &= (np.abs(above_p) > least) & (np.abs(above_q) > least)
    p, q, u, v, corner, normal = (x[passes] for x in (p, q, u, v, corner, normal))
    above_p, above_q = above_p[passes], above_q[passes]
    hit = p + (q - p) * (above_p / (above_p - above_q))[:, None]
    square = (normal**2).sum(axis=1)
    # Barycentric coordinates by ratios of areas.
    s = np.einsum("ij,ij->i", cross(hit - corner, v), normal) / square
    t = np.einsum("ij,ij->i", cross(u, hit - corner), normal) / square
    inside: Array = hit[(s >= 0) & (t >= 0) & (s + t <= 1)]
    return inside
