"""How two triangles of one mesh meet beyond the corners that they share: exactly."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.health.near import find_near
from dryfit.calc.health.signs import drop_axis, exact_side_of_line, exact_side_of_plane, widest_axis

APART, TOUCHING, CROSSING, OVERLAPPING = 0, 1, 2, 3
_EDGES = ((0, 1), (1, 2), (2, 0))


def classify_pairs(vertices: Array, faces: IntArray, first: IntArray, second: IntArray) -> IntArray:
    """(n,) how faces first and second (n,) meet, neither of them without area.

    APART        not at all beyond what they share by index, or the same three corners
    TOUCHING     at a point or along a line, without passing through one another
    CROSSING     the insides of both have a point in common, and they are not in one plane
    OVERLAPPING  in one plane, with an area in common; also two that fold over a shared edge
    """
    f, g = faces[first].T, faces[second].T
    f_shared, g_shared = _mark_shared(f, g)
    count = f_shared.sum(axis=0, dtype=np.int64)
    result = np.zeros(len(first), dtype=np.int64)
    near = np.flatnonzero(count < 3)
    near = near[find_near(vertices, f[:, near], g[:, near], f_shared[:, near], g_shared[:, near])]
    for may_meet, judge in ((count[near] < 2, _judge_general), (count[near] == 2, _judge_hinge)):
        chosen = near[may_meet]
        if len(chosen):
            a, b = vertices[f[:, chosen].T], vertices[g[:, chosen].T]
            result[chosen] = judge(a, b, f_shared[:, chosen].T, g_shared[:, chosen].T)
    return result


def _mark_shared(f: IntArray, g: IntArray) -> tuple[BoolArray, BoolArray]:
    """(3, n) each: which corners of f are corners of g, and the other way round."""
    f_shared, g_shared = np.zeros(f.shape, dtype=bool), np.zeros(g.shape, dtype=bool)
    for i in range(3):
        for j in range(3):
            is_same = f[i] == g[j]
            f_shared[i] |= is_same
            g_shared[j] |= is_same
    return f_shared, g_shared


def _judge_hinge(a: Array, b: Array, a_shared: BoolArray, b_shared: BoolArray) -> IntArray:
    """Two with an edge in common meet beyond it only in one plane, folded onto the same side."""
    rows = np.arange(len(a))
    a_free, b_free = np.argmin(a_shared, axis=1), np.argmin(b_shared, axis=1)
    is_flat = exact_side_of_plane(a[:, 0], a[:, 1], a[:, 2], b[rows, b_free]) == 0
    result = np.zeros(len(a), dtype=np.int64)
    rows = np.flatnonzero(is_flat)
    axis = widest_axis(a[rows, 0], a[rows, 1], a[rows, 2])
    flat_a, flat_b = drop_axis(a[rows], axis), drop_axis(b[rows], axis)
    here = np.arange(len(rows))
    tail, head = flat_a[here, (a_free[rows] + 1) % 3], flat_a[here, (a_free[rows] + 2) % 3]
    mine = exact_side_of_line(tail, head, flat_a[here, a_free[rows]])
    yours = exact_side_of_line(tail, head, flat_b[here, b_free[rows]])
    result[rows[mine == yours]] = OVERLAPPING
    return result


def _judge_general(a: Array, b: Array, a_shared: BoolArray, b_shared: BoolArray) -> IntArray:
    """At most one corner in common."""
    b_signs = _exact_signs(a, b, b_shared)
    a_signs = _exact_signs(b, a, a_shared)
    result = np.zeros(len(a), dtype=np.int64)
    is_flat = (b_signs == 0).all(axis=1)
    flat = np.flatnonzero(is_flat)
    result[flat] = _judge_flat(a[flat], b[flat], a_shared[flat], b_shared[flat])
    is_apart = _all_strictly(a_signs, a_shared) | _all_strictly(b_signs, b_shared)
    rest = np.flatnonzero(~is_flat & ~is_apart)
    if len(rest):
        a, b, a_signs, b_signs = a[rest], b[rest], a_signs[rest], b_signs[rest]
        is_crossing = _pass_through(a, b, a_signs, b_signs)
        is_touching = (
            _reach_into(a, b, a_signs, a_shared[rest])
            | _reach_into(b, a, b_signs, b_shared[rest])
            | _edges_cross(a, b)
        )
        result[rest] = np.where(is_crossing, CROSSING, np.where(is_touching, TOUCHING, APART))
    return result


def _exact_signs(a: Array, b: Array, is_known: BoolArray) -> IntArray:
    """(n, 3) exact sides of the corners of b at the planes of a; 0 where they are corners of a."""
    signs = np.zeros(is_known.shape, dtype=np.int64)
    rows, corner = np.nonzero(~is_known)
    signs[rows, corner] = exact_side_of_plane(a[rows, 0], a[rows, 1], a[rows, 2], b[rows, corner])
    return signs


def _all_strictly(signs: IntArray, left_out: BoolArray) -> BoolArray:
    """(n,) whether all signs (n, k) are positive, or all negative, but for those left out."""
    positive = ((signs > 0) | left_out).all(axis=1)
    negative = ((signs < 0) | left_out).all(axis=1)
    return np.asarray(positive | negative)


def _judge_flat(a: Array, b: Array, a_shared: BoolArray, b_shared: BoolArray) -> IntArray:
    """In one plane: their insides are apart just where a line along an edge of one of them parts them."""
    if len(a) == 0:
        return np.zeros(0, dtype=np.int64)
    axis = widest_axis(a[:, 0], a[:, 1], a[:, 2])
    a, b = drop_axis(a, axis), drop_axis(b, axis)
    parted = np.zeros(len(a), dtype=bool)
    inside_a, inside_b = np.ones((len(a), 3), dtype=bool), np.ones((len(a), 3), dtype=bool)
    for one, other, inside in ((a, b, inside_b), (b, a, inside_a)):
        turn = exact_side_of_line(one[:, 0], one[:, 1], one[:, 2])
        for tail, head in _EDGES:
            sides = np.stack(
                [exact_side_of_line(one[:, tail], one[:, head], other[:, k]) for k in range(3)], axis=1
            )
            sides *= turn[:, None]
            parted |= (sides <= 0).all(axis=1)
            inside &= sides >= 0
    touches = (inside_b & ~b_shared).any(axis=1) | (inside_a & ~a_shared).any(axis=1)
    return np.where(~parted, OVERLAPPING, np.where(touches, TOUCHING, APART))


def _pass_through(a: Array, b: Array, a_signs: IntArray, b_signs: IntArray) -> BoolArray:
    """Whether insides meet: both straddle, and their open intervals on the common line overlap.

    Source: Devillers and Guigue 2002, Faster triangle-triangle intersection tests (memory).
    """
    straddles: BoolArray = np.asarray((a_signs.min(axis=1) < 0) & (a_signs.max(axis=1) > 0))
    straddles &= (b_signs.min(axis=1) < 0) & (b_signs.max(axis=1) > 0)
    rows = np.flatnonzero(straddles)
    (a0, a1, a2), a_flip = _put_alone_first(a[rows], a_signs[rows])
    (b0, b1, b2), b_flip = _put_alone_first(b[rows], b_signs[rows])
    # Turned so that each has its lone corner on the positive side of the other.
    b1, b2 = np.where(a_flip[:, None], b2, b1), np.where(a_flip[:, None], b1, b2)
    a1, a2 = np.where(b_flip[:, None], a2, a1), np.where(b_flip[:, None], a1, a2)
    meets = (exact_side_of_plane(a0, a1, b0, b1) < 0) & (exact_side_of_plane(a0, a2, b2, b0) < 0)
    straddles[rows] = meets
    return straddles


def _put_alone_first(corners: Array, signs: IntArray) -> tuple[tuple[Array, Array, Array], BoolArray]:
    """Corners turned so that the one alone on its side is first; whether that side is the negative one."""
    is_negative = (signs > 0).sum(axis=1) > 1
    wanted = np.where(is_negative, -1, 1)
    alone = np.argmax(signs == wanted[:, None], axis=1)
    rows = np.arange(len(corners))
    a, b, c = (corners[rows, (alone + k) % 3] for k in range(3))
    return (a, b, c), is_negative


def _reach_into(a: Array, b: Array, a_signs: IntArray, a_shared: BoolArray) -> BoolArray:
    """Whether a corner of a that is no corner of b lies on b, edges and corners of b included."""
    reaches = np.zeros(len(a), dtype=bool)
    rows, corner = np.nonzero((a_signs == 0) & ~a_shared)
    if len(rows) == 0:
        return reaches
    axis = widest_axis(b[rows, 0], b[rows, 1], b[rows, 2])
    flat, point = drop_axis(b[rows], axis), drop_axis(a[rows, corner][:, None], axis)[:, 0]
    turn = exact_side_of_line(flat[:, 0], flat[:, 1], flat[:, 2])
    is_inside = np.ones(len(rows), dtype=bool)
    for tail, head in _EDGES:
        is_inside &= exact_side_of_line(flat[:, tail], flat[:, head], point) * turn >= 0
    reaches[rows[is_inside]] = True
    return reaches


def _edges_cross(a: Array, b: Array) -> BoolArray:
    """Whether an edge of a and an edge of b cross in a point inside both."""
    crosses = np.zeros(len(a), dtype=bool)
    for p, q in _EDGES:
        for r, s in _EDGES:
            flat = exact_side_of_plane(a[:, p], a[:, q], b[:, r], b[:, s]) == 0
            rows = np.flatnonzero(flat & ~crosses)
            if not len(rows):
                continue
            ends = np.stack([a[rows, p], a[rows, q], b[rows, r], b[rows, s]], axis=1)
            ways = ends[:, 1] - ends[:, 0], ends[:, 3] - ends[:, 2]
            axis = widest_axis(np.zeros_like(ways[0]), *ways)
            k, m, u, v = np.moveaxis(drop_axis(ends, axis), 1, 0)
            parts = exact_side_of_line(k, m, u) * exact_side_of_line(k, m, v) < 0
            parts &= exact_side_of_line(u, v, k) * exact_side_of_line(u, v, m) < 0
            crosses[rows[parts]] = True
    return crosses
