"""Interference: the space that two solids both fill, where it is and how deep."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross, locked
from dryfit.calc.overlap.boxes import common_box, triangles_touching
from dryfit.calc.overlap.crossing import crossing_points
from dryfit.calc.overlap.separation import is_kept_apart
from dryfit.calc.overlap.surface import Surface, distances_to, prepare_surface, tree_over
from dryfit.model.mesh import TriangleMesh

# Overlaps less deep than this are rounding of coordinates, not a fault of the model: single precision
# keeps 0.0001 mm at a metre, and no printer makes a hundredth (common practice, no source).
LEAST_DEPTH_MM = 0.01
_SAMPLES_ACROSS = 16  # points across the longest side of a body at which its depth is looked at
_MOST_REFINED = 50_000  # triangles of an overlap beyond which its own corners are dense enough


@dataclass(frozen=True, slots=True, eq=False)
class OverlapPlace:
    """One connected body that two solids both fill.

    box          (2, 3) [mm]
    centroid_mm  (3,) [mm]
    depth_mm     how far the surface of one part lies under that of the other, at most
    """

    volume_mm3: float
    box: Array
    centroid_mm: Array
    depth_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "box", locked(self.box, (2, 3), "box"))
        object.__setattr__(self, "centroid_mm", locked(self.centroid_mm, (3,), "centroid_mm"))


@dataclass(frozen=True, slots=True, eq=False)
class Overlap:
    """What two solids share; places: gravest first; () where they share nothing.

    ignored_mm3  volume of the bodies less deep than the stated depth, which are left out of all else
    """

    volume_mm3: float
    places: tuple[OverlapPlace, ...]
    depth_mm: float
    ignored_mm3: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class NotChecked:
    """Why the overlap of two meshes has no volume.

    surfaces_cross  whether the two surfaces run through each other all the same
    places_mm       (k, 3) [mm] some points where they do
    """

    reason: str
    surfaces_cross: bool
    places_mm: Array


NOTHING = Overlap(0.0, (), 0.0)


def overlap_of(
    mesh_a: TriangleMesh | Surface, mesh_b: TriangleMesh | Surface, least_depth_mm: float = LEAST_DEPTH_MM
) -> Overlap | NotChecked:
    """The space that both meshes fill, without bodies less deep than least_depth_mm.

    The depth of a body is looked at on a grid of points over its surface, so it may be short by the
    spacing of that grid, a sixteenth of the longest side, where the deepest point lies on a round
    surface; on flat faces it is exact. Coplanar contact shares nothing.
    """
    a, b = prepare_surface(mesh_a), prepare_surface(mesh_b)
    common = common_box(a.bounds, b.bounds)
    if ((common[1] - common[0]) < least_depth_mm).any():
        return NOTHING  # a point of either leaves the other's box within the depth
    reasons = [f"{name} {s.fault}" for name, s in (("the first mesh", a), ("the second mesh", b)) if s.fault]
    if reasons:
        return _without_solids(a, b, reasons, least_depth_mm)
    near_a, near_b = triangles_touching(a, common), triangles_touching(b, common)
    if len(near_a) == 0 and len(near_b) == 0:
        return NOTHING  # the border of a shared space would run through the common box
    if is_kept_apart(a, b, near_a, near_b, common, least_depth_mm):
        return NOTHING
    return _intersect(a, b, (near_a, near_b), common, least_depth_mm)


def _without_solids(a: Surface, b: Surface, reasons: list[str], depth_mm: float) -> NotChecked:
    points = crossing_points(a, b, depth_mm)
    return NotChecked("; ".join(reasons), len(points) > 0, points)


def _intersect(
    a: Surface, b: Surface, near: tuple[IntArray, IntArray], common: Array, depth_mm: float
) -> Overlap | NotChecked:
    solids = []
    for name, surface, triangles in (("the first mesh", a, near[0]), ("the second mesh", b, near[1])):
        solid, reason = surface.solid()
        if solid is None:
            return _without_solids(a, b, [f"{name} {reason}"], depth_mm)
        solids.append(_trim(solid, common) if 2 * len(triangles) < len(surface.faces) else solid)
    shared = solids[0] ^ solids[1]
    if shared.status().name != "NoError":
        return _without_solids(a, b, [f"the intersection failed ({shared.status().name})"], depth_mm)
    if shared.is_empty():
        return NOTHING
    return _describe(shared, a, b, depth_mm)


def _trim(solid: Any, box: Array) -> Any:
    """The part of a solid near a box: cutting small before comparing is several times quicker."""
    import manifold3d

    margin = 0.01 * float((box[1] - box[0]).max()) + 0.01  # clear of faces that lie in the box's own
    low, high = box[0] - margin, box[1] + margin
    return solid ^ manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))


def _describe(shared: Any, a: Surface, b: Surface, least_depth_mm: float) -> Overlap:
    places, ignored = [], 0.0
    for body in shared.decompose():
        volume = float(body.volume())
        if volume <= 0.0:
            continue
        box = np.array(body.bounding_box()).reshape(2, 3)
        points = _points_over(body, box)
        # Each point lies on one of the surfaces, at no distance; the other tells how deep it is.
        depth = max(_deepest(surface, box, points) for surface in (a, b))
        if depth < least_depth_mm:
            ignored += volume
            continue
        places.append(OverlapPlace(volume, box, _centroid(body, box.mean(axis=0)), depth))
    places.sort(key=lambda place: -place.volume_mm3)
    total = sum(place.volume_mm3 for place in places)
    return Overlap(total, tuple(places), max((p.depth_mm for p in places), default=0.0), ignored)


def _points_over(body: Any, box: Array) -> Array:
    """Corners and middles of the triangles of a body, refined to a sixteenth of its longest side."""
    if body.num_tri() < _MOST_REFINED:
        body = body.refine_to_length(float((box[1] - box[0]).max()) / _SAMPLES_ACROSS)
    vertices, faces = _arrays(body)
    return np.vstack([vertices, vertices[faces].mean(axis=1)])


def _deepest(surface: Surface, box: Array, points: Array) -> float:
    """Greatest distance of points in a box from a surface."""
    side = float((box[1] - box[0]).max())
    for margin in (side / _SAMPLES_ACROSS, side):
        near = surface.faces[triangles_touching(surface, box, margin)]
        if 0 < 2 * len(near) < len(surface.faces):
            found, _ = distances_to(tree_over(surface.vertices, near), surface.vertices, near, points)
            if float(found.max()) <= margin:  # nothing farther than the margin can have been nearer
                return float(found.max())
    found, _ = distances_to(surface.tree, surface.vertices, surface.faces, points)
    return float(found.max())


def _centroid(body: Any, middle: Array) -> Array:
    vertices, faces = _arrays(body)
    a, b, c = (vertices[faces[:, k]] - middle for k in range(3))
    volumes = np.einsum("ij,ij->i", a, cross(b, c))
    total = float(volumes.sum())
    return middle + (volumes @ (a + b + c)) / (4.0 * total) if total > 0 else middle


def _arrays(body: Any) -> tuple[Array, IntArray]:
    mesh = body.to_mesh64()
    vertices = np.array(mesh.vert_properties, dtype=np.float64)[:, :3]
    return vertices, np.array(mesh.tri_verts, dtype=np.int64)
