"""Round common faces: a shaft in a hole, an arc on an arc."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.mating.curved import CurvedRegion, Cylinder
from dryfit.calc.mating.outline import polygon_parts
from dryfit.calc.mating.prepared import PreparedPart
from dryfit.calc.mating.report import Mating
from dryfit.calc.mating.surface import boxes_meet
from dryfit.calc.mating.touching import facing_area
from dryfit.model.joint import FaceContacts
from dryfit.model.project import Search

# Common practice, no source, for all three.
MIN_COMMON_ANGLE_DEG = 10.0  # a shorter arc fixes no axis
MIN_COVER = 0.5  # share of the common angle and length that both faces really cover
FULL_TURN_RAD = 2 * np.pi - 0.01
# Common angle from which on three, then four contacts are set along the arc.
THREE_FROM_DEG, FOUR_FROM_DEG = 30.0, 90.0


@dataclass(frozen=True, slots=True, eq=False)
class Unrolled:
    """Cylinder coordinates midway between two cylinders.

    point (3,), axis (3,), first and second (3,) directions of 0 and 90 degrees
    radius_mm  mean radius      seam_rad  angle at which the coordinates start and end
    """

    point: Array
    axis: Array
    first: Array
    second: Array
    radius_mm: float
    seam_rad: float

    def direction(self, angles: Array) -> Array:
        """(n, 3) unit vectors away from the axis."""
        directions: Array = np.cos(angles)[:, None] * self.first + np.sin(angles)[:, None] * self.second
        return directions


def cylindrical_matings(
    first: PreparedPart, second: PreparedPart, box: Array, search: Search
) -> tuple[list[Mating], list[str]]:
    """Round matings of two parts, and reasons in words for curved faces that meet and gave none."""
    matings: list[Mating] = []
    reasons: list[str] = []
    for a, b in _meeting_regions(first, second, search.max_gap_mm):
        found = _mating(first, a, second, b, search)
        if isinstance(found, Mating):
            matings.append(found)
        elif facing_area(first.surface, a.triangles, second.surface, b.triangles, box, search) >= (
            search.min_area_mm2
        ):
            reasons.append(f"two curved faces meet, but {found}; state their contacts")
    return matings, reasons


def _meeting_regions(
    first: PreparedPart, second: PreparedPart, gap_mm: float
) -> Iterator[tuple[CurvedRegion, CurvedRegion]]:
    """Pairs of a convex and a concave region whose boxes come within the gap."""
    if not first.regions or not second.regions:
        return
    lower, upper = np.stack([region.box for region in second.regions], axis=1)
    convex = np.array([region.is_convex for region in second.regions])
    for a in first.regions:
        near = boxes_meet(lower, upper, a.box + np.array([[-gap_mm], [gap_mm]])) & (convex != a.is_convex)
        for place in np.flatnonzero(near).tolist():
            yield a, second.regions[place]


def _mating(
    first: PreparedPart, a: CurvedRegion, second: PreparedPart, b: CurvedRegion, search: Search
) -> Mating | str:
    """The mating, or why there is none."""
    if a.cylinder is None or b.cylinder is None:
        return "they are not both cylinders"
    one, two = a.cylinder, b.cylinder
    sense = 1.0 if one.axis @ two.axis > 0 else -1.0
    angle = _angle_deg(one.axis, sense * two.axis)
    gap = (two.radius_mm - one.radius_mm) * (1 if a.is_convex else -1)
    if angle > search.max_angle_deg + 1e-9:
        return f"their axes differ by {angle:.2f} degrees"
    if abs(gap) > search.max_gap_mm + 1e-6 + 2 * first.surface.noise_mm:
        return f"their radii differ by {abs(gap):.2f} mm"
    unrolled = _unrolled(first, a, second, b, sense)
    length = float(np.linalg.norm(a.box[1] - a.box[0]))
    off_axis = _off_axis_mm(one, two, unrolled, 0.0)
    if off_axis > search.max_gap_mm + np.sin(np.radians(angle)) * length:
        return f"their axes lie {off_axis:.2f} mm apart"
    common = _region(first, a, unrolled).intersection(_region(second, b, unrolled))
    parts = polygon_parts(common)
    if not parts or common.area < search.min_area_mm2:
        return "they do not lie over one another by the least area"
    off_axis = _off_axis_mm(one, two, unrolled, common.centroid.y)
    if off_axis > search.max_gap_mm:
        return f"their axes lie {off_axis:.2f} mm apart"
    low_turn, low, high_turn, high = common.bounds
    turn = (high_turn - low_turn) / unrolled.radius_mm
    if turn < np.radians(MIN_COMMON_ANGLE_DEG):
        return f"they lie over one another along {np.degrees(turn):.1f} degrees only"
    if common.area < MIN_COVER * (high_turn - low_turn) * (high - low):
        return "they cover less than half of the angle and length that they have in common"
    outline = max(parts, key=lambda part: float(part.area))
    angles = _contact_angles(unrolled.seam_rad + low_turn / unrolled.radius_mm, turn)
    return _record(first, a, second, b, unrolled, angles, (low, high), outline, common.area, angle)


def _record(
    first: PreparedPart,
    a: CurvedRegion,
    second: PreparedPart,
    b: CurvedRegion,
    unrolled: Unrolled,
    angles: Array,
    stations: tuple[float, float],
    outline: Any,
    area: float,
    angle_deg: float,
) -> Mating:
    assert a.cylinder is not None
    assert b.cylinder is not None
    turns, heights = np.tile(angles, 2), np.repeat(stations, len(angles))
    on_first = _on_cylinder(a.cylinder, unrolled, turns, heights)
    on_second = _on_cylinder(b.cylinder, unrolled, turns, heights)
    normals = _radial(a.cylinder, on_first) * (1 if a.is_convex else -1)
    gaps = ((on_second - on_first) * normals).sum(axis=1)
    ring = np.asarray(outline.exterior.coords)[:-1]
    polygon = _on_cylinder(
        a.cylinder, unrolled, unrolled.seam_rad + ring[:, 0] / unrolled.radius_mm, ring[:, 1]
    )
    shaft = min(a.cylinder.radius_mm, b.cylinder.radius_mm)
    return Mating(
        parts=(first.id, second.id),
        faces=FaceContacts(on_first, on_second, normals, float(area)),
        polygon=polygon,
        area_mm2=float(area),
        mean_gap_mm=float(gaps.mean()),
        min_gap_mm=float(gaps.min()),
        max_gap_mm=float(gaps.max()),
        angle_deg=angle_deg,
        shape="cylinder",
        words=f"round face of radius {shaft:.2f} mm with {len(turns)} contacts at two stations of the axis",
    )


def _contact_angles(start: float, turn: float) -> Array:
    """Ends of the arc and, for longer ones, points between; a quarter turn apart on a full circle."""
    if turn >= FULL_TURN_RAD:
        return np.arange(4) * np.pi / 2
    degrees = np.degrees(turn)
    count = 2 + int(degrees >= THREE_FROM_DEG) + int(degrees >= FOUR_FROM_DEG)
    return start + np.linspace(0.0, turn, count)


def _unrolled(
    first: PreparedPart, a: CurvedRegion, second: PreparedPart, b: CurvedRegion, sense: float
) -> Unrolled:
    """0 degrees lies toward the face from between the parts; along the axis there, toward the most level."""
    assert a.cylinder is not None
    assert b.cylinder is not None
    axis = a.cylinder.axis + sense * b.cylinder.axis
    axis = axis / np.linalg.norm(axis)
    centre = first.surface.centroids[a.triangles].mean(axis=0)
    feet = [c.point + ((centre - c.point) @ c.axis) * c.axis for c in (a.cylinder, b.cylinder)]
    point = (feet[0] + feet[1]) / 2
    toward = point - (first.centroid + second.centroid) / 2
    scale = 1e-6 * a.cylinder.radius_mm
    along = float(toward @ axis)
    lead = along if abs(along) > scale else float(axis[np.argmax(np.abs(axis) > 1e-6)])
    axis = axis if lead > 0 else -axis
    start = toward - (toward @ axis) * axis
    if np.linalg.norm(start) <= scale:
        start = np.eye(3)[int(np.argmin(np.round(np.abs(axis), 6)))]
        start = start - (start @ axis) * axis
    start = start / np.linalg.norm(start)
    radius = (a.cylinder.radius_mm + b.cylinder.radius_mm) / 2
    bare = Unrolled(point, axis, start, np.cross(axis, start), radius, 0.0)
    seams = [_widest_opening(part, region, bare) for part, region in ((first, a), (second, b))]
    return Unrolled(point, axis, start, bare.second, radius, max(seams)[1])


def _coordinates(points: Array, unrolled: Unrolled) -> tuple[Array, Array]:
    """Angle [rad] and height [mm] of points (n, 3)."""
    offsets = points - unrolled.point
    return np.arctan2(offsets @ unrolled.second, offsets @ unrolled.first), offsets @ unrolled.axis


def _widest_opening(part: PreparedPart, region: CurvedRegion, unrolled: Unrolled) -> tuple[float, float]:
    """Size and middle [rad] of the largest gap between the angles of the region's vertices."""
    used = np.unique(part.surface.faces[region.triangles])
    angles = np.sort(_coordinates(part.surface.vertices[used], unrolled)[0])
    openings = np.diff(angles, append=angles[0] + 2 * np.pi)
    place = int(np.flatnonzero(openings >= openings.max() - 1e-6)[0])
    return round(float(openings[place]), 6), float(angles[place] + openings[place] / 2)


