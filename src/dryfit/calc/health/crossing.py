"""Where a surface passes through or touches itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.health.meeting import APART, CROSSING, OVERLAPPING, TOUCHING, classify_pairs
from dryfit.calc.health.pairs import overlapping_pairs
from dryfit.calc.health.record import HealthOptions, Problem, rank_places
from dryfit.calc.health.slabs import extents_along, leave_out_parted

Progress = Callable[[int, int], None]
_CHUNK = 1 << 19  # pairs judged at a time
_PARTS = 1000  # of the progress
_FLAT = 1e-9  # height over size of two triangles below which their common line is a quotient of roundings
_MOST_KEPT = 300_000  # pairs that meet; more than that is a soup, and every one is said already


@dataclass(frozen=True, slots=True, eq=False)
class Meetings:
    """Pairs of faces that meet beyond what they share.

    first, second  (n,) faces
    kind     (n,) TOUCHING, CROSSING or OVERLAPPING
    depth_mm (n,) of crossings, how far one reaches through the other's plane; 0 for the others
    places_mm (n, 3) [mm] the middle of the common line, or of the common box
    stopped  why the search ended early; "" where it went through
    """

    first: IntArray
    second: IntArray
    kind: IntArray
    depth_mm: Array
    places_mm: Array
    stopped: str = ""


def find_meetings(
    vertices: Array,
    faces: IntArray,
    chosen: IntArray,
    options: HealthOptions,
    progress: Progress | None = None,
    is_calm: BoolArray | None = None,
) -> Meetings:
    """All pairs among the chosen faces (k,) that cross, overlap or touch.

    is_calm : (n,) of find_calm, to pass over what shares such a vertex; without it every pair is judged

    The faces must have an area. Exact: decided by the signs of determinants, in exact arithmetic where
    rounding could turn one; only depth and place are rounded.
    """
    low, high = _bound_faces(vertices, faces, chosen)
    calm = None if is_calm is None else np.where(is_calm[faces], faces, -1).astype(np.int32).T.copy()
    extents = extents_along(vertices, faces)
    most = options.pairs_searched(len(chosen))
    found: list[tuple[IntArray, IntArray, IntArray]] = []
    seen = kept = 0
    stopped = ""
    for chunk in overlapping_pairs(low, high):
        for start in range(0, len(chunk.first), _CHUNK):
            first = chosen[chunk.first[start : start + _CHUNK]]
            second = chosen[chunk.second[start : start + _CHUNK]]
            if calm is not None:
                judged = ~_share_vertex(calm, first, second)
                first, second = first[judged], second[judged]
            first, second = leave_out_parted(extents, first, second)
            kind = classify_pairs(vertices, faces, first, second)
            is_met = kind != APART
            found.append((first[is_met], second[is_met], kind[is_met]))
            kept += int(np.count_nonzero(is_met))
        seen += len(chunk.first)
        if progress is not None:
            progress(int(chunk.done * _PARTS), _PARTS)
        if seen > most or kept > _MOST_KEPT:
            share = f"{100 * chunk.done:.0f} %"
            stopped = f"the search for self-intersections stopped after {seen} near pairs of faces ({share})"
            break
    columns = [np.concatenate(column) for column in zip(*found, strict=True)] if found else []
    first, second, kind = columns or [np.zeros(0, dtype=np.int64)] * 3
    return _measure(vertices, faces, first, second, kind, stopped)


def _share_vertex(corners: npt.NDArray[np.int32], first: IntArray, second: IntArray) -> BoolArray:
    """(n,) whether two faces have a vertex in common, of corners (3, m), -1 for one that does not count."""
    shares = np.zeros(len(first), dtype=bool)
    theirs = [corners[k][second] for k in range(3)]
    for own in corners:
        mine = own[first]
        counts = mine >= 0
        shares |= counts & ((mine == theirs[0]) | (mine == theirs[1]) | (mine == theirs[2]))
    return shares


def _bound_faces(vertices: Array, faces: IntArray, chosen: IntArray) -> tuple[Array, Array]:
    corners = vertices.take(faces[chosen, 0], axis=0)
    low, high = corners, corners.copy()
    for k in (1, 2):
        corners = vertices.take(faces[chosen, k], axis=0)
        np.minimum(low, corners, out=low)
        np.maximum(high, corners, out=high)
    return low, high


def _measure(
    vertices: Array, faces: IntArray, first: IntArray, second: IntArray, kind: IntArray, stopped: str
) -> Meetings:
    order = np.lexsort((np.maximum(first, second), np.minimum(first, second)))
    first, second = np.minimum(first, second)[order], np.maximum(first, second)[order]
    kind = kind[order]
    a, b = vertices[faces[first]], vertices[faces[second]]
    low = np.maximum(a.min(axis=1), b.min(axis=1))
    high = np.minimum(a.max(axis=1), b.max(axis=1))
    places, depth = (low + high) / 2.0, np.zeros(len(first))
    cut = np.flatnonzero(kind != OVERLAPPING)
    middle, reach, is_flat = _cut_of(a[cut], b[cut])
    places[cut[~is_flat]] = middle[~is_flat]
    depth[cut] = np.where(kind[cut] == CROSSING, reach, 0.0)
    return Meetings(first, second, kind, depth, places, stopped)


def _cut_of(a: Array, b: Array) -> tuple[Array, Array, BoolArray]:
    """Middle of the line in which triangles (n, 3, 3) cross, how deep, and whether they lie in one plane: rounded.

    Depth is the least of the four distances that the corners of one reach beyond the plane of the other: what
    one of them would have to move for the crossing to end.
    """
    if len(a) == 0:
        return np.zeros((0, 3)), np.zeros(0), np.zeros(0, dtype=bool)
    points, depths = [], []
    for one, other in ((a, b), (b, a)):
        normal = np.cross(one[:, 1] - one[:, 0], one[:, 2] - one[:, 0])
        normal /= np.maximum(np.linalg.norm(normal, axis=1), np.finfo(float).tiny)[:, None]
        height = ((other - one[:, :1]) * normal[:, None]).sum(axis=2)
        depths += [np.maximum(height.max(axis=1), 0.0), np.maximum(-height.min(axis=1), 0.0)]
        is_alone = (height > 0).sum(axis=1) == 1
        alone = np.where(is_alone, np.argmax(height, axis=1), np.argmin(height, axis=1))
        rows = np.arange(len(one))
        for step in (1, 2):
            top, bottom = height[rows, alone], height[rows, (alone + step) % 3]
            difference = top - bottom
            share = np.clip(top / np.where(difference == 0, 1.0, difference), 0.0, 1.0)[:, None]
            points.append(other[rows, alone] * (1 - share) + other[rows, (alone + step) % 3] * share)
    ends = np.stack(points, axis=1)
    spread = np.ptp(ends, axis=1)
    along = np.take_along_axis(ends, np.argmax(spread, axis=1)[:, None, None], axis=2)[..., 0]
    middle = np.argsort(along, axis=1, kind="stable")[:, 1:3, None]
    size = np.ptp(a, axis=1).max(axis=1) + np.ptp(b, axis=1).max(axis=1)
    is_flat = np.max(depths, axis=0) <= _FLAT * size
    return np.take_along_axis(ends, middle, axis=1).mean(axis=1), np.min(depths, axis=0), is_flat


def meeting_problems(faces: IntArray, meetings: Meetings, rounding_mm: float) -> list[Problem]:
    """Self-intersections, and touches apart from them.

    rounding_mm : a crossing no deeper than this is what rounding makes of two faces that touch
    """
    is_deep = (meetings.kind == OVERLAPPING) | (
        (meetings.kind == CROSSING) & (meetings.depth_mm > rounding_mm)
    )
    problems = []
    if is_deep.any():
        problems.append(_gather(faces, meetings, is_deep, "self-intersection"))
    is_touch = ~is_deep & (meetings.kind >= TOUCHING)
    if is_touch.any():
        problems.append(_gather(faces, meetings, is_touch, "touching"))
    return problems


def _gather(faces: IntArray, meetings: Meetings, chosen: BoolArray, kind: str) -> Problem:
    """One place for every connected group of faces that meet: its deepest pair."""
    rows = np.flatnonzero(chosen)
    first, second, depth = meetings.first[rows], meetings.second[rows], meetings.depth_mm[rows]
    triangles = np.unique(np.concatenate([first, second]))
    group = _group_pairs(faces, first, second)
    order = np.lexsort((-depth, group))
    is_lead = np.ones(len(order), dtype=bool)
    is_lead[1:] = group[order][1:] != group[order][:-1]
    leaders = order[is_lead]
    places, amounts = rank_places(meetings.places_mm[rows[leaders]], depth[leaders])
    return Problem(
        kind,  # type: ignore[arg-type]
        len(rows),
        triangles,
        places,
        amounts,
        float(depth.max()),
        "mm",
        members=len(leaders),
    )


def _group_pairs(faces: IntArray, first: IntArray, second: IntArray) -> IntArray:
    """(n,) which group each pair belongs to; pairs that share a face or a corner of one are one group."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    corners = np.concatenate([faces[first], faces[second]], axis=1)
    names, index = np.unique(corners, return_inverse=True)
    index = index.reshape(corners.shape)
    tail, head = np.repeat(index[:, 0], 5), index[:, 1:].ravel()
    graph = coo_array((np.ones(len(tail), dtype=np.int8), (tail, head)), shape=(len(names), len(names)))
    _, label = connected_components(graph, directed=False)
    group: IntArray = label[index[:, 0]].astype(np.int64)
    return group
