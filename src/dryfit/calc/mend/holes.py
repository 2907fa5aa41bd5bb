"""Holes filled by the triangles of least area between the corners of their rim: no new vertices."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, cross
from dryfit.base.topology import EdgeTable, tabulate_edges
from dryfit.calc.mend.record import MendStep, Work

_MOST_CORNERS = 400  # of a rim: the work grows with the third power
_FLAT = 1e-9  # double area over longest edge squared below which a patch would be without area


def fill_holes(work: Work, longest_mm: float) -> tuple[Work, list[MendStep], list[str], float]:
    """Fill rims no longer than longest_mm. Returns also what could not be filled, and the area filled [mm2].

    Neighbours must agree on the outside already. A rim that runs through a vertex twice is not filled.
    """
    table = tabulate_edges(work.faces, len(work.vertices))
    rims, tangled = trace_rims(table)
    patches: list[IntArray] = []
    not_done = [f"{tangled} open edges are not filled: their rims meet in a vertex"] if tangled else []
    edges = _edge_keys(table, len(work.vertices))
    large = 0
    for rim in rims:
        points = work.vertices[rim]
        if np.linalg.norm(points - np.roll(points, -1, axis=0), axis=1).sum() > longest_mm:
            continue
        if len(rim) > _MOST_CORNERS:
            large += 1
            continue
        patch = triangulate_rim(points, _are_edges(rim, edges, len(work.vertices)))
        # The rim runs as its faces do; the patch must run against it.
        patches.append(rim[patch][:, ::-1])
    if large:
        not_done.append(f"{large} holes are not filled: their rims have more than {_MOST_CORNERS} corners")
    if not patches:
        return work, [], not_done, 0.0
    new = np.concatenate(patches)
    corners = work.vertices[new]
    area = np.linalg.norm(cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    filled = Work(
        work.vertices,
        np.concatenate([work.faces, new]),
        np.concatenate([work.origin, np.full(len(new), -1, dtype=np.int64)]),
    )
    return filled, [MendStep("holes filled", len(patches))], not_done, float(area.sum()) / 2.0


def trace_rims(table: EdgeTable) -> tuple[list[IntArray], int]:
    """Closed rims of open edges as rings of vertices, run through as their faces do; edges left over."""
    halves = table.halves[table.starts[table.counts == 1]]
    tail, head = table.tails(halves), table.heads(halves)
    names, out = np.unique(tail, return_counts=True)
    into = np.bincount(np.searchsorted(names, head[np.isin(head, names)]), minlength=len(names))
    is_plain = dict(zip(names.tolist(), ((out == 1) & (into == 1)).tolist(), strict=True))
    following = dict(zip(tail.tolist(), head.tolist(), strict=True))
    rims, seen, used = [], set(), 0
    for start in names.tolist():
        ring: list[int] = []
        vertex = start
        while vertex not in seen and is_plain.get(vertex, False):
            seen.add(vertex)
            ring.append(vertex)
            vertex = following[vertex]
        if ring and vertex == start and len(ring) > 2:
            rims.append(np.array(ring, dtype=np.int64))
            used += len(ring)
    return rims, len(halves) - used


def _edge_keys(table: EdgeTable, vertex_count: int) -> IntArray:
    lead = table.halves[table.starts]
    tail, head = table.tails(lead), table.heads(lead)
    return np.asarray(np.minimum(tail, head) * vertex_count + np.maximum(tail, head))


def _are_edges(rim: IntArray, edges: IntArray, vertex_count: int) -> BoolArray:
    """(n, n) which pairs of corners of a rim are joined by an edge already."""
    low, high = np.minimum(rim[:, None], rim[None]), np.maximum(rim[:, None], rim[None])
    keys = low * vertex_count + high
    at = np.minimum(np.searchsorted(edges, keys), len(edges) - 1)
    return np.asarray(edges[at] == keys)


def triangulate_rim(points: Array, is_edge: BoolArray) -> IntArray:
    """(n - 2, 3) corners of the triangles of least total area over a ring of points (n, 3), run as the ring.

    is_edge : (n, n) pairs that are joined already, to be avoided: a second patch there would branch
    Source: Barequet and Sharir 1995, Filling gaps in the boundary of a polyhedron (memory).
    """
    n = len(points)
    reach = float(np.ptp(points, axis=0).max()) ** 2 + np.finfo(float).tiny
    cost = np.zeros((n, n))
    choice = np.zeros((n, n), dtype=np.int64)
    apart = ((points[:, None] - points[None]) ** 2).sum(axis=2)
    for width in range(2, n):
        # Rows: spans of this width from i to k. Columns: the corners between, any of which may be the third.
        i = np.arange(n - width)
        k, middle = i + width, i[:, None] + np.arange(1, width)
        u = points[middle] - points[i, None]
        v = np.broadcast_to((points[k] - points[i])[:, None], u.shape)
        double = np.linalg.norm(cross(u.reshape(-1, 3), v.reshape(-1, 3)), axis=1).reshape(middle.shape)
        sides = np.maximum(apart[i[:, None], middle], apart[middle, k[:, None]])
        longest = np.maximum(sides, apart[i, k][:, None])
        # A patch without area, or a second edge where there is one, only where nothing else closes the ring.
        total = cost[i[:, None], middle] + cost[middle, k[:, None]] + double
        total += reach * (double <= _FLAT * longest)
        best = total.argmin(axis=1)
        is_taken = is_edge[i, k] & (width < n - 1)
        cost[i, k] = total[i, best] + 1e6 * reach * is_taken
        choice[i, k] = middle[i, best]
    triangles, stack = [], [(0, n - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        third = int(choice[first, last])
        triangles.append([first, third, last])
        stack += [(first, third), (third, last)]
    return np.array(triangles, dtype=np.int64)
