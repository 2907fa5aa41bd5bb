"""The nominal surface, prepared for closest points with their side, and even samples of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray, bounds_of, corners_of, cross
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.base.errors import ComputationRefused
from dryfit.calc.scans.order import order_along_curve
from dryfit.model.mesh import TriangleMesh

# Barycentric coordinate below which a closest point lies on an edge or corner: rounding, not shape.
_AT_EDGE = 1e-7
_CHUNK = 1 << 17  # points taken at a time, so that a large scan needs little room
_MANY = 10_000  # points for which it is worth to put them in order first


@dataclass(frozen=True, slots=True, eq=False)
class Nearest:
    """For each point: the closest point of the surface.

    distance_mm (n,) positive outside the material    foot_mm (n, 3) closest point
    normal      (n, 3) outward, of the triangle it lies on    triangle (n,)
    """

    distance_mm: Array
    foot_mm: Array
    normal: Array
    triangle: IntArray


class NominalSurface:
    """A mesh prepared once; degenerate triangles are left out.

    vertices (v, 3) [mm], faces (m, 3), normals (m, 3) unit, areas (m,) [mm2]
    rows     (m,) index of each kept triangle in the mesh
    """

    def __init__(self, mesh: TriangleMesh) -> None:
        import igl

        number, distinct = _merged(mesh.vertices)
        faces = number[mesh.faces]
        a, b, c = corners_of(distinct, faces)
        normal = cross(b - a, c - a)
        size = np.sqrt((normal**2).sum(axis=1))
        longest = np.maximum.reduce([((p - q) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))])
        keep = size > 1e-12 * longest
        if not keep.any():
            raise ComputationRefused("the part's mesh has no surface", "mesh", "mend the mesh first")
        self.rows: IntArray = np.flatnonzero(keep)
        self.vertices: Array = distinct
        self.faces: IntArray = np.ascontiguousarray(faces[keep])
        self.normals: Array = normal[keep] / size[keep, None]
        self.areas: Array = 0.5 * size[keep]
        self.bounds: Array = bounds_of(distinct[np.unique(self.faces)])
        self._tree: Any = igl.AABB()
        self._tree.init(self.vertices, self.faces)
        self._edges: tuple[IntArray, Array] | None = None
        self._corners: Array | None = None

    @property
    def diagonal_mm(self) -> float:
        """Of the box round the surface."""
        return float(np.linalg.norm(self.bounds[1] - self.bounds[0]))

    @property
    def centre_mm(self) -> Array:
        """(3,) middle of the box."""
        return np.asarray(self.bounds.mean(axis=0))

    def nearest(self, points: Array) -> Nearest:
        """Closest points with their side.

        The side is that of the triangle, and on an edge or at a corner that of the angle-weighted normal.
        Source: Baerentzen and Aanaes, IEEE TVCG 11 (2005) 243 (memory; checked against igl in the tests).
        """
        if len(points) > _MANY:
            return self._nearest_in_order(points)
        if not len(points):
            return Nearest(np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, dtype=np.int64))
        return self._nearest(points)

    def _nearest_in_order(self, points: Array) -> Nearest:
        """The same for many points: neighbours after one another find what they need at hand."""
        order, count = order_along_curve(points), len(points)
        distance, foot, normal = np.empty(count), np.empty((count, 3)), np.empty((count, 3))
        triangle = np.empty(count, dtype=np.int64)
        for start in range(0, count, _CHUNK):
            mine = order[start : start + _CHUNK]
            part = self._nearest(points[mine])
            distance[mine], foot[mine] = part.distance_mm, part.foot_mm
            normal[mine], triangle[mine] = part.normal, part.triangle
        return Nearest(distance, foot, normal, triangle)

    def _nearest(self, points: Array) -> Nearest:
        given = np.ascontiguousarray(points, dtype=np.float64)
        square, triangle, foot = self._tree.squared_distance(self.vertices, self.faces, given)
        triangle = np.asarray(triangle, dtype=np.int64).reshape(-1)
        foot = np.asarray(foot).reshape(-1, 3)
        normal = self.normals[triangle]
        away = given - foot
        height = np.einsum("ni,ni->n", away, normal)
        size = np.sqrt(np.maximum(np.asarray(square).reshape(-1), 0.0))
        # Where the foot lies inside the triangle the way there is its normal; elsewhere an edge decides.
        beside = np.flatnonzero(size - np.abs(height) > 1e-9 * self.diagonal_mm)
        side = np.sign(height)
        if len(beside):
            guide = self._normals_at(triangle[beside], foot[beside])
            side[beside] = np.sign(np.einsum("ni,ni->n", away[beside], guide))
        return Nearest(np.where(side < 0, -size, size), foot, normal, triangle)

    def _normals_at(self, triangle: IntArray, foot: Array) -> Array:
        """Angle-weighted normals (k, 3) of edges and corners."""
        bary = _barycentric(self.vertices, self.faces[triangle], foot)
        small = bary < _AT_EDGE
        count = small.sum(axis=1)
        guide = self.normals[triangle].copy()
        corner = count >= 2
        if corner.any():
            which = np.argmax(bary[corner], axis=1)
            guide[corner] = self._corner_normals()[self.faces[triangle[corner], which]]
        edge = count == 1
        if edge.any():
            opposite = np.argmax(small[edge], axis=1)
            neighbour, _ = self.edge_links()
            other = neighbour[triangle[edge], opposite]
            guide[edge] += np.where((other >= 0)[:, None], self.normals[np.maximum(other, 0)], 0.0)
        return guide

    def edge_links(self) -> tuple[IntArray, Array]:
        """Neighbour (m, 3) across the edge opposite each corner, -1 for none or several; its turn [rad] (m, 3)."""
        if self._edges is None:
            self._edges = _link(self.faces, self.normals, len(self.vertices))
        return self._edges

    def _corner_normals(self) -> Array:
        if self._corners is None:
            a, b, c = corners_of(self.vertices, self.faces)
            total = np.zeros_like(self.vertices)
            for k, (at, one, two) in enumerate(((a, b, c), (b, c, a), (c, a, b))):
                angle = _angles(one - at, two - at)
                for axis in range(3):
                    total[:, axis] += np.bincount(
                        self.faces[:, k], angle * self.normals[:, axis], len(self.vertices)
                    )
            self._corners = total
        return self._corners

    def sample(self, count: int, seed: int = 1) -> tuple[Array, Array, IntArray]:
        """Points (n, 3), their normals and triangles: even over the area, the same each time."""
        share = np.cumsum(self.areas)
        at = (np.arange(count) + 0.5) / count * share[-1]
        triangle = np.minimum(np.searchsorted(share, at), len(share) - 1)
        draw = np.random.default_rng(seed)
        u, v = np.sqrt(draw.random(count)), draw.random(count)
        a, b, c = corners_of(self.vertices, self.faces[triangle])
        points = (1 - u)[:, None] * a + (u * (1 - v))[:, None] * b + (u * v)[:, None] * c
        return points, self.normals[triangle], triangle

    def facet_height_mm(self) -> float:
        """How far a smooth round stands off its facets, root mean square over the surface: width times turn / 8.

        Edges that turn by 30 degrees or more are edges of the part (common practice, no source).
        """
        _, turn = self.edge_links()
        smooth = np.where(turn < np.radians(30.0), turn, 0.0)
        a, b, c = corners_of(self.vertices, self.faces)
        lengths = np.stack([np.linalg.norm(p - q, axis=1) for p, q in ((b, c), (c, a), (a, b))], axis=1)
        height = 2.0 * self.areas[:, None] / np.maximum(lengths, 1e-300)
        sagitta = (height * smooth / 8.0).max(axis=1)
        return float(np.sqrt(self.areas @ sagitta**2 / self.areas.sum()))


def _merged(vertices: Array) -> tuple[IntArray, Array]:
    """Number of each vertex among the distinct ones, and those; exact equality only."""
    points = without_negative_zeros(vertices)
    first = first_equal_rows(points)
    leads = first == np.arange(len(points))
    number = (np.cumsum(leads) - 1)[first]
    return number.astype(np.int64), np.array(points[leads], dtype=np.float64)


def _barycentric(vertices: Array, faces: IntArray, foot: Array) -> Array:
    a, b, c = corners_of(vertices, faces)
    normal = cross(b - a, c - a)
    square = (normal**2).sum(axis=1)
    first = (cross(c - b, foot - b) * normal).sum(axis=1) / square
    second = (cross(a - c, foot - c) * normal).sum(axis=1) / square
    return np.stack([first, second, 1.0 - first - second], axis=1)


def _angles(one: Array, two: Array) -> Array:
    angle: Array = np.arctan2(np.linalg.norm(cross(one, two), axis=1), (one * two).sum(axis=1))
    return angle


def _link(faces: IntArray, normals: Array, vertices: int) -> tuple[IntArray, Array]:
    count = len(faces)
    ends = np.concatenate([faces[:, [1, 2]], faces[:, [2, 0]], faces[:, [0, 1]]])
    key = ends.min(axis=1) * vertices + ends.max(axis=1)
    order = np.argsort(key, kind="stable")
    ranked = key[order]
    same = ranked[1:] == ranked[:-1]
    alone_before = np.concatenate([[True], ~same[:-1]]) if len(same) else same
    alone_after = np.concatenate([~same[1:], [True]]) if len(same) else same
    pairs = np.flatnonzero(same & alone_before & alone_after)
    flat = np.full(3 * count, -1, dtype=np.int64)
    one, two = order[pairs], order[pairs + 1]
    flat[one], flat[two] = two % count, one % count
    neighbour = flat.reshape(3, count).T
    other = normals[np.maximum(neighbour, 0)]
    cosine = np.clip((other * normals[:, None, :]).sum(axis=2), -1.0, 1.0)
    return np.ascontiguousarray(neighbour), np.where(neighbour >= 0, np.arccos(cosine), np.inf)
