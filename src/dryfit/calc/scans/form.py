"""A printed part that is larger, smaller or leaning as a whole: which points are of it, and its pose by all of these.

A fit that takes every point beyond a few scatters for an outlier locks onto whatever part of a strained body it lies on
best: the ends of a bar that is half a per cent short both lie off by far more than the scanner scatters, and then
nothing holds the bar along its length. So outliers are judged against the part as it is strained, and the pose is the
least-squares one over all points that are of the part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.scans.fine import TUKEY, FinePose, plane_rows, robust_scatter
from dryfit.calc.scans.rigid import RigidMotion, small_motion
from dryfit.calc.scans.sampled import ClosestSurface
from dryfit.calc.scans.surface import NominalSurface

# Of each of the six strains of a printed part (common practice, no source): what the scan does not show stays small.
STRAIN_STD = 0.005
_ROUNDS, _POLISH = 25, 4
_STILL = 1e-5  # share of the diagonal
_REACH = 0.02  # of the diagonal, at first: a pose that slid along the part is drawn back
_STRAINED = 2.0  # scatters by which the strain must move some corner before it is believed
_PAIRS = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))


@dataclass(frozen=True, slots=True, eq=False)
class Form:
    """A pose with a strain about the middle of the part.

    motion   scan to part
    strain   (3, 3) symmetric: a point of the part at a from the middle is printed at a + strain a
    scatter_mm  robust standard deviation of the distances from the strained part
    reach_mm    distance from it beyond which a point is none of it
    middle_mm   (3,) of the part
    """

    motion: RigidMotion
    strain: Array
    scatter_mm: float
    reach_mm: float
    middle_mm: Array

    def relax(self, points: Array) -> Array:
        """Points (n, 3) of the scan as they would be without the strain, in the scan's own position."""
        placed = self.motion.apply(points)
        return self.motion.inverse().apply(placed - (placed - self.middle_mm) @ self.strain)

    def largest_mm(self, surface: NominalSurface) -> float:
        """By how much the strain moves the corner of the part's box that it moves most."""
        corners = np.array(np.meshgrid(*surface.bounds.T)).reshape(3, -1).T - self.middle_mm
        return float(np.linalg.norm(corners @ self.strain, axis=1).max())

    def is_strained(self, surface: NominalSurface, scatter_mm: float) -> bool:
        """Whether the strain moves a corner of the part by more than the scatter of points on it explains."""
        return self.largest_mm(surface) > _STRAINED * max(scatter_mm, self.scatter_mm)


def refine_form(surface: ClosestSurface, points: Array, start: FinePose) -> Form:
    """The pose and the strain near a pose with the least robust sum of squared distances.

    points (n, 3) [mm] of the scan. Each strain is drawn toward none with STRAIN_STD, so that a piece of the part tells
    a pose, too. Source: iteratively reweighted least squares with a Gaussian prior (memory).
    """
    motion, strain = start.motion, np.zeros((3, 3))
    diagonal, middle = surface.diagonal_mm, surface.centre_mm
    reach = max(3.0 * TUKEY * start.scatter_mm, _REACH * diagonal)
    floor, length = 1e-7 * diagonal, 0.25 * diagonal
    scatter = start.scatter_mm
    for _ in range(_ROUNDS):
        placed = motion.apply(points)
        relaxed = placed - (placed - middle) @ strain
        near = surface.nearest(relaxed)
        height = np.einsum("ni,ni->n", relaxed - near.foot_mm, near.normal)
        apart = np.abs(near.distance_mm)
        inside = apart < reach
        if inside.sum() < 24:
            break
        scatter = robust_scatter(near.distance_mm[inside], floor)
        limit = TUKEY * scatter
        is_settled = reach <= 1.05 * limit
        reach = min(reach, max(limit, 0.7 * reach, floor))
        weight = np.clip(1.0 - (apart / reach) ** 2, 0.0, 1.0) ** 2
        rows = np.column_stack(
            [
                plane_rows(relaxed, near.normal, middle, length),
                _strain_rows(near.foot_mm - middle, near.normal),
            ]
        )
        now = np.array([strain[pair] for pair in _PAIRS])
        step, change = _solve(rows, weight, height, now, max(scatter, floor) / STRAIN_STD)
        motion = small_motion(np.concatenate([step[:3] / length, step[3:]]), middle).after(motion)
        for pair, value in zip(_PAIRS, change, strict=True):
            strain[pair] += value
            strain[pair[::-1]] = strain[pair]
        moved = float(np.abs(step).max()) + float(np.abs(change).max()) * diagonal
        if is_settled and moved < _STILL * diagonal:
            break
    return Form(motion, strain, scatter, max(reach, TUKEY * scatter), middle)


def pose_by_all(surface: NominalSurface, points: Array, form: Form, start: RigidMotion) -> RigidMotion:
    """The least-squares pose over all points (n, 3) of the scan that are of the strained part.

    start : of the scan without its strain
    """
    middle, length = surface.centre_mm, 0.25 * surface.diagonal_mm
    apart = np.abs(surface.nearest(start.apply(form.relax(points))).distance_mm)
    mine = apart < form.reach_mm
    weight = (1.0 - (apart[mine] / form.reach_mm) ** 2) ** 2
    motion, of_part = start, points[mine]
    for _ in range(_POLISH):
        placed = motion.apply(of_part)
        near = surface.nearest(placed)
        height = np.einsum("ni,ni->n", placed - near.foot_mm, near.normal)
        rows = plane_rows(placed, near.normal, middle, length)
        matrix = (weight[:, None] * rows).T @ rows
        step = -np.linalg.lstsq(matrix, rows.T @ (weight * height), rcond=1e-9)[0]
        motion = small_motion(np.concatenate([step[:3] / length, step[3:]]), middle).after(motion)
        if np.abs(step).max() < _STILL * surface.diagonal_mm:
            break
    return motion


def _strain_rows(arm: Array, normal: Array) -> Array:
    """(n, 6) how the height of each point over its plane falls with each strain.

    arm (n, 3) from the middle to its place on the surface: not to the point, whose noise a strain would take up.
    """
    columns = [arm[:, i] * normal[:, j] + (arm[:, j] * normal[:, i] if i != j else 0.0) for i, j in _PAIRS]
    return -np.column_stack(columns)


def _solve(rows: Array, weight: Array, height: Array, strain: Array, drawn: float) -> tuple[Array, Array]:
    """Steps (6,) of the pose and (6,) of the strains; the strains are drawn toward none."""
    matrix = (weight[:, None] * rows).T @ rows
    right = rows.T @ (weight * height)
    for place in range(6):
        matrix[6 + place, 6 + place] += drawn**2
        right[6 + place] += drawn**2 * strain[place]
    size = np.sqrt(np.maximum(np.diag(matrix), 1e-30))
    scaled = matrix / np.outer(size, size)
    values, vectors = np.linalg.eigh(scaled)
    held = values > 1e-9 * values[-1]
    back = vectors.T @ (right / size)
    step = -(vectors @ np.where(held, back / np.where(held, values, 1.0), 0.0)) / size
    return step[:6], step[6:]
