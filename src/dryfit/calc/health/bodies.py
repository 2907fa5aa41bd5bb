"""Faults of whole bodies: inside out, stray, enclosed by another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.base.topology import EdgeTable
from dryfit.calc.health.edges import connect, weigh
from dryfit.calc.health.record import HealthOptions, Problem, Unit, rank_places

# A volume below this share of (area)^1.5 is a sheet or a quotient of roundings; a sphere has 0.094
# (closed form: 1 / (6 sqrt(pi))).
_SENSIBLE_VOLUME = 1e-9
# Rims longer than this share of the root of the area leave inside and outside open (common practice, no source).
_SMALL_RIM = 0.5
_SAMPLES = 3  # points of a body that are asked whether they lie in another
_MOST_ENCLOSURES = 200  # bodies that are asked what lies in them


@dataclass(frozen=True, slots=True, eq=False)
class Bodies:
    """Pieces of a surface that are joined along edges.

    label        (m,) body of each face; faces that collapse to an edge are bodies of their own, without area
    area_mm2     (b,)
    volume_mm3   (b,) signed, small rims closed by a fan to their middle
    low, high    (b, 3) [mm] bounding boxes
    is_closed    (b,) no open edges, an even number of faces at every edge
    is_enclosing (b,) closed, or open at rims so small that its volume means something
    is_real      (b,) has faces with half edges
    rounding_mm3 (b,) volumes smaller than this mean nothing
    """

    label: IntArray
    area_mm2: Array
    volume_mm3: Array
    low: Array
    high: Array
    is_closed: BoolArray
    is_enclosing: BoolArray
    is_real: BoolArray
    rounding_mm3: Array

    @property
    def count(self) -> int:
        return int(np.count_nonzero(self.is_real))


def find_bodies(vertices: Array, table: EdgeTable, normals: Array) -> Bodies:
    """normals : (m, 3) as long as twice the area of each face."""
    faces = table.faces
    first, other = table.links
    count, label = connect(len(faces), first // 3, other // 3)
    areas = np.sqrt(np.einsum("ij,ij->i", normals, normals)) / 2.0
    area = weigh(label, areas, count)
    low, high = np.full((count, 3), np.inf), np.full((count, 3), -np.inf)
    for k in range(3):
        corners = vertices.take(faces[:, k], axis=0)
        for axis in range(3):
            np.minimum.at(low[:, axis], label, corners[:, axis])
            np.maximum.at(high[:, axis], label, corners[:, axis])
    middle = (low + high) / 2.0
    volume = weigh(label, _six_volumes(vertices, faces, normals, middle[label]), count) / 6.0
    capped, perimeter = _cap_rims(vertices, table, label, middle, count)
    is_closed = np.ones(count, dtype=bool)
    odd = table.halves[table.starts[table.counts % 2 == 1]]
    is_closed[label[odd // 3]] = False
    is_real = np.zeros(count, dtype=bool)
    is_real[label[table.halves[table.starts] // 3]] = True
    rounding = _SENSIBLE_VOLUME * area**1.5
    is_enclosing = is_real & (perimeter <= _SMALL_RIM * np.sqrt(area)) & (np.abs(volume + capped) > rounding)
    is_enclosing[label[_unbalanced(table) // 3]] = False
    return Bodies(
        label, area, volume + capped, low, high, is_closed & is_real, is_enclosing, is_real, rounding
    )


def _unbalanced(table: EdgeTable) -> IntArray:
    """A half edge of each shared edge that is run through more often one way: no volume is enclosed there."""
    if not len(table.halves):
        return table.halves
    ways = np.where(table.tails(table.halves) < table.heads(table.halves), 1, -1)
    is_uneven = (np.add.reduceat(ways, table.starts) != 0) & (table.counts > 1)
    return np.asarray(table.halves[table.starts[is_uneven]])


def _six_volumes(vertices: Array, faces: IntArray, normals: Array, about: Array) -> Array:
    """Six times the tetrahedra from a point of each body to its faces: no digits are lost far from the origin."""
    volumes: Array = np.einsum("ij,ij->i", vertices.take(faces[:, 0], axis=0) - about, normals)
    return volumes


def _cap_rims(
    vertices: Array, table: EdgeTable, label: IntArray, middle: Array, count: int
) -> tuple[Array, Array]:
    """Volume that fans over the rims of each body add, and the length of its rims."""
    halves = table.halves[table.starts[table.counts == 1]]
    body = label[halves // 3]
    tail, head = vertices[table.tails(halves)], vertices[table.heads(halves)]
    length = np.linalg.norm(head - tail, axis=1)
    names, index = np.unique(np.concatenate([table.tails(halves), table.heads(halves)]), return_inverse=True)
    rims, rim_of = connect(len(names), index[: len(halves)], index[len(halves) :])
    rim = rim_of[index[: len(halves)]] if len(halves) else np.zeros(0, dtype=np.int64)
    edges = np.maximum(np.bincount(rim, minlength=rims), 1)
    centre = np.stack([weigh(rim, (tail + head)[:, k] / 2.0, rims) / edges for k in range(3)], axis=1)
    # The fan runs through each open edge the other way round than the face does.
    u, v = head - middle[body], tail - middle[body]
    w = (centre[rim] if rims else np.zeros((0, 3))) - middle[body]
    six = np.einsum("ij,ij->i", np.cross(u, v), w)
    return weigh(body, six, count) / 6.0, weigh(body, length, count)


def body_problems(
    vertices: Array, faces: IntArray, bodies: Bodies, is_twisted: BoolArray, options: HealthOptions
) -> list[Problem]:
    """Several bodies, stray shells, voids, bodies within bodies, and bodies inside out."""
    problems = []
    is_stray = _are_stray(bodies, options.stray_share)
    if is_stray.any():
        problems.append(_describe("stray shell", bodies, is_stray, bodies.area_mm2, "mm2"))
    asked = np.flatnonzero(bodies.is_enclosing & ~is_twisted)
    depth = _enclosure_depth(vertices, faces, bodies, asked)
    inward = bodies.volume_mm3 < 0
    is_asked = np.zeros(len(bodies.area_mm2), dtype=bool)
    is_asked[asked] = True
    is_void = is_asked & inward & (depth % 2 == 1)
    is_nested = is_asked & ~inward & (depth % 2 == 1)
    is_wrong = is_asked & inward & (depth % 2 == 0)
    size = np.abs(bodies.volume_mm3)
    named: tuple[tuple[str, BoolArray], ...] = (
        ("inside out", is_wrong),
        ("internal void", is_void),
        ("nested body", is_nested),
    )
    for kind, chosen in named:
        if chosen.any():
            problems.append(_describe(kind, bodies, chosen, size, "mm3"))
    is_piece = bodies.is_real & ~is_stray & ~is_void
    if np.count_nonzero(is_piece) > 1:
        problems.append(_describe("several bodies", bodies, is_piece, bodies.area_mm2, "mm2"))
    return problems


def _are_stray(bodies: Bodies, share: float) -> BoolArray:
    """Small in area and in size, beside something that is not."""
    whole = bodies.area_mm2.sum()
    size = np.where(bodies.is_real[:, None], bodies.high - bodies.low, 0.0).max(axis=1)
    extent = _span(bodies)
    is_small: BoolArray = bodies.is_real & (bodies.area_mm2 < share * whole) & (size < share**0.5 * extent)
    return is_small


def _span(bodies: Bodies) -> float:
    real = bodies.is_real
    return float((bodies.high[real].max(axis=0) - bodies.low[real].min(axis=0)).max()) if real.any() else 0.0


def _enclosure_depth(vertices: Array, faces: IntArray, bodies: Bodies, asked: IntArray) -> IntArray:
    """(b,) in how many other bodies each body lies; only the largest ones are asked what lies in them."""
    depth = np.zeros(len(bodies.area_mm2), dtype=np.int64)
    if len(asked) < 2:
        return depth
    largest = asked[np.argsort(-np.abs(bodies.volume_mm3[asked]), kind="stable")][:_MOST_ENCLOSURES]
    samples = _sample_points(vertices, faces, bodies, asked)
    order = np.argsort(bodies.label, kind="stable")
    ends = np.searchsorted(bodies.label[order], [largest, largest + 1])
    for outer, begin, end in zip(largest, *ends, strict=True):
        is_within = (bodies.low[asked] > bodies.low[outer]).all(axis=1)
        is_within &= (bodies.high[asked] < bodies.high[outer]).all(axis=1)
        inner = np.flatnonzero(is_within)
        if len(inner):
            turns = _windings(vertices, faces[order[begin:end]], samples[inner].reshape(-1, 3))
            is_inside = (np.abs(turns).reshape(len(inner), -1) > 0.5).mean(axis=1) > 0.5
            depth[asked[inner[is_inside]]] += 1
    return depth


def _sample_points(vertices: Array, faces: IntArray, bodies: Bodies, asked: IntArray) -> Array:
    """(k, _SAMPLES, 3) middles of faces of each body asked: its first, last and a middle one."""
    order = np.argsort(bodies.label, kind="stable")
    begin, end = np.searchsorted(bodies.label[order], [asked, asked + 1])
    chosen = np.stack([order[begin], order[(begin + end) // 2], order[end - 1]], axis=1)
    middles: Array = vertices[faces[chosen]].mean(axis=2)
    return middles


def _windings(vertices: Array, faces: IntArray, points: Array) -> Array:
    """How often a closed surface goes round each point."""
    import igl

    names, index = np.unique(faces, return_inverse=True)
    low = vertices[names].min(axis=0)
    own = np.ascontiguousarray(vertices[names] - low)
    turns = igl.fast_winding_number(own, np.ascontiguousarray(index.reshape(-1, 3)), points - low)
    return np.asarray(turns, dtype=np.float64)


def _describe(kind: str, bodies: Bodies, chosen: BoolArray, size: Array, unit: Unit) -> Problem:
    picked = np.flatnonzero(chosen)
    triangles = np.flatnonzero(chosen[bodies.label])
    middle = (bodies.low[picked] + bodies.high[picked]) / 2.0
    ranked = rank_places(middle, size[picked])
    amount = float(size[picked].max())
    return Problem(kind, len(picked), triangles, *ranked, amount, unit, members=len(triangles))  # type: ignore[arg-type]
