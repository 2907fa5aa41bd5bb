"""Clearance: the least distance between two surfaces, and between which points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, bounds_of, corners_of, locked
from dryfit.calc.overlap.boxes import meeting_boxes, triangles_touching
from dryfit.calc.overlap.crossing import edge_boxes, edges_of
from dryfit.calc.overlap.segments import segment_distances
from dryfit.calc.overlap.surface import Surface, distances_to, prepare_surface, tree_over, used_vertices
from dryfit.model.mesh import TriangleMesh

BOUND_MM = 0.001  # how much nearer than stated two surfaces may be
_CELLS_ACROSS = 16  # the vertices are looked at by cells of a grid this fine
_CHUNK = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class Clearance:
    """Least distance between two surfaces that do not cross.

    point_a_mm, point_b_mm  (3,) [mm] the points at that distance
    bound_mm                the true least distance is at most this much less
    """

    distance_mm: float
    point_a_mm: Array
    point_b_mm: Array
    bound_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "point_a_mm", locked(self.point_a_mm, (3,), "point_a_mm"))
        object.__setattr__(self, "point_b_mm", locked(self.point_b_mm, (3,), "point_b_mm"))


@dataclass(slots=True)
class _Best:
    distance: float
    point_a: Array | None = None
    point_b: Array | None = None

    def take(self, distances: Array, points_a: Array, points_b: Array) -> None:
        if len(distances) and float(distances.min()) < self.distance:
            k = int(distances.argmin())
            self.distance = float(distances[k])
            self.point_a, self.point_b = points_a[k], points_b[k]


def clearance_of(
    mesh_a: TriangleMesh | Surface,
    mesh_b: TriangleMesh | Surface,
    reach_mm: float,
    bound_mm: float = BOUND_MM,
) -> Clearance | None:
    """Least distance of two surfaces that do not cross; None where it is reach_mm or more.

    Two triangles that do not cross are nearest at a corner of one of them or between two edges. Corners
    are compared with all triangles, and those edges with one another that could come nearer than the
    nearest corner by more than bound_mm.
    """
    a, b = prepare_surface(mesh_a), prepare_surface(mesh_b)
    near_a, near_b = _trim(a, b, reach_mm)
    if len(near_a) == 0 or len(near_b) == 0:
        return None
    faces_a, faces_b = a.faces[near_a], b.faces[near_b]
    best = _Best(reach_mm)
    least_a = _compare_corners(a, faces_a, b, faces_b, best, bound_mm)
    if best.distance > bound_mm:
        flipped = _Best(best.distance)
        least_b = _compare_corners(b, faces_b, a, faces_a, flipped, bound_mm)
        if flipped.point_a is not None:
            best = _Best(flipped.distance, flipped.point_b, flipped.point_a)
        edges_a = _needed(a, faces_a, least_a, best, bound_mm)
        edges_b = _needed(b, faces_b, least_b, best, bound_mm)
        _compare_edges(a, edges_a, b, edges_b, best, bound_mm)
    if best.point_a is None or best.point_b is None:
        return None
    return Clearance(best.distance, best.point_a, best.point_b, min(bound_mm, best.distance))


def _trim(a: Surface, b: Surface, reach_mm: float) -> tuple[IntArray, IntArray]:
    """Triangles of each that can lie within reach of the other."""
    near_a = triangles_touching(a, b.bounds, reach_mm)
    if len(near_a) == 0:
        return near_a, near_a
    box_a = np.stack([bounds_of(a.lows[near_a])[0], bounds_of(a.highs[near_a])[1]])
    near_b = triangles_touching(b, box_a, reach_mm)
    if len(near_b) == 0:
        return near_b, near_b
    box_b = np.stack([bounds_of(b.lows[near_b])[0], bounds_of(b.highs[near_b])[1]])
    is_near = (a.lows[near_a] <= box_b[1] + reach_mm).all(axis=1)
    is_near &= (a.highs[near_a] >= box_b[0] - reach_mm).all(axis=1)
    return near_a[is_near], near_b


def _compare_corners(
    a: Surface, faces_a: IntArray, b: Surface, faces_b: IntArray, best: _Best, bound_mm: float
) -> Array:
    """Corners of a against triangles of b; what is nearest goes into best.

    Returns for each vertex of a (n,) a distance [mm] that it is at least from b; infinite for vertices
    that were not asked for. Whole cells of vertices are passed over where their middle is too far.
    """
    used = used_vertices(a, faces_a)
    points = a.vertices[used]
    tree = tree_over(b.vertices, faces_b)
    cell, middles, radii = _cells(points)
    far, _ = distances_to(tree, b.vertices, faces_b, middles)
    lower = far - radii
    at_least = np.maximum(lower[cell], 0.0)
    waiting = np.argsort(lower)
    # A few cells first: what they show rules most of the others out.
    for chosen in (waiting[:4], waiting[4:]):
        chosen = chosen[lower[chosen] < best.distance]
        if best.distance <= bound_mm or len(chosen) == 0:
            continue
        picked = np.flatnonzero(np.isin(cell, chosen))
        distances, nearest = distances_to(tree, b.vertices, faces_b, points[picked])
        at_least[picked] = distances
        best.take(distances, points[picked], nearest)
    result = np.full(len(a.vertices), np.inf)
    result[used] = at_least
    return result


def _cells(points: Array) -> tuple[IntArray, Array, Array]:
    """Cell of each point (n,), and the middle (c, 3) and radius (c,) of the points in each cell."""
    low, high = bounds_of(points)
    side = max(float((high - low).max()) / _CELLS_ACROSS, 1e-9)
    keys = np.floor((points - low) / side).astype(np.int64) @ np.array([1, 1 << 10, 1 << 20])
    _, cell = np.unique(keys, return_inverse=True)
    cell = cell.reshape(-1)
    count = np.bincount(cell).astype(float)
    middles = np.stack([np.bincount(cell, weights=points[:, k]) / count for k in range(3)], axis=1)
    radii = np.zeros(len(count))
    np.maximum.at(radii, cell, np.sqrt(((points - middles[cell]) ** 2).sum(axis=1)))
    return cell, middles, radii


def _needed(surface: Surface, faces: IntArray, at_least: Array, best: _Best, bound_mm: float) -> IntArray:
    """Edges that may come nearer than the best: no point of one is farther than half its length from an
    end."""
    # Whole triangles first: most of them are too far, and need not have their edges sorted out.
    a, b, c = corners_of(surface.vertices, faces)
    spans = np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c)
    sizes = spans.sum(axis=1)
    edges = edges_of(faces[at_least[faces].min(axis=1) - 0.5 * sizes < best.distance - bound_mm])
    length = np.sqrt(((surface.vertices[edges[:, 1]] - surface.vertices[edges[:, 0]]) ** 2).sum(axis=1))
    needed: IntArray = edges[at_least[edges].min(axis=1) - 0.5 * length < best.distance - bound_mm]
    return needed


def _compare_edges(
    a: Surface, edges_a: IntArray, b: Surface, edges_b: IntArray, best: _Best, bound_mm: float
) -> None:
    boxes_b = edge_boxes(b.vertices, edges_b)
    for start in range(0, len(edges_a), _CHUNK):
        some = edges_a[start : start + _CHUNK]
        reach = best.distance - bound_mm
        if reach <= 0:
            return
        i, j = meeting_boxes(edge_boxes(a.vertices, some), boxes_b, reach)
        distances, on_a, on_b = segment_distances(
            a.vertices[some[i, 0]], a.vertices[some[i, 1]],
            b.vertices[edges_b[j, 0]], b.vertices[edges_b[j, 1]],
        )  # fmt: skip
        best.take(distances, on_a, on_b)
