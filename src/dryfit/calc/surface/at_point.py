"""The faces at a stated point of a mesh, and which way its surface moves when outlines grow."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.model.mesh import TriangleMesh

_SAME_FACE = 0.9998  # cosine of about one degree: triangles of one flat face


def triangles_near(mesh: TriangleMesh, point: Array, reach_mm: float) -> IntArray:
    """Indices of the triangles within reach_mm of a point (3,); degenerate ones are left out."""
    corners = mesh.vertices[mesh.faces]
    low, high = corners.min(axis=1) - reach_mm, corners.max(axis=1) + reach_mm
    near = np.nonzero(((point >= low) & (point <= high)).all(axis=1))[0]
    distance = _point_to_triangles(point, corners[near])
    return near[distance <= reach_mm]


def outward_at(mesh: TriangleMesh, point: Array, reach_mm: float = 0.01) -> Array:
    """Outward direction (3,) that moves every face at a point by one along its own normal.

    On a flat face this is its normal; on an edge or corner the mitre of the faces that meet there. Zero
    where no face lies within reach, or where the faces at the point oppose one another.
    """
    near = triangles_near(mesh, point, reach_mm)
    corners = mesh.vertices[mesh.faces[near]]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1)
    unit = normals[length > 0] / length[length > 0, None]
    distinct: list[Array] = []
    for normal in unit:
        if not any(normal @ other > _SAME_FACE for other in distinct):
            distinct.append(normal)
    if not distinct:
        return np.zeros(3)
    stacked = np.array(distinct)
    mitre = np.linalg.lstsq(stacked, np.ones(len(stacked)), rcond=1e-6)[0]
    agrees = np.abs(stacked @ mitre - 1.0).max() < 0.05
    return np.asarray(mitre) if agrees else np.zeros(3)


def _point_to_triangles(point: Array, corners: Array) -> Array:
    """Distance (m,) from a point to each triangle (m, 3, 3); infinite for degenerate triangles.

    Source: closest point on a triangle by its regions, Ericson 2005, Real-Time Collision Detection, 5.1.5
    (memory; checked against a general-purpose mesh library in the tests).
    """
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    normal = np.cross(b - a, c - a)
    area = np.linalg.norm(normal, axis=1)
    flat = np.maximum(area, 1e-300)[:, None]
    height = np.abs(np.einsum("ij,ij->i", point - a, normal / flat))
    inside = np.ones(len(corners), dtype=bool)
    to_edges = np.full(len(corners), np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        edge = end - start
        inside &= np.einsum("ij,ij->i", np.cross(edge, point - start), normal) >= 0
        square = np.maximum((edge**2).sum(axis=1), 1e-300)
        share = np.clip(((point - start) * edge).sum(axis=1) / square, 0.0, 1.0)
        to_edges = np.minimum(to_edges, np.linalg.norm(start + share[:, None] * edge - point, axis=1))
    distance = np.where(inside, height, to_edges)
    return np.where(area > 0, distance, np.inf)
