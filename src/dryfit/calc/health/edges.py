"""Faults that show in how edges and corners meet: holes, branching, twists, cracks."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.topology import EdgeTable
from dryfit.calc.health.record import HealthOptions, Problem, rank_places

# A gap wider than this share of the open edges at it is a hole rather than a tear (common practice, no source).
_TEAR_SHARE = 0.25
_MOST_STEPS = 500  # round a vertex; a cone of more faces is counted the general way


def connect(size: int, first: IntArray, other: IntArray) -> tuple[int, IntArray]:
    """Number of connected groups among size nodes, and the group of each."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if size == 0:
        return 0, np.zeros(0, dtype=np.int64)
    index = np.int32 if size < 2**31 else np.int64
    ends = first.astype(index), other.astype(index)
    graph = coo_array((np.ones(len(first), dtype=np.int8), ends), shape=(size, size)).tocsr()
    count, label = connected_components(graph, directed=False)
    return int(count), label


def weigh(label: IntArray, weight: Array, count: int) -> Array:
    """(count,) sum of weights by label; zeros where there is nothing to sum."""
    return np.asarray(np.bincount(label, weight, count), dtype=np.float64)


def edge_problems(vertices: Array, table: EdgeTable, options: HealthOptions) -> list[Problem]:
    """Holes, cracks and edges of more than two faces."""
    problems = []
    open_halves = table.halves[table.starts[table.counts == 1]]
    if len(open_halves):
        problems.append(_holes(vertices, table, open_halves))
        crack = _cracks(vertices, table, open_halves, options.crack_mm)
        problems += [crack] if crack else []
    is_branching = table.counts > 2
    if is_branching.any():
        problems.append(_branching(vertices, table, is_branching))
    return problems


