"""Flat common faces of two parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.mating.corners import simplified, started
from dryfit.calc.mating.facing import CRUMB_SHARE, facing_pieces, rounding_mm
from dryfit.calc.mating.outline import OutlineError, polygon_parts, region_polygon, signed_area, unite
from dryfit.calc.mating.planes import PLANE_ANGLE_DEG, PLANE_DISTANCE_MM
from dryfit.calc.mating.prepared import PreparedPart
from dryfit.calc.mating.report import Mating
from dryfit.calc.mating.surface import lengths
from dryfit.model.joint import FaceContacts
from dryfit.model.project import Search

# A facet of a curved surface makes a flat joint only with a face that it mostly covers: a cover plate on a
# polygonal drum, and not a cylinder that lies on a table. Of two facets, either may be the covered one.
FACET_COVER = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """Coplanar pieces of one part: outward normal (3,) and centroid (3,) [mm], area-weighted."""

    pieces: IntArray
    normal: Array
    centroid: Array
    area_mm2: float
    is_faceted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """Plane midway between two facing planes: points are origin + across.T @ (u, v)."""

    origin: Array
    across: Array
    normal: Array

    def flat(self, points: Array) -> Array:
        """(n, 2) in-plane coordinates of points (n, 3)."""
        coordinates: Array = (points - self.origin) @ self.across.T
        return coordinates

    def onto(self, flat: Array, plane: Plane) -> Array:
        """(n, 3) points of a plane that have the given in-plane coordinates (n, 2)."""
        points = self.origin + flat @ self.across
        rise = (plane.centroid - points) @ plane.normal / float(self.normal @ plane.normal)
        raised: Array = points + rise[:, None] * self.normal
        return raised


def planar_matings(
    first: PreparedPart, second: PreparedPart, box: Array, search: Search
) -> tuple[list[Mating], list[str]]:
    """Flat matings of two parts, and reasons in words for faces that meet and gave none."""
    pairs = facing_pieces(first, second, box, search)
    if not len(pairs):
        return [], []
    planes_first, own_first = _planes(first, np.unique(pairs[:, 0]), search.min_area_mm2)
    planes_second, own_second = _planes(second, np.unique(pairs[:, 1]), search.min_area_mm2)
    groups = np.column_stack([own_first[pairs[:, 0]], own_second[pairs[:, 1]]])
    groups = np.unique(groups[(groups >= 0).all(axis=1)], axis=0)
    matings: list[Mating] = []
    reasons: list[str] = []
    for i, j in groups.tolist():
        try:
            found = _mating(first, planes_first[i], second, planes_second[j], box, search)
        except OutlineError as error:
            reasons.append(f"two flat faces meet, but the outline of one cannot be told: {error}")
            continue
        if isinstance(found, str):
            reasons.append(found)
        elif found is not None:
            matings.append(found)
    return matings, reasons


def _planes(part: PreparedPart, chosen: IntArray, least_mm2: float) -> tuple[list[Plane], IntArray]:
    """Chosen pieces gathered by plane, round the largest first, and (p,) plane of each piece.

    -1 for pieces that were not chosen and for planes smaller than the least area.
    """
    from scipy.spatial import cKDTree

    pieces = part.pieces
    tree = cKDTree(pieces.normals[chosen])
    own = np.full(len(pieces.areas), -1, dtype=np.int64)
    is_open = np.zeros(len(pieces.areas), dtype=np.bool_)
    is_open[chosen] = True
    planes: list[Plane] = []
    for seed in chosen[np.lexsort((chosen, -pieces.areas[chosen]))].tolist():
        if not is_open[seed]:
            continue
        alike = chosen[tree.query_ball_point(pieces.normals[seed], np.radians(PLANE_ANGLE_DEG))]
        members = _coplanar(part, seed, alike[is_open[alike]])
        is_open[members] = False
        if pieces.areas[members].sum() >= least_mm2:
            own[members] = len(planes)
            planes.append(_plane(part, members))
    return planes, own


def _coplanar(part: PreparedPart, seed: int, others: IntArray) -> IntArray:
    """Those of the other pieces, the seed among them, whose vertices lie in the seed's plane."""
    pieces, surface = part.pieces, part.surface
    centre, normal = pieces.centroids[seed], pieces.normals[seed]
    # Rounding turns the seed's plane by about noise / size, felt over the distance.
    noise, size = 2 * surface.noise_mm, float(np.sqrt(pieces.areas[seed]))
    limits = PLANE_DISTANCE_MM + noise * (1 + lengths(pieces.centroids[others] - centre) / size)
    others = others[np.abs((pieces.centroids[others] - centre) @ normal) <= limits]
    kept = [seed]
    for piece in others[others != seed].tolist():
        offsets = surface.vertices[surface.faces[pieces.triangles(piece)]].reshape(-1, 3) - centre
        reach = float(lengths(offsets).max()) / size
        if np.abs(offsets @ normal).max() <= PLANE_DISTANCE_MM + noise * (1 + reach):
            kept.append(piece)
    return np.sort(np.array(kept, dtype=np.int64))


