"""Signed deviations of a scan from its part, point by point and gathered on the part's surface."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.scans.fine import PoseInformation, plane_rows
from dryfit.calc.scans.rigid import RigidMotion
from dryfit.calc.scans.surface import NominalSurface
from dryfit.calc.scans.thinning import drop_sparse

MOST_SAMPLES, _LEAST_SAMPLES = 40_000, 300
_PER_DIAGONAL = 120.0  # samples along the diagonal of the part
LEAST_COUNT = 3  # points that a sample needs before anything is said about it
_LOCAL = 6.0  # times the local scatter beyond which a point is an outlier (common practice, no source)
_APART = 0.1  # of the diagonal between two worst places
_CHUNK = 1 << 17


@dataclass(frozen=True, slots=True, eq=False)
class PointDeviations:
    """Every point of a scan against the part.

    distance_mm (n,) positive outside the material    foot_mm (n, 3), normal (n, 3), triangle (n,) of the part
    is_used (n,) False for outliers: for those not near the part the rest is not known, the distance infinite
    beyond, alone  how many lie out of reach, or alone in the room
    """

    distance_mm: Array
    foot_mm: Array
    normal: Array
    triangle: IntArray
    is_used: BoolArray
    beyond: int
    alone: int


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceMap:
    """Deviations gathered on even samples of the part's surface.

    points (s, 3) [mm], normals (s, 3), triangle (s,) of the prepared surface
    count         (s,) points of the scan gathered here, or at a sample within the spacing
    deviation_mm  (s,) their median, positive outside; NaN where there is no scan
    std_mm        (s,) standard uncertainty: scatter here, pose, and the scanner's stated one; NaN likewise
    spacing_mm    between samples, roughly
    local         how many points were left out here as outliers of their surroundings
    """

    points: Array
    normals: Array
    triangle: IntArray
    count: IntArray
    deviation_mm: Array
    std_mm: Array
    spacing_mm: float
    local: int

    @property
    def is_seen(self) -> BoolArray:
        """(s,) whether enough points of the scan lie there."""
        return np.asarray(self.count >= LEAST_COUNT)


@dataclass(frozen=True, slots=True)
class Statistics:
    """Over the surface that the scan shows [mm]; covered: its share of the whole. size_95: |deviation| of 95 %."""

    covered: float
    mean_mm: float
    rms_mm: float
    lowest_mm: float
    highest_mm: float
    size_95_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class WorstPlace:
    """Where the deviation is largest. point_mm (3,), normal (3,) of the part."""

    point_mm: Array
    normal: Array
    deviation_mm: float
    std_mm: float


def deviate_points(
    surface: NominalSurface,
    points: Array,
    motion: RigidMotion,
    reach_mm: float,
    progress: Callable[[int, int], None] | None = None,
) -> PointDeviations:
    """Signed distance of every point (n, 3) [mm], laid on the part by `motion`.

    reach_mm : points farther off are outliers; so are points that stand alone
    """
    count = len(points)
    distance, foot, normal = np.full(count, np.inf), np.array(points), np.zeros((count, 3))
    triangle = np.zeros(count, dtype=np.int64)
    low, high = surface.bounds[0] - reach_mm, surface.bounds[1] + reach_mm
    crowded = np.zeros(count, dtype=np.bool_)
    crowded[drop_sparse(points, surface.diagonal_mm / 45.0)] = True
    inside = np.zeros(count, dtype=np.bool_)
    for start in range(0, count, _CHUNK):
        block = slice(start, min(start + _CHUNK, count))
        placed = motion.apply(points[block])
        inside[block] = ((placed >= low) & (placed <= high)).all(axis=1)
        # What lies alone or out of the box is no part of the surface, and slow to look up.
        wanted = start + np.flatnonzero(crowded[block] & inside[block])
        near = surface.nearest(placed[wanted - start])
        distance[wanted], foot[wanted], normal[wanted] = near.distance_mm, near.foot_mm, near.normal
        triangle[wanted] = near.triangle
        if progress is not None:
            progress(block.stop, count)
    reached = np.abs(distance) <= reach_mm
    alone = inside & ~crowded
    used = reached & crowded
    beyond = int(count - used.sum() - alone.sum())
    return PointDeviations(distance, foot, normal, triangle, used, beyond, int(alone.sum()))


def map_deviations(
    surface: NominalSurface,
    found: PointDeviations,
    information: PoseInformation,
    scanner_std_mm: float = 0.0,
) -> SurfaceMap:
    """Deviations on even samples of the surface: median of the points whose foot is nearest to each.

    scanner_std_mm : stated standard uncertainty of the scanner; it is taken as common to all points of a place
    The std of a median of n normal values is sqrt(pi / 2 / n) times their scatter (memory).
    """
    spacing = surface.diagonal_mm / _PER_DIAGONAL
    # Few enough that a sample can expect a dozen points where the scan is: one without is then a gap, not chance.
    most = min(MOST_SAMPLES, max(int(found.is_used.sum()) // 12, _LEAST_SAMPLES))
    count = int(np.clip(surface.areas.sum() / spacing**2, min(2000, most), most))
    spacing = float(np.sqrt(surface.areas.sum() / count))
    points, normals, triangle = surface.sample(count, seed=11)
    used = np.flatnonzero(found.is_used)
    where = _gather(points, normals, found.foot_mm[used], found.normal[used], spacing)
    value = found.distance_mm[used]
    held, middle = medians_by(where, value, count)
    scatter = 1.4826 * medians_by(where, np.abs(value - middle[where]), count)[1]
    # A few points may agree by chance; the usual scatter is the least that is believed.
    usual = float(np.median(scatter[held >= LEAST_COUNT])) if (held >= LEAST_COUNT).any() else 0.0
    scatter = np.maximum(scatter, usual)
    kept = np.abs(value - middle[where]) <= _LOCAL * np.maximum(scatter[where], 1e-9 * surface.diagonal_mm)
    held, middle = medians_by(where[kept], value[kept], count)
    variance = 0.5 * np.pi * scatter**2 / np.maximum(held, 1) + scanner_std_mm**2
    variance += pose_variance(points, normals, information)
    held, middle, variance = _lend(points, normals, spacing, held, middle, variance)
    seen = held >= LEAST_COUNT
    return SurfaceMap(
        points,
        normals,
        triangle,
        held,
        np.where(seen, middle, np.nan),
        np.where(seen, np.sqrt(variance), np.nan),
        spacing,
        int((~kept).sum()),
    )


def _lend(
    points: Array, normals: Array, spacing: float, held: IntArray, middle: Array, variance: Array
) -> tuple[IntArray, Array, Array]:
    """Samples that stand so close to others that few feet are nearest to them take what those have.

    Only from within the spacing of the samples: a gap in the scan stays a gap.
    """
    from scipy.spatial import cKDTree

    rich, poor = np.flatnonzero(held >= LEAST_COUNT), np.flatnonzero(held < LEAST_COUNT)
    if not len(rich) or not len(poor):
        return held, middle, variance
    lift = 2.0 * spacing
    tree = cKDTree(points[rich] + lift * normals[rich])
    apart, index = tree.query(points[poor] + lift * normals[poor], distance_upper_bound=spacing)
    near = np.isfinite(apart)
    taker, giver = poor[near], rich[index[near]]
    held, middle, variance = held.copy(), middle.copy(), variance.copy()
    held[taker], middle[taker], variance[taker] = held[giver], middle[giver], variance[giver]
    return held, middle, variance


def pose_variance(points: Array, normals: Array, information: PoseInformation) -> Array:
    """Variance (n,) [mm2] that the pose's covariance gives to deviations at points (n, 3)."""
    row = plane_rows(points, normals, information.middle, information.length_mm)
    variance: Array = np.einsum("ni,ij,nj->n", row, information.covariance, row)
    return np.maximum(variance, 0.0)


