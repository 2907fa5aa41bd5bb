"""How a part stands on the bed: its footprint, what lies in the first layers, what overhangs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, corners_of, cross
from dryfit.model.mesh import TriangleMesh

_AT_A_TIME = 1 << 18
_ROUNDING_DEG = 0.01  # a face that overhangs exactly as far as the machine can is printed
_ROUNDING_MM = 1e-6
_DOWN = 0.98  # cosine of about 11 degrees: a face that faces the bed


@dataclass(frozen=True, slots=True)
class Footprint:
    """What the first layer covers, and how the part rises over it.

    area_mm2       of the section at the top of the first layer; of an open mesh a figure without meaning
    hull_area_mm2  of the convex hull of that section, on which the part would tip
    width_mm       least width of that hull
    height_mm      of the part in its pose
    """

    area_mm2: float
    hull_area_mm2: float
    width_mm: float
    height_mm: float

    @property
    def height_over_width(self) -> float:
        """Height over the least width of the footprint; infinite where nothing is covered."""
        return self.height_mm / self.width_mm if self.width_mm > 0 else float("inf")


def footprint(mesh: TriangleMesh, to_machine: Array, first_layer_mm: float) -> Footprint:
    """The footprint of a mesh [mm] turned by to_machine (3, 3).

    The area comes from the directed segments in which the triangles cross the plane, by the trapezium rule
    round the section: exact for a closed mesh, hollow or not.
    """
    points = mesh.vertices @ to_machine.T
    heights = points[:, 2].take(mesh.faces)
    low, high = float(heights.min()), float(heights.max())
    starts, ends = _section(points, mesh.faces, low + first_layer_mm)
    if not len(starts):
        return Footprint(0.0, 0.0, 0.0, high - low)
    about = starts - starts[0]
    to = ends - starts[0]
    area = 0.5 * float((about[:, 0] * to[:, 1] - about[:, 1] * to[:, 0]).sum())
    hull_area, width = _hull_size(np.vstack([starts, ends]))
    return Footprint(area, hull_area, width, high - low)


def _section(points: Array, faces: IntArray, height_mm: float) -> tuple[Array, Array]:
    """Starts and ends (k, 2) of the segments at a height, the inside to their left."""
    starts, ends = [], []
    is_high = points[:, 2] > height_mm
    for first in range(0, len(faces), _AT_A_TIME):
        some = faces[first : first + _AT_A_TIME]
        one, two, three = (is_high.take(some[:, k]) for k in range(3))
        some = some[(one != two) | (two != three)]
        corners, above = points[some], is_high[some]
        count = above.sum(axis=1)
        # the corner that is alone on its side, then the others in order
        alone = np.where(count == 1, above.argmax(axis=1), (~above).argmax(axis=1))
        rows = np.arange(len(corners))
        tip, after, before = (corners[rows, (alone + k) % 3] for k in range(3))
        right, left = (_crossing(tip, other, height_mm) for other in (after, before))
        is_up = (count == 1)[:, None]
        starts.append(np.where(is_up, right, left))
        ends.append(np.where(is_up, left, right))
    return np.vstack(starts), np.vstack(ends)


def _crossing(a: Array, b: Array, height_mm: float) -> Array:
    share = (height_mm - a[:, 2]) / (b[:, 2] - a[:, 2])
    point: Array = a[:, :2] + share[:, None] * (b[:, :2] - a[:, :2])
    return point


def _hull_size(flat: Array) -> tuple[float, float]:
    """Area and least width of the convex hull of points (n, 2); 0, 0 where they lie on a line."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        hull = ConvexHull(flat)
    except QhullError:  # all on one line
        return 0.0, 0.0
    corners = flat[hull.vertices]
    # The least width is found square to one of the sides.
    widths = [float(np.ptp(corners @ side)) for side in hull.equations[:, :2]]
    return float(hull.volume), min(widths)


