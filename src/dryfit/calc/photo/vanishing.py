"""Vanishing points of parallel lines, and the horizon."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.calc.photo.records import block_diagonal, chance_of, mark_covariances, refusal, slopes

WHERE = "a vanishing point"
_MOST_STEPS = 100


@dataclass(frozen=True, slots=True, eq=False)
class VanishingPoint:
    """Where parallel lines meet on the picture.

    point       (3,) homogeneous [px, px, 1] of unit norm; the last is near zero for lines that stay parallel
    covariance  (3, 3) of it, of rank two
    normalised  (n,) test value of each segment, standard normal without blunders; NaN where there are only two
    vpv, dof, p_value  of the test that all segments meet
    """

    point: Array
    covariance: Array
    normalised: Array
    vpv: float
    dof: int
    p_value: float | None

    @property
    def place_px(self) -> Array:
        """(2,) [px]; infinite where the lines stay parallel on the picture."""
        with np.errstate(divide="ignore", invalid="ignore"):
            place: Array = self.point[:2] / self.point[2]
        return place


def fit_vanishing_point(segments_px: Array, std_px: float | Array) -> VanishingPoint:
    """The point in which segments of parallel lines meet, with its covariance.

    segments_px : (n, 2, 2) both ends of each, free of lens distortion   std_px : of a coordinate of an end, one,
    or (n, 2) for each end
    Raises ComputationRefused for fewer than two segments, where an end coincides with the other, or where all
    segments lie on one line.
    Source: conditions between observations adjusted after Helmert (memory): each segment, prolonged, meets the point.
    """
    segments = locked(segments_px, (None, 2, 2), "segments_px")
    count = len(segments)
    if count < 2:
        raise refusal(f"{count} segments do not meet in a point", WHERE, "mark two or more parallel lines")
    spread = np.broadcast_to(np.asarray(std_px, dtype=np.float64), (count, 2))
    noise = mark_covariances(spread.ravel(), 2 * count)
    lengths = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    short = np.flatnonzero(lengths <= 3.0 * spread.max(axis=1))
    if len(short):
        raise refusal(f"the ends of segment {short[0] + 1} coincide", WHERE, "mark a longer stretch")
    centre, scale = (
        segments.mean(axis=(0, 1)),
        1.0 / max(float(np.ptp(segments.reshape(-1, 2), axis=0).max()), 1.0),
    )
    inner = np.array([[scale, 0.0, -scale * centre[0]], [0.0, scale, -scale * centre[1]], [0.0, 0.0, 1.0]])
    ends = (segments - centre) * scale
    point, covariance, tests = _meet(ends, noise.reshape(count, 2, 2, 2) * scale**2)
    outer = np.linalg.inv(inner)
    return _in_pixels(outer, point, covariance, tests)


def _in_pixels(
    outer: Array, point: Array, covariance: Array, tests: tuple[Array, float, int]
) -> VanishingPoint:
    there = outer @ point
    size = float(np.linalg.norm(there))
    unit = there / size
    onto = (np.eye(3) - np.outer(unit, unit)) @ outer / size
    sign = -1.0 if unit[2] < 0.0 else 1.0
    normalised, vpv, dof = tests
    return VanishingPoint(sign * unit, onto @ covariance @ onto.T, normalised, vpv, dof, chance_of(vpv, dof))


def _meet(ends: Array, noise: Array) -> tuple[Array, Array, tuple[Array, float, int]]:
    """Point of unit norm, its covariance (3, 3), and test values, weighted sum of squares and freedom."""
    count = len(ends)
    lines = _lines(ends)
    point = np.linalg.svd(lines / np.linalg.norm(lines[:, :2], axis=1)[:, None])[2][-1]
    moved = ends.copy()
    for _ in range(_MOST_STEPS):
        lines = _lines(moved)
        slope = _by_ends(moved, point)  # (n, 2, 2): of point . line by each end
        weighted = np.einsum("nejk,nek->nej", noise, slope)
        variance = (slope * weighted).sum(axis=(1, 2))
        # what the condition would be at the marks as they were measured
        gap = lines @ point + (slope * (ends - moved)).sum(axis=(1, 2))
        basis = np.linalg.svd(point[None, :])[2][1:].T
        design = lines @ basis / np.sqrt(variance)[:, None]
        if np.linalg.cond(design) > 1e7:
            raise refusal("all segments lie on one line", WHERE, "mark lines that are apart from one another")
        covariance = np.linalg.inv(design.T @ design)
        step = -covariance @ (design.T @ (gap / np.sqrt(variance)))
        residual = gap + lines @ basis @ step
        new = point + basis @ step
        new /= np.linalg.norm(new)
        settled = np.abs(step).max() < 1e-12 or float(step @ (design.T @ design) @ step) < 1e-12
        point = new
        moved = ends - weighted * (residual / variance)[:, None, None]
        if settled:
            break
    share = 1.0 - ((design @ covariance) * design).sum(axis=1)
    normalised = np.full(count, np.nan)
    able = share > 1e-9
    normalised[able] = (residual / np.sqrt(variance))[able] / np.sqrt(share[able])
    vpv = float((residual**2 / variance).sum())
    return point, basis @ covariance @ basis.T, (normalised, vpv, count - 2)


def _lines(ends: Array) -> Array:
    """(n, 3) lines through both ends."""
    one = np.ones((len(ends), 1))
    return np.cross(np.hstack([ends[:, 0], one]), np.hstack([ends[:, 1], one]))


def _by_ends(ends: Array, point: Array) -> Array:
    """(n, 2, 2) derivatives of point . (first x second) by the first end and by the second."""
    one = np.ones((len(ends), 1))
    first, second = np.hstack([ends[:, 0], one]), np.hstack([ends[:, 1], one])
    return np.stack([np.cross(second, point)[:, :2], np.cross(point, first)[:, :2]], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Horizon:
    """line (3,): its first two figures of unit norm, so that line @ (x, y, 1) is a distance [px]; covariance (3, 3)."""

    line: Array
    covariance: Array


def horizon_through(points: Sequence[VanishingPoint]) -> Horizon:
    """The horizon of level ground, through vanishing points of two or more level directions.

    Raises ComputationRefused for fewer than two, or where they coincide.
    Source: least squares over the points, each by its covariance (memory).
    """
    if len(points) < 2:
        raise refusal("one vanishing point gives no horizon", "the horizon", "mark a second level direction")
    stacked = np.concatenate([each.point for each in points])
    covariance = block_diagonal(np.array([each.covariance for each in points]))
    line = _horizon_line(stacked, _horizon_weights(points))
    weights = _horizon_weights(points)
    turned = np.linalg.svd(np.array([each.point for each in points]) * weights[:, None])[1]
    if turned[1] < 1e-9 * turned[0]:
        raise refusal("the vanishing points coincide", "the horizon", "mark a second level direction")
    slope = slopes(lambda at: _horizon_line(at, weights), stacked, np.full(len(stacked), 1e-3))
    return Horizon(line, slope @ covariance @ slope.T)


def _horizon_weights(points: Sequence[VanishingPoint]) -> Array:
    """Weight of each point by how well it is known across the line through the two that are farthest apart."""
    rough = _horizon_line(np.concatenate([each.point for each in points]), np.ones(len(points)))
    variance = np.array([float(rough @ each.covariance @ rough) for each in points])
    weights: Array = 1.0 / np.sqrt(np.maximum(variance, 1e-30 + 1e-12 * variance.max()))
    return weights


def _horizon_line(stacked: Array, weights: Array) -> Array:
    rows = stacked.reshape(-1, 3)
    # x and y are hundreds or thousands of times the last figure: balanced before the line is sought
    scale = 1.0 / max(float(np.abs(rows[:, :2]).max() / max(np.abs(rows[:, 2]).max(), 1e-12)), 1e-12)
    scale = float(np.clip(scale, 1e-5, 1.0))
    balanced = rows * np.array([scale, scale, 1.0])
    line = np.linalg.svd(balanced * weights[:, None] / np.linalg.norm(balanced, axis=1)[:, None])[2][-1]
    line = line * np.array([scale, scale, 1.0])
    line = line / np.linalg.norm(line[:2])
    # y runs down: the ground lies on the positive side of an upright picture
    upright: Array = line * (1.0 if line[1] > 0.0 or (line[1] == 0.0 and line[0] > 0.0) else -1.0)
    return upright
