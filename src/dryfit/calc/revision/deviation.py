"""How far one surface lies from another, with its sign, and over what area."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray, bounds_of, corners_of, cross, locked
from dryfit.base.equal_rows import first_equal_rows, without_negative_zeros
from dryfit.calc.revision.contents import changed_triangles
from dryfit.model.mesh import TriangleMesh

_FINEST_SHARE = 1.0 / 60.0  # of the diagonal of the box: how far apart points on large triangles lie
_MOST_ACROSS = 12  # at most so many points along an edge of one triangle
_SIGN_MM = 1e-7  # nearer than this a point lies on the surface and has no side
_WITHIN = 1e-6  # share of each corner in a point that lies over the inside of a triangle
_ALONG = (
    0.99  # cosine beyond which a way runs along a normal; edges of grooves below 8 degrees would be misjudged
)
_INSIDE = 0.5  # winding number beyond which a point lies inside


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """Points of one surface that were looked at, against the other surface.

    points      (k, 3) [mm]
    owners      (k,) triangle of its own mesh in which each point lies
    signed_mm   (k,) distance from the other surface, positive outside of it
    hit         (k,) nearest triangle of the other mesh
    nearest     (k, 3) [mm] nearest point of the other surface
    area_mm2    (k,) area that each point stands for; 0 for vertices, which belong to no area
    """

    points: Array
    owners: IntArray
    signed_mm: Array
    hit: IntArray
    nearest: Array
    area_mm2: Array


@dataclass(frozen=True, slots=True, eq=False)
class Deviation:
    """The new surface against the old one. Positive: plastic is added; negative: plastic is taken away.

    on_new_mm   (n,) [mm] at each vertex of the new mesh, how far it lies outside (+) or inside (-) the old shape
    on_old_mm   (k,) [mm] at each vertex of the old mesh: - where it lies outside the new shape, which lost it there
    new, old    the points looked at on triangles that the other mesh does not have; None where there are none
    area_mm2    area of the new mesh
    spacing_mm  how far apart points on large triangles lie at most
    is_signed   False where a mesh is open: then no side is known, and every deviation counts as positive
    """

    on_new_mm: Array
    on_old_mm: Array
    new: Looked | None
    old: Looked | None
    area_mm2: float
    spacing_mm: float
    is_signed: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "on_new_mm", locked(self.on_new_mm, (None,), "on_new_mm"))
        object.__setattr__(self, "on_old_mm", locked(self.on_old_mm, (None,), "on_old_mm"))

    @property
    def added_mm(self) -> float:
        """Greatest thickness of plastic that the new shape has and the old has not."""
        if not self.is_signed:
            return max(self._most(self.new, 1.0), self._most(self.old, 1.0))
        return max(self._most(self.new, 1.0), self._most(self.old, -1.0))

    @property
    def removed_mm(self) -> float:
        """Greatest depth of plastic that the old shape has and the new has not."""
        if not self.is_signed:
            return 0.0
        return max(self._most(self.new, -1.0), self._most(self.old, 1.0))

    @property
    def largest_mm(self) -> float:
        """Greatest distance between the two surfaces, either way."""
        return max(self.added_mm, self.removed_mm)

    @property
    def rms_mm(self) -> float:
        """Root mean square of the deviation over the whole of the new surface, by area."""
        if self.new is None or not self.area_mm2 > 0:
            return 0.0
        return float(np.sqrt((self.new.area_mm2 * self.new.signed_mm**2).sum() / self.area_mm2))

    def touched_mm2(self, above_mm: float) -> float:
        """Area of the new surface that lies farther than above_mm from the old one."""
        if self.new is None:
            return 0.0
        return float(self.new.area_mm2[np.abs(self.new.signed_mm) > above_mm].sum())

    @staticmethod
    def _most(looked: Looked | None, sense: float) -> float:
        return 0.0 if looked is None else max(0.0, float((sense * looked.signed_mm).max()))


def measure_deviation(old: TriangleMesh, new: TriangleMesh) -> Deviation:
    """Signed distances between two surfaces, looked at from both.

    Only triangles that the other mesh does not have are looked at: at their corners, and over the inside of those
    that are large, no farther apart than a sixtieth of the diagonal. Each distance is exact (nearest point of all
    triangles). The greatest one between the points looked at may be missed.
    Raises ValueError for a mesh without triangles.
    """
    if not len(old.faces) or not len(new.faces):
        raise ValueError("a mesh without triangles deviates from nothing")
    gone, fresh = changed_triangles(old, new)
    low, high = bounds_of(new.vertices)
    spacing = _FINEST_SHARE * float(np.linalg.norm(high - low))
    is_signed = _is_closed(old) and _is_closed(new)
    on_new, on_old = np.zeros(len(new.vertices)), np.zeros(len(old.vertices))
    looked_new = looked_old = None
    if len(fresh):
        looked_new, corners = _look(new, fresh, old, spacing, is_signed)
        on_new[corners] = looked_new.signed_mm[: len(corners)]
    if len(gone):
        looked_old, corners = _look(old, gone, new, spacing, is_signed)
        on_old[corners] = (
            -looked_old.signed_mm[: len(corners)] if is_signed else looked_old.signed_mm[: len(corners)]
        )
    return Deviation(on_new, on_old, looked_new, looked_old, _area(new), spacing, is_signed)


def _look(
    mesh: TriangleMesh, triangles: IntArray, other: TriangleMesh, spacing_mm: float, is_signed: bool
) -> tuple[Looked, IntArray]:
    """The points of some triangles against another surface; their vertices come first, and which those are."""
    faces = mesh.faces[triangles]
    corners, first = np.unique(faces.ravel(), return_index=True)
    inner, owners, area = _inside(mesh, triangles, spacing_mm)
    points = np.vstack([mesh.vertices[corners], inner])
    owner = np.concatenate([triangles[first // 3], owners])
    distance, hit, nearest = _nearest(other, points)
    if is_signed:
        is_off = distance > _SIGN_MM
        distance[is_off] *= _sides(other, points[is_off], hit[is_off], nearest[is_off])
    weights = np.concatenate([np.zeros(len(corners)), area])
    return Looked(points, owner, distance, hit, nearest, weights), corners.astype(np.int64)


def _inside(mesh: TriangleMesh, triangles: IntArray, spacing_mm: float) -> tuple[Array, IntArray, Array]:
    """Middles of a grid over each triangle: points (k, 3), the triangle of each, the area each stands for."""
    a, b, c = corners_of(mesh.vertices, mesh.faces[triangles])
    longest = np.sqrt(np.maximum.reduce([((q - p) ** 2).sum(axis=1) for p, q in ((a, b), (b, c), (c, a))]))
    areas = 0.5 * np.sqrt((cross(b - a, c - a) ** 2).sum(axis=1))
    parts = np.clip(np.ceil(longest / spacing_mm), 1, _MOST_ACROSS).astype(np.int64)
    points, owners, weights = [], [], []
    for count in np.unique(parts):
        chosen = np.flatnonzero(parts == count)
        shares = _cell_middles(int(count))
        points.append(
            (
                shares[None, :, :1] * a[chosen, None]
                + shares[None, :, 1:2] * b[chosen, None]
                + shares[None, :, 2:] * c[chosen, None]
            ).reshape(-1, 3)
        )
        owners.append(np.repeat(triangles[chosen], len(shares)))
        weights.append(np.repeat(areas[chosen] / len(shares), len(shares)))
    return np.vstack(points), np.concatenate(owners), np.concatenate(weights)


def _cell_middles(count: int) -> Array:
    """Barycentric middles (count^2, 3) of the equal small triangles into which a triangle divides."""
    rows = []
    for i in range(count):
        for j in range(count - i):
            rows.append((i + 1 / 3, j + 1 / 3))
            if i + j < count - 1:
                rows.append((i + 2 / 3, j + 2 / 3))
    share = np.array(rows) / count
    middles: Array = np.column_stack([1.0 - share.sum(axis=1), share])
    return middles


def _nearest(mesh: TriangleMesh, points: Array) -> tuple[Array, IntArray, Array]:
    import igl

    tree: Any = igl.AABB()
    tree.init(mesh.vertices, mesh.faces)
    squared, hit, nearest = tree.squared_distance(mesh.vertices, mesh.faces, np.ascontiguousarray(points))
    distance = np.sqrt(np.maximum(np.atleast_1d(squared), 0.0))
    return distance, np.atleast_1d(hit).astype(np.int64), np.asarray(nearest).reshape(-1, 3)


def _sides(mesh: TriangleMesh, points: Array, hit: IntArray, nearest: Array) -> Array:
    """1 for points outside a closed mesh, -1 inside.

    Over the inside of a triangle its normal tells; at edges and corners, where it may not, the winding number does.
    """
    if not len(points):
        return np.zeros(0)
    a, b, c = corners_of(mesh.vertices, mesh.faces[hit])
    normal = cross(b - a, c - a)
    square = np.maximum((normal**2).sum(axis=1), 1e-300)
    away = nearest - a
    second = np.einsum("ij,ij->i", cross(away, c - a), normal) / square
    third = np.einsum("ij,ij->i", cross(b - a, away), normal) / square
    is_within = np.minimum(np.minimum(second, third), 1.0 - second - third) > _WITHIN
    way = points - nearest
    height = np.einsum("ij,ij->i", way, normal)
    # Between facets of a smooth surface the way off an edge is nearly that of the normal, and the normal tells, too.
    steep = np.abs(height) > _ALONG * np.sqrt(square * np.einsum("ij,ij->i", way, way))
    sides = np.sign(height)
    unclear = np.flatnonzero(~(is_within | steep) | (sides == 0.0))
    if len(unclear):
        import igl

        winding = igl.fast_winding_number(mesh.vertices, mesh.faces, np.ascontiguousarray(points[unclear]))
        sides[unclear] = np.where(np.abs(np.atleast_1d(winding)) > _INSIDE, -1.0, 1.0)
    found: Array = sides
    return found


def _is_closed(mesh: TriangleMesh) -> bool:
    """Whether every edge is run through as often one way as the other, vertices of one place taken as one."""
    if _is_balanced(mesh.faces, len(mesh.vertices)):
        return True
    first = first_equal_rows(without_negative_zeros(mesh.vertices)).astype(np.int64)
    return _is_balanced(first[mesh.faces], len(mesh.vertices))


def _is_balanced(faces: IntArray, count: int) -> bool:
    tail, head = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    keys = np.minimum(tail, head) * np.int64(count) + np.maximum(tail, head)
    return bool(np.array_equal(np.sort(keys[tail < head]), np.sort(keys[tail > head])))


def _area(mesh: TriangleMesh) -> float:
    a, b, c = corners_of(mesh.vertices, mesh.faces)
    return float(0.5 * np.sqrt((cross(b - a, c - a) ** 2).sum(axis=1)).sum())