def slenderness(mesh: TriangleMesh) -> float:
    """Longest over shortest extent [-], along the principal axis that stands out and square to it.

    1 for a mesh without area, infinite for one without thickness. It is the same in every pose.
    """
    points, faces = mesh.vertices, mesh.faces
    corners = corners_of(points, faces)
    normals = cross(corners[1] - corners[0], corners[2] - corners[0])
    weight = np.sqrt(np.einsum("ij,ij->i", normals, normals))
    total = float(weight.sum())
    if not total > 0:
        return 1.0
    middle = (corners[0] + corners[1] + corners[2]) / 3.0
    about = middle - (weight @ middle) / total
    moment = (about * weight[:, None]).T @ about
    for corner in corners:
        spread = corner - middle
        moment += (spread * (weight / 12.0)[:, None]).T @ spread
    spreads, axes = np.linalg.eigh(moment)
    is_used = np.zeros(len(points), dtype=np.bool_)
    is_used[faces.ravel()] = True
    used = points[is_used]
    # Two spreads that are alike leave their axes open within a plane: the third axis is taken, and what lies
    # square to it is measured whichever way it is turned.
    is_bar = spreads[2] - spreads[1] >= spreads[1] - spreads[0]
    flat = used @ (axes[:, :2] if is_bar else axes[:, 1:])
    along = float(np.ptp(used @ axes[:, 2 if is_bar else 0]))
    least, most = _rectangle(flat)
    longest, shortest = (along, least) if is_bar else (most, along)
    return longest / shortest if shortest > 0 else float("inf")


def _rectangle(flat: Array) -> tuple[float, float]:
    """Least width of the convex hull of points (n, 2), and their extent square to it."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        hull = ConvexHull(flat)
    except QhullError:  # all on one line
        return 0.0, float(np.linalg.norm(np.ptp(flat, axis=0)))
    corners = flat[hull.vertices]
    across = hull.equations[:, :2]  # the least width is found square to one of the sides
    widths = [float(np.ptp(corners @ side)) for side in across]
    best = int(np.argmin(widths))
    return widths[best], float(np.ptp(corners @ np.array([-across[best, 1], across[best, 0]])))


def overhang_deg(normals: Array, to_machine: Array) -> Array:
    """(n,) [deg] how far faces with outward unit normals (n, 3) overhang: 0 upright, 90 a ceiling.

    Negative for faces that face upward.
    """
    angle: Array = np.degrees(np.arcsin(np.clip(-(normals @ to_machine[2]), -1.0, 1.0)))
    return angle


def overhang_triangles(
    mesh: TriangleMesh, to_machine: Array, angle_deg: float, on_bed_mm: float = _ROUNDING_MM
) -> IntArray:
    """Triangles that overhang by more than an angle from the vertical and do not lie on the bed.

    on_bed_mm : a triangle lies on the bed when none of its corners is higher over the lowest point
    """
    height = mesh.vertices @ to_machine[2]
    low = float(height[mesh.faces].min())
    corners = mesh.vertices[mesh.faces]
    normal = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    has_area = length > 0
    normal = normal / np.where(has_area, length, 1.0)[:, None]
    steep = overhang_deg(normal, to_machine) > angle_deg + _ROUNDING_DEG
    is_on_bed = height[mesh.faces].max(axis=1) <= low + on_bed_mm
    return np.flatnonzero(steep & has_area & ~is_on_bed)


@dataclass(frozen=True, slots=True)
class OnBed:
    """How a face meets the bed. lies: it lies on it; stands: it rises from it, so that its lowest edge flares."""

    lies: bool
    stands: bool


def lies_on_bed(
    points: Array, normals: Array, to_machine: Array, floor_mm: float, first_layer_mm: float
) -> OnBed:
    """How a face given by points (n, 3) and outward unit normals (n, 3) meets the bed.

    floor_mm : height of the part's lowest point in machine axes
    first_layer_mm : height over the bed within which the first layer flares
    """
    is_low: BoolArray = points @ to_machine[2] - floor_mm <= first_layer_mm + _ROUNDING_MM
    is_down: BoolArray = -(normals @ to_machine[2]) > _DOWN
    is_level: BoolArray = np.abs(normals @ to_machine[2]) > _DOWN
    return OnBed(lies=bool((is_low & is_down).all()), stands=bool((is_low & ~is_level).any()))