def _plane(part: PreparedPart, members: IntArray) -> Plane:
    areas = part.pieces.areas[members]
    total = float(areas.sum())
    normal = areas @ part.pieces.normals[members]
    faceted = (part.convex[members] >= 0) | (part.concave[members] >= 0)
    return Plane(
        pieces=members,
        normal=normal / np.linalg.norm(normal),
        centroid=areas @ part.pieces.centroids[members] / total,
        area_mm2=total,
        is_faceted=bool(areas[faceted].sum() > total / 2),
    )


def _mating(
    first: PreparedPart, a: Plane, second: PreparedPart, b: Plane, box: Array, search: Search
) -> Mating | str | None:
    """None where the faces do not meet; words where they do but are not a flat joint."""
    normal = a.normal - b.normal
    normal = normal / np.linalg.norm(normal)
    frame = Frame(a.centroid, np.linalg.svd(normal[None])[2][1:], normal)
    frame = _right_handed(frame)
    common = _polygon(first, a, frame, box).intersection(_polygon(second, b, frame, box))
    parts = polygon_parts(common)
    area = sum(part.area for part in parts)
    if area < max(search.min_area_mm2, 1e-9):
        return None
    common = unite([part for part in parts if part.area >= CRUMB_SHARE**2 * area])
    centre = np.array([[common.centroid.x, common.centroid.y]])
    mean_gap = float(_gaps(frame, a, b, centre)[0])
    if abs(mean_gap) > search.max_gap_mm + rounding_mm(first, second):
        return None
    if area < FACET_COVER * _area_to_cover(a, b):
        return "a facet of a curved surface lies against a face along a strip only"
    outline = _ring(common)
    toward = frame.across @ (frame.onto(centre, a)[0] - (first.centroid + second.centroid) / 2)
    ring = started(outline, centre[0], toward)
    corners = started(simplified(ring), centre[0], toward)
    faces = FaceContacts(
        points_on_first=frame.onto(corners, a),
        points_on_second=frame.onto(corners, b),
        normals=np.tile(a.normal, (len(corners), 1)),
        area_mm2=area,
    )
    gaps = _gaps(frame, a, b, ring)
    angle = 2 * np.degrees(np.arcsin(min(1.0, float(np.linalg.norm(a.normal + b.normal)) / 2)))
    pieces = len(polygon_parts(common))
    return Mating(
        parts=(first.id, second.id),
        faces=faces,
        polygon=frame.onto(ring, a),
        area_mm2=area,
        mean_gap_mm=mean_gap,
        min_gap_mm=float(gaps.min()),
        max_gap_mm=float(gaps.max()),
        angle_deg=float(angle),
        shape="plane",
        words=_words(len(corners), pieces),
    )


def _area_to_cover(a: Plane, b: Plane) -> float:
    """0 for two flat faces."""
    if a.is_faceted == b.is_faceted:
        return min(a.area_mm2, b.area_mm2) if a.is_faceted else 0.0
    return b.area_mm2 if a.is_faceted else a.area_mm2


def _words(corners: int, pieces: int) -> str:
    spread = "" if pieces == 1 else f" in {pieces} pieces, contacts at the corners of their hull"
    return f"flat face with {corners} contacts{spread}"


def _right_handed(frame: Frame) -> Frame:
    u, v = frame.across
    if np.cross(u, v) @ frame.normal < 0:
        return Frame(frame.origin, np.array([u, -v]), frame.normal)
    return frame


def _polygon(part: PreparedPart, plane: Plane, frame: Frame, box: Array) -> Any:
    """The plane's region near the other part, in frame coordinates."""
    surface, polygons = part.surface, []
    outward = 1 if plane.normal @ frame.normal > 0 else -1
    for piece in plane.pieces.tolist():
        triangles = surface.inside(part.pieces.triangles(piece), box)
        if len(triangles):
            used, local = np.unique(surface.faces[triangles], return_inverse=True)
            points = frame.flat(surface.vertices[used])
            polygons.append(region_polygon(points, local.reshape(-1, 3)[:, ::outward]))
    return unite(polygons)


def _ring(common: Any) -> Array:
    """(k, 2) outer boundary without points on straight edges; of several pieces, the hull's."""
    outer = common if common.geom_type == "Polygon" else common.convex_hull
    ring: Array = np.asarray(outer.exterior.coords)[:-1]
    size = float(np.ptp(ring, axis=0).max())
    before, after = np.roll(ring, 1, axis=0) - ring, np.roll(ring, -1, axis=0) - ring
    cross = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    ahead = (before * after).sum(axis=1) < 0
    ring = ring[~(ahead & (cross <= 1e-9 * size * np.sqrt((after**2).sum(axis=1))))]
    return ring if signed_area(ring) > 0 else ring[::-1]


def _gaps(frame: Frame, a: Plane, b: Plane, flat: Array) -> Array:
    gaps: Array = (frame.onto(flat, b) - frame.onto(flat, a)) @ a.normal
    return gaps
