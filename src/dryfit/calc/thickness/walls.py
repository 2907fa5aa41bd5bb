"""Thin places of a surface, and how its area is shared among thicknesses."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.calc.thickness.maps import ThicknessMap

# Thin samples nearer to one another than so many times their own spacing are one place.
_SAME_PLACE = 2.5


@dataclass(frozen=True, slots=True, eq=False)
class ThinPlace:
    """Samples of walls below a limit that lie together.

    least_mm   thinnest of them, at point_mm (3,)
    taper_deg  median angle between the two sides; near 0 for a wall of even thickness
    area_mm2   of the surface for which they stand, both sides counted
    samples    their numbers in the map
    """

    least_mm: float
    point_mm: Array
    taper_deg: float
    area_mm2: float
    samples: IntArray


@dataclass(frozen=True, slots=True, eq=False)
class Histogram:
    """edges_mm (b + 1,); area_mm2 (b,) of the surface whose wall lies in each interval, the last one open."""

    edges_mm: Array
    area_mm2: Array


def least_walls(measured: ThicknessMap, below_mm: float) -> tuple[ThinPlace, ...]:
    """Places where the wall is thinner than a limit, thinnest first.

    Only samples whose two surfaces face one another count: the taper to nothing beside a blunt edge is no
    wall. The places are as fine as the sampling.
    """
    thin = np.flatnonzero(measured.thickness.is_wall & (measured.wall_mm < below_mm))
    if not len(thin):
        return ()
    reach = _SAME_PLACE * float(np.sqrt(measured.area_mm2.sum() / len(measured.points)))
    groups = _groups_within(measured.points[thin], reach)
    places = [_place(measured, thin[groups == number]) for number in range(int(groups.max()) + 1)]
    return tuple(sorted(places, key=lambda place: (place.least_mm, tuple(place.point_mm))))


def _groups_within(points: Array, reach_mm: float) -> IntArray:
    """(n,) number of the group of each point; a chain of steps below reach_mm joins two points."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components
    from scipy.spatial import cKDTree

    pairs = cKDTree(points).query_pairs(reach_mm, output_type="ndarray")
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points), len(points)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _place(measured: ThicknessMap, samples: IntArray) -> ThinPlace:
    least = samples[np.argmin(measured.wall_mm[samples])]
    return ThinPlace(
        least_mm=float(measured.wall_mm[least]),
        point_mm=measured.points[least],
        taper_deg=float(np.median(measured.thickness.taper_deg[samples])),
        area_mm2=float(measured.area_mm2[samples].sum()),
        samples=samples,
    )


def wall_histogram(measured: ThicknessMap, most_mm: float, bins: int) -> Histogram:
    """Area by wall thickness, in intervals of equal width from 0 to most_mm and one for all above.

    Samples whose ray never left the body are left out.
    """
    edges = np.linspace(0.0, most_mm, bins + 1)
    wall = measured.wall_mm
    known = np.isfinite(wall)
    number = np.minimum(np.searchsorted(edges, wall[known], side="right") - 1, bins)
    area: Array = np.zeros(bins + 1)
    np.add.at(area, number, measured.area_mm2[known])
    return Histogram(np.append(edges, np.inf), area)