def _region(part: PreparedPart, region: CurvedRegion, unrolled: Unrolled) -> Any:
    """The region unrolled: angle from the seam times the mean radius, by height."""
    from shapely import box, make_valid, polygons, union_all

    corners = part.surface.vertices[part.surface.faces[region.triangles]]
    angles, heights = _coordinates(corners.reshape(-1, 3), unrolled)
    angles = np.mod(angles - unrolled.seam_rad, 2 * np.pi).reshape(-1, 3)
    # A triangle across the seam is drawn on both sides and cut off there.
    angles -= 2 * np.pi * np.round((angles - angles[:, :1]) / (2 * np.pi))
    copies = []
    for shift in (-2 * np.pi, 0.0, 2 * np.pi):
        chosen = _reaching(angles + shift)
        flat = np.stack([(angles + shift) * unrolled.radius_mm, heights.reshape(-1, 3)], axis=2)
        copies.append(flat[chosen])
    union = union_all(make_valid(polygons(np.concatenate(copies))), grid_size=1e-9)
    low, high = float(heights.min()) - 1.0, float(heights.max()) + 1.0
    return union.intersection(box(0.0, low, 2 * np.pi * unrolled.radius_mm, high))


def _reaching(angles: Array) -> IntArray:
    return np.flatnonzero((angles.max(axis=1) > 0) & (angles.min(axis=1) < 2 * np.pi))


