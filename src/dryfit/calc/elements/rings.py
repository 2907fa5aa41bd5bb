"""Minimum zone of circularity: the narrowest pair of concentric circles that holds all points, exactly.

By exchange: the narrowest ring of a few of the points, found by trying every centre that can be the best, is a
lower bound for all of them. While points stand out of it they join the few; when none does, it is the narrowest
ring of all points.
Source of the candidates: a narrowest ring has two points on its outer and two on its inner circle, so that its
centre lies where the bisectors of two pairs of points cross; Ebara and others 1989 (memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, locked
from dryfit.calc.elements.checking import checked_points, refusal
from dryfit.calc.elements.circles import fit_circle

_EXACT = 1e-12  # of the radius: what stands out by less is rounding
_FARTHEST = 1e5  # of the radius: a centre beyond has lost its digits
_ROUNDS = 200
_SECTORS = 8
_ROWS = 64


@dataclass(frozen=True, slots=True, eq=False)
class _Centres:
    """Candidates (k, 2), with the least and largest distance (k,) of the points chosen so far."""

    places: Array
    least: Array
    largest: Array

    def within(self, width: float) -> _Centres:
        """Those whose ring may still be narrower than the width."""
        kept = self.largest - self.least <= width
        return _Centres(self.places[kept], self.least[kept], self.largest[kept])


def minimum_zone_circularity(points: Array) -> tuple[Array, float]:
    """Centre (2,) and width of the narrowest ring that holds points (n, 2), n >= 4: their circularity.

    Exact to rounding. Three points lie on a circle, and have a width of zero.
    Raises ComputationRefused where a least-squares circle is refused, or where two parallel lines hold the
    points as closely as any ring: the points are as straight as they are round.
    Source: ISO 12181-1:2011, minimum zone reference circles (memory).
    """
    kept = checked_points(points, 2, 3, "minimum zone")
    start = fit_circle(kept)
    local = (kept - start.centre) / start.radius
    centre, width = np.zeros(2), float(np.ptp(np.linalg.norm(local, axis=1)))
    if width > _EXACT and len(kept) > 3:
        centre, width = _narrowest(local, width)
        _refuse_straight(local, width)
    return locked(start.centre + start.radius * centre, (2,), "centre"), start.radius * width


def _narrowest(local: Array, width: float) -> tuple[Array, float]:
    """Centre and width of the narrowest ring of points (n, 2), which have a ring of that width about 0."""
    chosen = _outermost(local)
    fresh = len(chosen)
    empty = np.zeros(0)
    centres = _Centres(np.zeros((0, 2)), empty, empty)
    for _ in range(_ROUNDS):
        few = local[chosen]
        centres = _with_distances(centres, few[len(few) - fresh :]).within(width + _EXACT)
        centres = _joined(centres, _new_centres(few, fresh, width + _EXACT))
        if len(centres.places) == 0:
            break
        best = int((centres.largest - centres.least).argmin())
        centre = centres.places[best]
        bound = float(centres.largest[best] - centres.least[best])
        away = np.linalg.norm(local - centre, axis=1)
        width = min(width, float(np.ptp(away)))
        if float(np.ptp(away)) <= bound + _EXACT:
            return centre, float(np.ptp(away))
        extra = np.setdiff1d([away.argmin(), away.argmax()], chosen)
        chosen, fresh = np.concatenate([chosen, extra]), len(extra)
    what = "the search for the narrowest ring does not end"
    raise refusal("minimum zone", len(local), what, "pick a face that reaches further round")


def _outermost(local: Array) -> IntArray:
    """Indices of the nearest and farthest point of each sector."""
    away = np.linalg.norm(local, axis=1)
    sector = ((np.arctan2(local[:, 1], local[:, 0]) / (2.0 * np.pi) % 1.0) * _SECTORS).astype(int) % _SECTORS
    order = np.lexsort((away, sector))
    ends = np.flatnonzero(np.diff(sector[order]))
    chosen = np.unique(np.concatenate([order[[0, -1]], order[ends], order[ends + 1]]))
    if len(chosen) < 4:
        chosen = np.union1d(chosen, order[np.linspace(0, len(order) - 1, 4).astype(int)])
    return chosen.astype(np.int64)


def _new_centres(few: Array, fresh: int, width: float) -> _Centres:
    """Centres where a bisector of a pair with one of the last fresh points crosses any other bisector."""
    first, second = np.triu_indices(len(few), 1)
    slopes = 2.0 * (few[second] - few[first])
    levels = (few[second] ** 2).sum(axis=1) - (few[first] ** 2).sum(axis=1)
    new = np.flatnonzero(second >= len(few) - fresh)
    found = []
    for begin in range(0, len(new), _ROWS):
        rows = new[begin : begin + _ROWS]
        places = _crossings(slopes[rows], levels[rows], slopes, levels)
        empty = np.full(len(places), np.inf)
        found.append(_with_distances(_Centres(places, empty, -empty), few).within(width))
    return _joined(*found)


def _crossings(slopes: Array, levels: Array, other_slopes: Array, other_levels: Array) -> Array:
    """Points (k, 2) where lines s . c = l of the first kind cross those of the second, none far away."""
    turn = slopes[:, :1] * other_slopes[:, 1] - slopes[:, 1:] * other_slopes[:, 0]
    x = levels[:, None] * other_slopes[:, 1] - slopes[:, 1:] * other_levels
    y = slopes[:, :1] * other_levels - levels[:, None] * other_slopes[:, 0]
    near = np.maximum(np.abs(x), np.abs(y)) < _FARTHEST * np.abs(turn)
    crossings: Array = np.column_stack([x[near], y[near]]) / turn[near, None]
    return crossings


def _with_distances(centres: _Centres, points: Array) -> _Centres:
    least, largest = centres.least.copy(), centres.largest.copy()
    for point in points:
        away = np.hypot(centres.places[:, 0] - point[0], centres.places[:, 1] - point[1])
        np.minimum(least, away, out=least)
        np.maximum(largest, away, out=largest)
    return _Centres(centres.places, least, largest)


def _joined(*several: _Centres) -> _Centres:
    return _Centres(
        np.concatenate([centres.places for centres in several]),
        np.concatenate([centres.least for centres in several]),
        np.concatenate([centres.largest for centres in several]),
    )


def _refuse_straight(local: Array, width: float) -> None:
    """Raise ComputationRefused where the narrowest strip of points (n, 2) is no wider than the ring."""
    from scipy.spatial import ConvexHull

    corners = local[ConvexHull(local).vertices]
    sides = np.roll(corners, -1, axis=0) - corners
    normals = np.column_stack([-sides[:, 1], sides[:, 0]]) / np.linalg.norm(sides, axis=1)[:, None]
    strip = min(float(np.ptp(corners @ normal)) for normal in normals)
    if strip <= width:
        what = "two parallel lines hold the points as closely as any ring: they are as straight as round"
        raise refusal("minimum zone", len(local), what, "pick a face that reaches further round")