def _holes(vertices: Array, table: EdgeTable, halves: IntArray) -> Problem:
    """Open edges, gathered to the rims that they form together."""
    tail, head = table.tails(halves), table.heads(halves)
    names, index = np.unique(np.concatenate([tail, head]), return_inverse=True)
    count, label = connect(len(names), index[: len(tail)], index[len(tail) :])
    rim = label[index[: len(tail)]]
    length = np.linalg.norm(vertices[head] - vertices[tail], axis=1)
    perimeter = weigh(rim, length, count)
    middles = (vertices[head] + vertices[tail]) / 2.0
    edges = np.bincount(rim, minlength=count)
    # By length; a rim without any length by its edges.
    share = np.where(perimeter[rim] > 0, length, 1.0)
    total = np.where(perimeter > 0, perimeter, edges)
    places = np.stack([weigh(rim, middles[:, k] * share, count) / total for k in range(3)], axis=1)
    ranked = rank_places(places, perimeter)
    triangles = np.unique(halves // 3)
    return Problem("hole", count, triangles, *ranked, float(perimeter.max()), "mm", members=len(halves))


def _cracks(vertices: Array, table: EdgeTable, halves: IntArray, crack_mm: float) -> Problem | None:
    """Corners on rims that lie within crack_mm of another that they share no open edge with."""
    from scipy.spatial import cKDTree

    tail, head = table.tails(halves), table.heads(halves)
    names = np.unique(np.concatenate([tail, head]))
    near = cKDTree(vertices[names]).query(vertices[names], k=min(4, len(names)))
    distance, other = near[0][:, 1:], names[near[1][:, 1:]]
    size = len(vertices)
    joined = np.unique(np.minimum(tail, head) * size + np.maximum(tail, head))
    own = np.repeat(names[:, None], other.shape[1], axis=1)
    keys = np.minimum(own, other) * size + np.maximum(own, other)
    # A rim of edges as short as the gap is fine detail, not a tear.
    length = np.linalg.norm(vertices[head] - vertices[tail], axis=1)
    shortest = np.full(size, np.inf)
    np.minimum.at(shortest, tail, length)
    np.minimum.at(shortest, head, length)
    reach = _TEAR_SHARE * np.minimum(shortest[own], shortest[other])
    is_torn = (distance <= np.minimum(crack_mm, reach)) & ~np.isin(keys, joined) & (own != other)
    distance = np.where(is_torn, distance, np.inf).min(axis=1, initial=np.inf)
    torn = np.isfinite(distance)
    if not torn.any():
        return None
    ranked = rank_places(vertices[names[torn]], distance[torn])
    at_crack = np.isin(tail, names[torn]) | np.isin(head, names[torn])
    triangles = np.unique(halves[at_crack] // 3)
    return Problem("crack", int(torn.sum()), triangles, *ranked, float(distance[torn].max()), "mm")


def _branching(vertices: Array, table: EdgeTable, chosen: BoolArray) -> Problem:
    lead = table.halves[table.starts[chosen]]
    tail, head = vertices[table.tails(lead)], vertices[table.heads(lead)]
    length = np.linalg.norm(head - tail, axis=1)
    triangles = np.unique(table.owners[np.repeat(chosen, table.counts)])
    ranked = rank_places((tail + head) / 2.0, length)
    return Problem("non-manifold edge", len(lead), triangles, *ranked, float(length.sum()), "mm")


def orientation_problems(
    vertices: Array, table: EdgeTable, areas: Array, body: IntArray
) -> tuple[list[Problem], BoolArray]:
    """Faces that disagree with their neighbours on the outside, and which bodies (by label) have such.

    The smaller area of each body is named as turned the wrong way. A body on which no choice fits, such as a
    band with a half twist, is one-sided.
    """
    first, other = table.links
    is_pair = np.repeat(table.counts == 2, np.maximum(table.counts - 1, 0))
    first, other = first[is_pair], other[is_pair]
    is_same_way = table.tails(first) == table.tails(other)
    is_twisted = np.zeros(int(body.max(initial=-1)) + 1, dtype=bool)
    if not is_same_way.any():
        return [], is_twisted
    clashing = first[is_same_way]
    is_twisted[body[clashing // 3]] = True
    turned, one_sided = _settle_sides(len(table.faces), first // 3, other // 3, is_same_way, areas)
    tail, head = vertices[table.tails(clashing)], vertices[table.heads(clashing)]
    length = np.linalg.norm(head - tail, axis=1)
    ranked = rank_places((tail + head) / 2.0, length)
    problems = []
    if turned.any():
        triangles = np.flatnonzero(turned)
        amount = float(areas[triangles].sum())
        problems.append(
            Problem("orientation", len(triangles), triangles, *ranked, amount, "mm2", members=len(clashing))
        )
    if one_sided.any():
        triangles = np.flatnonzero(one_sided)
        problems.append(Problem("one-sided", len(np.unique(body[triangles])), triangles, *ranked))
    return problems, is_twisted


def _settle_sides(
    count: int, first: IntArray, other: IntArray, is_same_way: BoolArray, areas: Array
) -> tuple[BoolArray, BoolArray]:
    """Faces to turn, and faces for which no choice fits.

    Each face is two nodes, as it is (f) and turned (f + count); neighbours are linked as they fit. A sheet
    falls into two mirrored groups; where the two are one, it is one-sided.
    """
    cross = np.where(is_same_way, count, 0)
    tails = np.concatenate([first, first + count])
    heads = np.concatenate([other + cross, other + count - cross])
    groups, label = connect(2 * count, tails, heads)
    straight, mirrored = label[:count], label[count:]
    one_sided: BoolArray = straight == mirrored
    # In the group with the larger area as it stands, the faces are right; those of its mirror image are not.
    weight = weigh(straight, areas, groups)
    turned = weight[straight] < weight[mirrored]
    tie = (weight[straight] == weight[mirrored]) & ~one_sided
    turned |= tie & (straight > mirrored)
    return turned & ~one_sided, one_sided


def pinched_vertices(vertices: Array, table: EdgeTable) -> Problem | None:
    """Vertices at which the faces form more than one fan: two cones that meet in their tips."""
    fans = _walk_fans(table, len(vertices))
    if fans is None:
        fans = _count_fans(table, len(vertices))
    pinched = np.flatnonzero(fans > 1)
    if not len(pinched):
        return None
    is_at = np.isin(table.faces, pinched).any(axis=1)
    ranked = rank_places(vertices[pinched], fans[pinched].astype(np.float64))
    return Problem("non-manifold vertex", len(pinched), np.flatnonzero(is_at), *ranked)


def _walk_fans(table: EdgeTable, vertex_count: int) -> IntArray | None:
    """(n,) 1 where one way round a vertex meets all its faces, 2 where it does not; None where ways branch or end.

    For surfaces whose edges all border two faces that run against one another: quicker, and leaner.
    """
    first, other = table.links
    is_plain = len(table.halves) == 3 * len(table.faces) and bool((table.counts == 2).all())
    if not is_plain or (table.tails(first) == table.tails(other)).any():
        return None
    twin = np.empty(len(table.halves), dtype=np.int32 if len(table.halves) < 2**31 else np.int64)
    twin[first], twin[other] = other, first
    corner = np.arange(len(twin), dtype=twin.dtype)
    following = twin[corner - corner % 3 + (corner + 2) % 3]
    del twin, first, other
    flat = table.faces.reshape(-1)
    valence = np.bincount(flat, minlength=vertex_count)
    start = np.full(vertex_count, -1, dtype=corner.dtype)
    start[flat] = corner
    walking = np.flatnonzero(start >= 0)
    steps = np.zeros(vertex_count, dtype=np.int32)
    at = start[walking]
    for step in range(1, _MOST_STEPS + 1):
        at = following[at]
        is_round = at == start[walking]
        steps[walking[is_round]] = step
        walking, at = walking[~is_round], at[~is_round]
        if not len(walking):
            return np.where(steps == valence, 1, 2)
    return None


def _count_fans(table: EdgeTable, vertex_count: int) -> IntArray:
    """(n,) fans at each vertex, by joining the corners of faces on both sides of every edge."""
    first, other = table.links
    tail_first = _corner(table, first, table.tails(first))
    tail_other = _corner(table, other, table.tails(first))
    head_first = _corner(table, first, table.heads(first))
    head_other = _corner(table, other, table.heads(first))
    count = 3 * len(table.faces)
    groups, label = connect(
        count, np.concatenate([tail_first, head_first]), np.concatenate([tail_other, head_other])
    )
    vertex_of = np.empty(groups, dtype=np.int64)
    vertex_of[label] = table.faces.reshape(-1)
    is_in = np.zeros(groups, dtype=bool)
    is_in[label[table.halves]] = True
    return np.bincount(vertex_of[is_in], minlength=vertex_count)


def _corner(table: EdgeTable, halves: IntArray, vertex: IntArray) -> IntArray:
    """The corner (3 f + k) of each half edge's face at a vertex that is one of its two ends."""
    is_tail = table.tails(halves) == vertex
    following = halves - halves % 3 + (halves % 3 + 1) % 3
    return np.where(is_tail, halves, following)
