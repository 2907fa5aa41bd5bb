"""How far a ray that enters a body at a point of its surface runs before it leaves it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.thickness.solid import Solid

# The scene is in single precision over half the diagonal of the box: a ray starts this share of it under
# the surface, lest it meet the triangle that it starts on. Walls thinner than this are not seen by rays.
START_SHARE = 1e-6
_MOST_HITS = 64  # surfaces that one ray may pass
_GRAZING = 0.02  # cosine below which the distance to the plane of a triangle is rounding
_MOST_AGAIN = 2000  # rays that are followed again in double precision, in a slower way


@dataclass(frozen=True, slots=True, eq=False)
class RayLengths:
    """Of n rays.

    length_mm  (n,) way inside the body; nan where the ray never left it: the surface is not sound there
    triangles  (n,) through which it left; -1 where it did not
    enters     (n,) whether it entered another body, or the same one again, on its way
    """

    length_mm: Array
    triangles: IntArray
    enters: BoolArray


def ray_lengths(solid: Solid, points: Array, normals: Array) -> RayLengths:
    """Rays opposite the outward normals, from points on the surface.

    points : (n, 3) [mm] relative to the middle of the solid; normals : (n, 3) unit
    Where bodies of one mesh overlap, a ray counts the surfaces that it enters and leaves, and ends where it
    has left them all. The triangle is found in single precision and the distance to its plane computed in
    double precision, so that the length is exact to rounding.
    """
    length = np.full(len(points), np.nan)
    triangles = np.full(len(points), -1, dtype=np.int64)
    run = np.full(len(points), START_SHARE * solid.size_mm)
    depth = np.ones(len(points), dtype=np.int64)
    live = np.arange(len(points))
    enters = np.zeros(len(points), dtype=np.bool_)
    for _ in range(_MOST_HITS):
        if not len(live):
            break
        hit, distance = _first_hits(solid, points[live], -normals[live], run[live])
        live, hit, distance = live[hit >= 0], hit[hit >= 0], distance[hit >= 0]
        leaves = np.einsum("ij,ij->i", solid.normals[hit], -normals[live]) > 0
        depth[live] += np.where(leaves, -1, 1)
        enters[live[~leaves]] = True
        ends = depth[live] == 0
        length[live[ends]], triangles[live[ends]] = distance[ends], hit[ends]
        run[live] = np.maximum(distance, run[live]) + START_SHARE * solid.size_mm
        live = live[~ends]
    lost = np.flatnonzero(np.isnan(length))[:_MOST_AGAIN]
    length[lost], triangles[lost] = _follow_exactly(solid, points[lost], -normals[lost])
    return RayLengths(length, triangles, enters)


def _first_hits(solid: Solid, points: Array, ways: Array, run: Array) -> tuple[IntArray, Array]:
    """Triangle met first beyond run (n,) [mm], -1 for none, and its distance from the point (n,) [mm]."""
    origins = ((points + run[:, None] * ways) / solid.size_mm).astype(np.float32)
    found = solid.rays.run(origins, ways.astype(np.float32), output=1)
    hit = found["primID"].astype(np.int64)
    met = np.maximum(hit, 0)
    cosine = np.einsum("ij,ij->i", solid.normals[met], ways)
    corner = solid.mesh.vertices[solid.mesh.faces[met, 0]]
    height = np.einsum("ij,ij->i", solid.normals[met], corner - points)
    is_steep = np.abs(cosine) > _GRAZING
    exact = height / np.where(is_steep, cosine, 1.0)
    rough = run + np.where(hit >= 0, found["tfar"], 0.0).astype(np.float64) * solid.size_mm
    return hit, np.where(is_steep, exact, rough)


def _follow_exactly(solid: Solid, points: Array, ways: Array) -> tuple[Array, IntArray]:
    """The same for the few rays that slipped between triangles, in double precision: lengths, triangles."""
    length, triangles = np.full(len(points), np.nan), np.full(len(points), -1, dtype=np.int64)
    if not len(points):
        return length, triangles
    from igl import AABB

    tree = AABB()
    tree.init(solid.mesh.vertices, solid.mesh.faces)
    met = tree.intersect_ray(solid.mesh.vertices, solid.mesh.faces, points, ways)
    for ray, hits in enumerate(met):
        depth = 1
        for triangle, distance, _, _ in sorted(hits, key=lambda hit: hit[1]):
            if distance <= 1e-9 * solid.size_mm:
                continue
            depth += -1 if float(solid.normals[triangle] @ ways[ray]) > 0 else 1
            if depth == 0:
                length[ray], triangles[ray] = distance, triangle
                break
    return length, triangles