def _gather(points: Array, normals: Array, foot: Array, normal: Array, spacing: float) -> IntArray:
    """Nearest sample of each foot; both lifted along their normals, so that thin walls keep their sides."""
    from scipy.spatial import cKDTree

    tree = cKDTree(points + 2.0 * spacing * normals)
    where = np.empty(len(foot), dtype=np.int64)
    for start in range(0, len(foot), _CHUNK):
        stop = start + _CHUNK
        where[start:stop] = tree.query(foot[start:stop] + 2.0 * spacing * normal[start:stop], workers=2)[1]
    return where


def medians_by(where: IntArray, value: Array, count: int) -> tuple[IntArray, Array]:
    """How many values each place holds, and their median; 0 where it holds none."""
    order = np.argsort(value)
    # Sixteen bits are sorted in one pass.
    order = order[np.argsort(where[order].astype(np.uint16 if count <= 1 << 16 else np.int64), kind="stable")]
    held = np.bincount(where, minlength=count)
    first = np.concatenate([[0], np.cumsum(held)[:-1]])
    ranked = np.append(value[order], 0.0)
    low, high = first + np.maximum(held - 1, 0) // 2, first + held // 2
    middle = 0.5 * (ranked[np.minimum(low, len(value))] + ranked[np.minimum(high, len(value))])
    return held, np.where(held > 0, middle, 0.0)


def summarise(found: SurfaceMap) -> Statistics:
    """Figures of a map over the surface that the scan shows."""
    value = found.deviation_mm[found.is_seen]
    if not len(value):
        return Statistics(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    return Statistics(
        covered=len(value) / len(found.points),
        mean_mm=float(value.mean()),
        rms_mm=float(np.sqrt((value**2).mean())),
        lowest_mm=float(value.min()),
        highest_mm=float(value.max()),
        size_95_mm=float(np.quantile(np.abs(value), 0.95)),
    )


def find_worst(found: SurfaceMap, most: int = 6) -> tuple[WorstPlace, ...]:
    """Places of the largest deviations, apart from one another, largest first."""
    seen = np.flatnonzero(found.is_seen)
    order = seen[np.argsort(-np.abs(found.deviation_mm[seen]))]
    apart = _APART * float(np.linalg.norm(np.ptp(found.points, axis=0)))
    kept: list[int] = []
    for k in order:
        if all(np.linalg.norm(found.points[k] - found.points[j]) > apart for j in kept):
            kept.append(int(k))
        if len(kept) == most:
            break
    return tuple(
        WorstPlace(found.points[k], found.normals[k], float(found.deviation_mm[k]), float(found.std_mm[k]))
        for k in kept
    )


def deviations_at(found: SurfaceMap, points: Array, normals: Array) -> Array:
    """Deviation (n,) [mm] at points (n, 3) of the surface with normals (n, 3): that of the nearest sample.

    NaN where the nearest sample has no scan, or none is near. For vertices of the part's mesh in a view.
    """
    from scipy.spatial import cKDTree

    lift = 2.0 * found.spacing_mm
    tree = cKDTree(found.points + lift * found.normals)
    apart, index = tree.query(points + lift * normals, workers=2)
    near = apart < 4.0 * found.spacing_mm
    return np.where(near, found.deviation_mm[index], np.nan)
