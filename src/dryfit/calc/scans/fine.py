"""The exact fit: robust point-to-plane least squares against the surface itself, and how sure it is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross
from dryfit.calc.scans.rigid import RigidMotion, small_motion
from dryfit.calc.scans.sampled import ClosestSurface
from dryfit.calc.scans.surface import NominalSurface
from dryfit.calc.scans.thinning import voxel_keys

# Tukey's constant for 95 % efficiency (memory).
TUKEY = 4.685
_ROUNDS = 40
CONVERGED = 1e-6  # share of the diagonal by which no point moves any more
_BLOCKS = 10  # along the diagonal: residuals within a block go together


@dataclass(frozen=True, slots=True, eq=False)
class FinePose:
    """A pose of the scan on the part.

    motion      scan to part
    scatter_mm  robust standard deviation of the distances of the points on the part
    share       of the points that lie on the part
    is_converged  the last round moved nothing worth mentioning
    rounds      taken
    """

    motion: RigidMotion
    scatter_mm: float
    share: float
    is_converged: bool
    rounds: int


def robust_scatter(distance: Array, floor_mm: float) -> float:
    """Standard deviation [mm] of the bulk of signed distances about zero, outliers cut off at three times it.

    floor_mm : what the digits of the coordinates leave
    """
    size = np.abs(distance)
    scatter = 1.4826 * float(np.median(size)) if len(size) else 0.0
    for _ in range(20):
        kept = size[size <= 3.0 * max(scatter, floor_mm)]
        # Of a normal distribution the root mean square within three standard deviations is 0.9866 of it.
        found = math.sqrt(float((kept**2).mean())) / 0.9866 if len(kept) else 0.0
        if abs(found - scatter) <= 1e-4 * max(scatter, floor_mm):
            break
        scatter = found
    return max(scatter, floor_mm)


def refine_pose(
    surface: ClosestSurface,
    points: Array,
    start: RigidMotion,
    reach_mm: float,
    rounds: int = _ROUNDS,
    still: float = CONVERGED,
) -> FinePose:
    """The pose near `start` with the least robust sum of squared distances to the surface.

    points (n, 3) [mm] of the scan; reach_mm: how far they may lie off at first
    still : share of the diagonal; a step that moves no point by more is the last
    The reach shrinks to Tukey's limit for the scatter found, so that points off the part lose their weight.
    Source: iteratively reweighted least squares; point-to-plane steps of Chen and Medioni 1992 (memory).
    """
    motion, reach = start, reach_mm
    floor = 1e-7 * surface.diagonal_mm
    scatter, is_converged, taken = reach_mm, False, 0
    active = points
    for taken in range(1, rounds + 1):
        placed = motion.apply(active)
        near = surface.nearest(placed)
        height = np.einsum("ni,ni->n", placed - near.foot_mm, near.normal)
        apart = np.abs(near.distance_mm)
        inside = apart < reach
        if inside.sum() < 12:
            break
        scatter = robust_scatter(near.distance_mm[inside], floor)
        limit = TUKEY * scatter
        is_settled = reach <= 1.05 * limit
        # The reach only shrinks, and not too fast: the first pose may be off by much.
        reach = min(reach, max(limit, 0.5 * reach, floor))
        weight = np.clip(1.0 - (apart / reach) ** 2, 0.0, 1.0) ** 2
        middle = surface.centre_mm
        step = _solve(placed, near.normal, height, weight, middle, 0.25 * surface.diagonal_mm)
        motion = small_motion(step, middle).after(motion)
        if taken > 2:
            active = active[apart < 5.0 * reach]  # far points are slow to look up, and have no weight
        moved = float(np.linalg.norm(step[:3])) * 0.5 * surface.diagonal_mm + float(np.linalg.norm(step[3:]))
        if is_settled and moved < still * surface.diagonal_mm:
            is_converged = True
            break
    share = float((np.abs(surface.nearest(motion.apply(points)).distance_mm) < TUKEY * scatter).mean())
    return FinePose(motion, scatter, share, is_converged, taken)


def _solve(placed: Array, normal: Array, height: Array, weight: Array, middle: Array, length: float) -> Array:
    """The step (6,) that takes out the heights best; nothing is moved that the points do not hold."""
    row = plane_rows(placed, normal, middle, length)
    matrix = (weight[:, None] * row).T @ row
    values, vectors = np.linalg.eigh(matrix)
    held = values > 1e-9 * values[-1]
    right = vectors.T @ (row.T @ (weight * height))
    step = -vectors @ np.where(held, right / np.where(held, values, 1.0), 0.0)
    size = float(np.linalg.norm(step))
    if size > 0.3 * length:
        step = step * (0.3 * length / size)
    return np.concatenate([step[:3] / length, step[3:]])


def plane_rows(placed: Array, normal: Array, middle: Array, length: float) -> Array:
    """How each point's height (n,) over its plane moves with a step (6,); turns in units of 1 / length."""
    return np.concatenate([cross((placed - middle) / length, normal), normal], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class PoseInformation:
    """What holds a pose, about the middle of the part, turns scaled to mm by length_mm.

    matrix      (6, 6) normal matrix      covariance (6, 6) [mm2] of the step, in held directions
    values      (6,) ascending, vectors (6, 6) as columns: of the matrix
    scale, scale_std  size of the scan over that of the part, and its standard uncertainty
    """

    matrix: Array
    covariance: Array
    values: Array
    vectors: Array
    middle: Array
    length_mm: float
    scale: float
    scale_std: float


def weigh_pose(
    surface: NominalSurface, points: Array, motion: RigidMotion, scatter_mm: float, free: Array | None = None
) -> PoseInformation:
    """Covariance of a pose from the scatter of the residuals and the geometry.

    Residuals near one another go together (form, scanner), so the sums are taken by blocks of a tenth of the
    diagonal: the sandwich H^-1 (sum over blocks of g g^T) H^-1, never less than the plain one.
    free : (6, k) directions that nothing holds; they are left out of the covariance
    Source: Liang and Zeger 1986, clustered sandwich (memory).
    """
    placed = motion.apply(points)
    near = surface.nearest(placed)
    apart = np.abs(near.distance_mm)
    inside = apart < TUKEY * scatter_mm
    placed, normal, height = placed[inside], near.normal[inside], near.distance_mm[inside]
    weight = (1.0 - (apart[inside] / (TUKEY * scatter_mm)) ** 2) ** 2
    middle, length = surface.centre_mm, 0.25 * surface.diagonal_mm
    row = plane_rows(placed, normal, middle, length)
    matrix = (weight[:, None] * row).T @ row
    values, vectors = np.linalg.eigh(matrix)
    basis = _held_basis(values, vectors, free)
    block = _blocks(placed, surface)
    covariance = _sandwich(row @ basis, weight, height, block, basis)
    scale, scale_std = _scale(row @ basis, ((placed - middle) * normal).sum(axis=1), weight, height, block)
    return PoseInformation(matrix, covariance, values, vectors, middle, length, scale, scale_std)


def _held_basis(values: Array, vectors: Array, free: Array | None) -> Array:
    held = vectors[:, values > 1e-9 * values[-1]]
    if free is None or not free.shape[1]:
        return held
    space, size, _ = np.linalg.svd((np.eye(6) - free @ free.T) @ held)
    return np.asarray(space[:, : int((size > 1e-6).sum())])


def _blocks(placed: Array, surface: NominalSurface) -> IntArray:
    key = voxel_keys(placed, surface.diagonal_mm / _BLOCKS, placed.min(axis=0))
    block: IntArray = np.unique(key, return_inverse=True)[1].reshape(-1)
    return block


def _sandwich(row: Array, weight: Array, height: Array, block: IntArray, basis: Array) -> Array:
    inverse = np.linalg.inv((weight[:, None] * row).T @ row)
    pull = (weight * height)[:, None] * row
    count = int(block.max()) + 1
    sums = np.stack([np.bincount(block, pull[:, k], count) for k in range(row.shape[1])], axis=1)
    plain = float(weight @ height**2) / max(float(weight.sum()) - row.shape[1], 1.0) * inverse
    grouped = inverse @ (sums.T @ sums) @ inverse * (count / max(count - 1.0, 1.0))
    # Few blocks tell little: the larger of the two in each direction.
    values, vectors = np.linalg.eigh(plain)
    white = vectors * np.sqrt(np.maximum(values, 1e-300))
    back = np.linalg.inv(white)
    ratio, turned = np.linalg.eigh(back @ grouped @ back.T)
    wide = white @ turned
    return np.asarray(basis @ (wide * np.maximum(ratio, 1.0)) @ wide.T @ basis.T)


def _scale(row: Array, along: Array, weight: Array, height: Array, block: IntArray) -> tuple[float, float]:
    """Size of the scan over that of the part: one more unknown in the same least squares."""
    full = np.column_stack([row, along])
    matrix = (weight[:, None] * full).T @ full
    if np.linalg.cond(matrix / np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))) > 1e10:
        return 1.0, math.inf
    inverse = np.linalg.inv(matrix)
    found = inverse @ (full.T @ (weight * height))
    rest = height - full @ found
    pull = (weight * rest)[:, None] * full
    count = int(block.max()) + 1
    sums = np.stack([np.bincount(block, pull[:, k], count) for k in range(full.shape[1])], axis=1)
    grouped = inverse @ (sums.T @ sums) @ inverse * (count / max(count - 1.0, 1.0))
    return 1.0 + float(found[-1]), math.sqrt(max(float(grouped[-1, -1]), 0.0))