def _off_axis_mm(one: Cylinder, two: Cylinder, unrolled: Unrolled, height: float) -> float:
    """Distance of the axes where the common face has its middle."""
    middle = unrolled.point + height * unrolled.axis
    feet = [c.point + ((middle - c.point) @ c.axis) * c.axis for c in (one, two)]
    return float(np.linalg.norm(feet[0] - feet[1]))


def _on_cylinder(cylinder: Cylinder, unrolled: Unrolled, angles: Array, heights: Array) -> Array:
    """(n, 3) where rays from the common axis meet a cylinder."""
    starts = unrolled.point + heights[:, None] * unrolled.axis
    rays = unrolled.direction(angles)
    offsets = starts - cylinder.point
    offsets = offsets - (offsets @ cylinder.axis)[:, None] * cylinder.axis
    across = rays - (rays @ cylinder.axis)[:, None] * cylinder.axis
    square, half = (across**2).sum(axis=1), (across * offsets).sum(axis=1)
    rest = (offsets**2).sum(axis=1) - cylinder.radius_mm**2
    lengths = (-half + np.sqrt(half**2 - square * rest)) / square
    points: Array = starts + lengths[:, None] * rays
    return points


def _radial(cylinder: Cylinder, points: Array) -> Array:
    offsets = points - cylinder.point
    radial = offsets - (offsets @ cylinder.axis)[:, None] * cylinder.axis
    unit: Array = radial / np.sqrt((radial**2).sum(axis=1))[:, None]
    return unit


def _angle_deg(one: Array, two: Array) -> float:
    """Between two unit vectors; by their chord, which is exact for small angles."""
    return float(2 * np.degrees(np.arcsin(min(1.0, float(np.linalg.norm(one - two)) / 2))))
