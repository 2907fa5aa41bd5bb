"""What can be said of a mesh without repairing it: size, volume, area, and how its edges meet."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from dryfit.base.arrays import Array, BoolArray, IntArray, locked
from dryfit.model.mesh import TriangleMesh

_CHUNK = 1 << 15  # faces at a time: the work stays in the processor's cache
# A triangle whose double area is below this share of its longest edge squared is a needle or a point:
# its normal is rounding (common practice, no source).
DEGENERATE_RATIO = 1e-12
# Below this share of the bounding box's volume the volume centroid is a quotient of roundings.
_SENSIBLE_VOLUME_RATIO = 1e-9

CentroidOf = Literal["volume", "surface"]


@dataclass(frozen=True, slots=True, eq=False)
class MeshMeasures:
    """Size and soundness of a mesh.

    bounds       (2, 3) [mm]  least and greatest coordinates of the vertices that faces use
    volume_mm3   signed: negative where the surface faces inwards; of an open mesh, a figure without meaning
    centroid_mm  (3,) [mm]    of what centroid_of says: the enclosed volume, or the surface by area
    is_closed    every edge borders an even number of faces
    is_consistently_oriented  every shared edge is run through as often one way as the other
    open_edges         edges that border one face
    nonmanifold_edges  edges that border more than two faces
    degenerate_faces   faces without area, among them those that name a vertex twice
    is_inside_out      closed, consistently oriented, and of negative volume; one hollow body inside
                       out among several sound ones does not show here
    """

    bounds: Array
    volume_mm3: float
    area_mm2: float
    centroid_mm: Array
    centroid_of: CentroidOf
    is_closed: bool
    is_consistently_oriented: bool
    open_edges: int
    nonmanifold_edges: int
    degenerate_faces: int
    is_inside_out: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "bounds", locked(self.bounds, (2, 3), "bounds"))
        object.__setattr__(self, "centroid_mm", locked(self.centroid_mm, (3,), "centroid_mm"))

    @property
    def extent_mm(self) -> Array:
        """(3,) [mm] size of the bounding box."""
        extent: Array = self.bounds[1] - self.bounds[0]
        return extent


@dataclass(slots=True)
class _Sums:
    """Running sums over faces, about a reference point."""

    volume: list[float]
    volume_moment: Array
    area: list[float]
    area_moment: Array
    degenerate: int = 0


def measure_mesh(mesh: TriangleMesh) -> MeshMeasures:
    """Bounds, volume, area, centroid and edge counts of a mesh with at least one face.

    Raises ValueError for a mesh without faces.
    Volume by the divergence theorem, as tetrahedra from the middle of the bounding box, so that a part
    far from the origin loses no digits.
    """
    if len(mesh.faces) == 0:
        raise ValueError("a mesh without faces has no measures")
    bounds = _bound_used_vertices(mesh)
    middle = bounds.mean(axis=0)
    sums = _sum_over_faces(mesh, middle)
    edges = _count_edges(mesh.faces, len(mesh.vertices))
    volume, area = math.fsum(sums.volume), math.fsum(sums.area)
    is_sensible = edges.is_closed and abs(volume) > _SENSIBLE_VOLUME_RATIO * _cube_of_size(bounds)
    if is_sensible and edges.is_consistent:
        centroid, centroid_of = middle + sums.volume_moment / volume, "volume"
    else:
        centroid, centroid_of = middle + (sums.area_moment / area if area > 0 else 0.0), "surface"
    return MeshMeasures(
        bounds=bounds,
        volume_mm3=volume,
        area_mm2=area,
        centroid_mm=centroid,
        centroid_of=centroid_of,  # type: ignore[arg-type]
        is_closed=edges.is_closed,
        is_consistently_oriented=edges.is_consistent,
        open_edges=edges.open,
        nonmanifold_edges=edges.nonmanifold,
        degenerate_faces=sums.degenerate,
        is_inside_out=edges.is_closed and edges.is_consistent and volume < 0,
    )


def has_area(vertices: Array, faces: IntArray) -> bool:
    """Whether at least one face is not degenerate."""
    return any(not bool(_is_degenerate(*corners).all()) for corners in _corners(vertices, faces))


def _corners(vertices: Array, faces: IntArray) -> Iterator[tuple[Array, Array, Array]]:
    """The three corners of the faces as three arrays (3, k) [mm], some faces at a time."""
    for start in range(0, len(faces), _CHUNK):
        corners = np.take(vertices, faces[start : start + _CHUNK].T, axis=0)
        a, b, c = np.ascontiguousarray(corners.transpose(0, 2, 1))
        yield a, b, c


def _bound_used_vertices(mesh: TriangleMesh) -> Array:
    is_used = np.zeros(len(mesh.vertices), dtype=bool)
    for start in range(0, len(mesh.faces), _CHUNK):
        is_used[mesh.faces[start : start + _CHUNK].ravel()] = True
    used = mesh.vertices if is_used.all() else mesh.vertices[is_used]
    return np.stack([used.min(axis=0), used.max(axis=0)])


def _cube_of_size(bounds: Array) -> float:
    return float((bounds[1] - bounds[0]).max() ** 3)


def _cross(u: Array, v: Array) -> Array:
    """Cross products of (3, k) arrays; several times faster than numpy's on this layout."""
    return np.stack([u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]])


