"""What the three-dimensional view shows of the checks of parts: places, faces, dimension lines.

Triangles are those of the exact mesh, so that what is marked is what was examined, however light the copy is
that the view shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape, Shapes
from dryfit.app.measuring_picks import PickDescription, describe_pick
from dryfit.base.arrays import Array, IntArray
from dryfit.base.errors import ComputationRefused
from dryfit.calc.faces import Faces, distances_to_triangles, segment_faces
from dryfit.model.feature import Feature
from dryfit.model.finding import Finding, MeasuredFeature
from dryfit.model.mesh import TriangleMesh

# All of these are choices of drawing, no source.
CORNER = np.array([0.62, -0.86, 0.56]) / np.linalg.norm([0.62, -0.86, 0.56])
FROM_ABOVE = np.array([0.0, 0.0, 0.5])  # so that a place between two parts is seen from over them
PLACE_SHARE = 0.22  # radius shown round a place of no known size, of half the diagonal of its part
LEAST_SHARE, MOST_SHARE = 0.06, 1.0
ROUND_PLACE = 1.7  # radius shown, of the radius that the marked triangles fill
LEVEL_SHARE = 1e-6  # corners within this of the lowest, of the extent, are as low
MOST_LEVEL_CORNERS = 4000
# A light copy departs from the exact mesh by no more than this where it is picked, of the part's half diagonal.
COPY_SHARE = 0.02
LEAST_REACH_MM = 0.5

Marked = tuple[tuple[str, IntArray], ...]  # part, and triangles of its exact mesh


@dataclass(frozen=True, slots=True, eq=False)
class FoundMark:
    """Where a finding lies.

    parts      shown whole; the others only hint where they are
    places_mm  (k, 3) in the model, of which the first is gravest; k is 0 where nothing has a place
    look_from  (k, 3) unit: from where each is seen best
    reach_mm   (k,) radius of what is to be in view round each
    line_mm    (2, 3) ends of a measured way between two parts, parts[0] and parts[-1]; None for none
    boxes_mm   (k, 2, 3) lowest and highest corner of what lies at each place; None for none
    """

    parts: tuple[str, ...]
    places_mm: Array
    look_from: Array
    reach_mm: Array
    triangles: Marked
    line_mm: Array | None = None
    boxes_mm: Array | None = None

    def beside(self, at: int, step: int) -> int:
        """Number of the place so many steps on; after the last comes the first."""
        return (at + step) % len(self.places_mm)


@dataclass(frozen=True, slots=True, eq=False)
class FeatureMark:
    """Where a feature was measured.

    line_mm    (2, 3) ends of its dimension line, or None
    lead_mm    (2, 3) a line from an end of the dimension to what it refers to, or None
    middle_mm  (3,), look_from (3,), reach_mm: what to bring into view, from where
    """

    parts: tuple[str, ...]
    line_mm: Array | None
    lead_mm: Array | None
    middle_mm: Array
    look_from: Array
    reach_mm: float
    triangles: Marked


def pack_triangles(mesh: TriangleMesh, triangles: IntArray) -> bytes:
    """Corners of some triangles of an exact mesh: nine little-endian float32 each, assembly coordinates [mm]."""
    return mesh.vertices[mesh.faces[triangles]].astype("<f4").tobytes()


def mark_finding(finding: Finding, shapes: Shapes) -> FoundMark:
    """Where a finding is to be seen. Its places; without any, the middle of its triangles."""
    shape = shapes[finding.parts[0]]
    marked: Marked = ((finding.parts[0], finding.triangles),) if len(finding.triangles) else ()
    corners = shape.mesh.vertices[shape.mesh.faces[finding.triangles]]
    places, line = np.asarray(finding.places_mm), None
    if finding.topic == "clearance" and len(places) == 2:  # the two ends of the way between the parts
        line, places = places, places.mean(axis=0)[None]
    if not len(places) and len(corners):
        places = _middle_of(corners)[None]
    if not len(places):
        none = np.zeros((0, 3))
        return FoundMark(finding.parts, none, none, np.zeros(0), marked)
    looks, reaches = _views_of(places, corners, shape)
    boxes = finding.boxes_mm if len(finding.boxes_mm) else None
    if boxes is not None:
        whole = 0.5 * ROUND_PLACE * np.linalg.norm(boxes[:, 1] - boxes[:, 0], axis=1)
        reaches = np.clip(np.maximum(reaches, whole), 0.0, MOST_SHARE * shape.size_mm)
    return FoundMark(finding.parts, places, looks, reaches, marked, line, boxes)


def _views_of(places: Array, corners: Array, shape: PartShape) -> tuple[Array, Array]:
    """From where (k, 3), and how far round it (k,), each place is to be seen."""
    size = shape.size_mm
    outward = places - shape.measures.centroid_mm
    looks = np.array([_unit(_unit(way, CORNER) + FROM_ABOVE, CORNER) for way in outward])
    reaches = np.full(len(places), PLACE_SHARE * size)
    if not len(corners):
        return looks, reaches
    middles = corners.mean(axis=1)
    own = _nearest(places, middles)
    areas = _area_vectors(corners)
    for index in np.unique(own):
        mine = own == index
        looks[index] = _unit(areas[mine].sum(axis=0), looks[index])
        away = np.linalg.norm(corners[mine].reshape(-1, 3) - places[index], axis=1).max()
        reaches[index] = np.clip(ROUND_PLACE * away, LEAST_SHARE * size, MOST_SHARE * size)
    return looks, reaches


def mark_feature(measured: MeasuredFeature, feature: Feature, shapes: Shapes) -> FeatureMark | None:
    """Where a feature was measured; None where it was not."""
    anchors = np.asarray(measured.anchors_mm)
    if not len(anchors):
        return None
    line, lead = _dimension_line(measured, feature, shapes, anchors)
    middle = line.mean(axis=0)
    whole = np.mean([shape.measures.centroid_mm for shape in shapes.values()], axis=0)
    along = _unit(line[-1] - line[0], CORNER)
    size = shapes[measured.parts[0]].size_mm
    reach = max(0.8 * float(np.linalg.norm(line[-1] - line[0])), 0.3 * size)
    return FeatureMark(
        parts=measured.parts,
        line_mm=line,
        lead_mm=lead,
        middle_mm=middle,
        look_from=_look_at_line(measured, shapes, middle - whole, along),
        reach_mm=min(reach, 2.0 * size) if len(measured.parts) == 1 else reach,
        triangles=measured.triangles,
    )


def _look_at_line(measured: MeasuredFeature, shapes: Shapes, outward: Array, along: Array) -> Array:
    """From where a dimension line is seen best: across it, from outside and rather from above.

    A face that is looked at as a whole, for its flatness, is seen from straight before it.
    """
    if measured.kind == "flatness" and measured.triangles:
        part, triangles = measured.triangles[0]
        mesh = shapes[part].mesh
        return _unit(_area_vectors(mesh.vertices[mesh.faces[triangles]]).sum(axis=0), CORNER)
    return _across(_unit(outward * np.array([1.0, 1.0, 0.0]), CORNER), along)


def _area_vectors(corners: Array) -> Array:
    """(m, 3) normals of triangles (m, 3, 3), as long as twice their area."""
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def _dimension_line(
    measured: MeasuredFeature, feature: Feature, shapes: Shapes, anchors: Array
) -> tuple[Array, Array | None]:
    """Ends of the dimension line, and the line that leads from it to the point it refers to.

    An extent is measured along its direction only: its line stands on the one end, and leads to the other.
    """
    first, last = anchors[0], anchors[-1]
    if feature.direction is None or measured.kind not in ("extent", "section"):
        return np.array([first, last]), None
    if measured.kind == "extent":
        first, last = _nearest_ends([shapes[name] for name in measured.parts], feature.direction)
    end = first + float((last - first) @ feature.direction) * feature.direction
    is_aside = np.linalg.norm(last - end) > 1e-6 * np.linalg.norm(end - first)
    return np.array([first, end]), np.array([end, last]) if is_aside else None


def _nearest_ends(parts: Sequence[PartShape], direction: Array) -> tuple[Array, Array]:
    """A lowest and a highest corner along a direction that lie beside one another as nearly as any do."""
    points = np.concatenate([shape.mesh.vertices for shape in parts])
    height = points @ direction
    reach = max(LEVEL_SHARE * float(np.ptp(height)), 1e-9)
    low = points[height <= height.min() + reach][:MOST_LEVEL_CORNERS]
    high = points[height >= height.max() - reach][:MOST_LEVEL_CORNERS]
    aside = [rows - np.outer(rows @ direction, direction) for rows in (low, high)]
    nearest = _nearest(aside[1], aside[0])
    best = int(np.argmin(np.linalg.norm(aside[0] - aside[1][nearest], axis=1)))
    return low[best], high[nearest[best]]


class FacePicker:
    """Faces under points picked on light copies. The faces of a part are told apart once, when first asked for."""

    def __init__(self, shapes: Shapes) -> None:
        self._shapes = shapes
        self._faces: dict[str, Faces] = {}

    def describe(self, part: str, point_mm: Array) -> PickDescription:
        """What was picked on the light copy of a part, as a pick on its exact mesh. point_mm: (3,) in the model.

        Raises ComputationRefused where no face of the exact mesh is near the point.
        """
        shape, point = self._shapes[part], np.asarray(point_mm, dtype=np.float64)
        corners = shape.mesh.vertices[shape.mesh.faces]
        away = distances_to_triangles(point, corners)
        nearest = int(np.argmin(away))
        if away[nearest] > max(COPY_SHARE * shape.size_mm, LEAST_REACH_MM):
            raise ComputationRefused(
                f"the exact mesh is {away[nearest]:.2g} mm away from the point",
                f'part "{part}"',
                "come nearer and pick again: the view shows a light copy",
            )
        if part not in self._faces:
            self._faces[part] = segment_faces(shape.mesh)
        return describe_pick(shape, _foot(point, corners[nearest]), nearest, self._faces[part])


def _foot(point: Array, corners: Array) -> Array:
    """The point of a triangle (3, 3) beneath a point, kept inside it."""
    a, b, c = corners
    normal = np.cross(b - a, c - a)
    square = float(normal @ normal)
    if square == 0.0:
        return np.asarray(a)
    inside = point - float((point - a) @ normal) / square * normal
    against = ((b, c), (c, a), (a, b))  # the edge over against each corner
    weights = np.array([np.cross(end - start, inside - start) @ normal for start, end in against])
    weights = np.clip(weights / square, 0.0, None)
    return np.asarray(weights @ corners / weights.sum())


def _middle_of(corners: Array) -> Array:
    """Area centroid of triangles (m, 3, 3)."""
    area = np.linalg.norm(_area_vectors(corners), axis=1)
    weights = area if area.sum() > 0 else np.ones(len(area))
    return np.asarray(weights @ corners.mean(axis=1) / weights.sum())


def _across(way: Array, along: Array) -> Array:
    """A direction across a line, on the side of a way, and a little from above."""
    aside = way - float(way @ along) * along
    if np.linalg.norm(aside) < 0.2:
        aside = CORNER - float(CORNER @ along) * along
    return _unit(_unit(aside, CORNER) + 0.6 * CORNER, CORNER)


def _nearest(places: Array, points: Array) -> IntArray:
    """Number of the place nearest to each point."""
    from scipy.spatial import cKDTree

    return np.asarray(cKDTree(places).query(points)[1], dtype=np.int64)


def _unit(vector: Array, otherwise: Array) -> Array:
    size = float(np.linalg.norm(vector))
    return vector / size if size > 1e-12 else otherwise