def _dot(u: Array, v: Array) -> Array:
    product: Array = u[0] * v[0] + u[1] * v[1] + u[2] * v[2]
    return product


def _is_degenerate(a: Array, b: Array, c: Array) -> BoolArray:
    u, v = b - a, c - a
    normal = _cross(u, v)
    return _is_needle(u, v, np.sqrt(_dot(normal, normal)))


def _is_needle(u: Array, v: Array, double_area: Array) -> BoolArray:
    w = v - u
    longest = np.maximum(np.maximum(_dot(u, u), _dot(v, v)), _dot(w, w))
    needle: BoolArray = double_area <= DEGENERATE_RATIO * longest
    return needle


def _sum_over_faces(mesh: TriangleMesh, middle: Array) -> _Sums:
    """Volume, area, their first moments about middle, and the number of degenerate faces."""
    sums = _Sums([], np.zeros(3), [], np.zeros(3))
    shift = middle[:, None]
    for a, b, c in _corners(mesh.vertices, mesh.faces):
        u, v = b - a, c - a
        normal = _cross(u, v)
        double_area = np.sqrt(_dot(normal, normal))
        corner = a - shift
        corner_sum = 3.0 * corner + u + v
        six_volumes = _dot(corner, normal)
        # Tetrahedron (0, a, b, c): volume 1/6 of the product, centroid a quarter of the corner sum.
        sums.volume.append(float(six_volumes.sum()) / 6.0)
        sums.volume_moment += corner_sum @ six_volumes / 24.0
        sums.area.append(float(double_area.sum()) / 2.0)
        sums.area_moment += corner_sum @ double_area / 6.0
        sums.degenerate += int(np.count_nonzero(_is_needle(u, v, double_area)))
    return sums


@dataclass(frozen=True, slots=True)
class _Edges:
    is_closed: bool
    is_consistent: bool
    open: int
    nonmanifold: int


def _count_edges(faces: IntArray, vertex_count: int) -> _Edges:
    """How the faces meet along their edges.

    A face that names a vertex twice collapses to an edge and back: leaving it out changes nothing in how
    the others meet, so it does not count.
    """
    keys = _directed_edge_keys(faces, vertex_count)
    keys.sort()
    if _pairs_up(keys):
        return _Edges(True, True, 0, 0)
    edge = keys >> 1
    starts = np.flatnonzero(np.concatenate([[True], edge[1:] != edge[:-1]])) if len(edge) else edge
    lengths = np.diff(np.append(starts, len(edge)))
    backwards = np.add.reduceat(keys & 1, starts) if len(edge) else lengths
    is_shared = lengths > 1
    return _Edges(
        is_closed=bool((lengths % 2 == 0).all()) and len(lengths) > 0,
        is_consistent=bool((2 * backwards == lengths)[is_shared].all()),
        open=int(np.count_nonzero(lengths == 1)),
        nonmanifold=int(np.count_nonzero(lengths > 2)),
    )


def _directed_edge_keys(faces: IntArray, vertex_count: int) -> npt.NDArray[np.int64]:
    """(low * vertices + high) * 2 + (1 where the face runs from high to low), for every half edge."""
    # 2 n^2 must stay below 2^63: good for two thousand million vertices.
    keys = np.empty(3 * len(faces), dtype=np.int64)
    filled = 0
    for start in range(0, len(faces), _CHUNK):
        a, b, c = np.ascontiguousarray(faces[start : start + _CHUNK].T)
        is_sound = (a != b) & (b != c) & (c != a)
        if not is_sound.all():
            a, b, c = a[is_sound], b[is_sound], c[is_sound]
        for tail, head in ((a, b), (b, c), (c, a)):
            key = np.minimum(tail, head) * (2 * vertex_count) + 2 * np.maximum(tail, head)
            keys[filled : filled + len(key)] = key + (tail > head)
            filled += len(key)
    return keys[:filled]


def _pairs_up(keys: npt.NDArray[np.int64]) -> bool:
    """Whether every edge occurs exactly twice, once each way: the sound case, without extra memory."""
    if len(keys) == 0 or len(keys) % 2:
        return False
    first, second = keys[0::2], keys[1::2]
    for start in range(0, len(first), _CHUNK):
        one, other = first[start : start + _CHUNK], second[start : start + _CHUNK]
        if (one & 1).any() or (other != one + 1).any():
            return False
    # Two faces that run the same way along an edge fail above; sorted keys put the four of an edge met
    # four times as low, low, high, high, so they fail too.
    return True
