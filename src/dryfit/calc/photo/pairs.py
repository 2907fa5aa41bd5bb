"""Two photographs, one photograph against points, and points from rays: where a joint adjustment begins."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.photo.camera import Lens, lens_of, project_rows, undistort
from dryfit.calc.photo.joint import PhotoProblem
from dryfit.calc.photo.records import floats

LEAST_COMMON = 6
# Distances of marks from their epipolar line that count as fitting, in pixels: room for distortion that is not yet
# known (common practice, no source).
_REACH_PX = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Pair:
    """Second camera of a pair seen from the first, the distance between them being one.

    is_flipped : it fits with the second photograph flipped left to right;  rating : larger is better
    """

    first: int
    second: int
    is_flipped: bool
    rotation: Array
    position: Array
    rating: float


def rate_pairs(problem: PhotoProblem, lenses: Array) -> list[Pair]:
    """Pairs of photographs to begin with, best first: many common points that fit, and rays that cross openly."""
    stated = np.array([each.is_mirrored for each in problem.photographs])
    rays = []
    for is_turned in (False, True):
        marks = problem.unmirrored(stated ^ is_turned)[0]
        xy = np.zeros_like(marks)
        for photo in range(len(problem.photographs)):
            mine = problem.photo == photo
            xy[mine] = undistort(lens_of(lenses[problem.lens_of_photo[photo]]), marks[mine]).xy
        rays.append(xy)
    table = np.full((len(problem.photographs), problem.point_count), -1)
    table[problem.photo, problem.point] = np.arange(len(problem.marks_px))
    found = []
    for first, second in _likely_pairs(table):
        common = np.flatnonzero((table[first] >= 0) & (table[second] >= 0))
        reach = _REACH_PX / float(lenses[problem.lens_of_photo[[first, second]], 0].mean())
        tried = [
            _relative(rays[0][table[first, common]], rays[flip][table[second, common]], reach)
            for flip in (0, 1)
        ]
        # Few points, or points in one plane, may fit both ways: a picture is not called mirrored without need.
        found += [
            Pair(first, second, bool(flip), rotation, position, rating * (0.5 if flip else 1.0))
            for flip, (rotation, position, rating) in enumerate(tried)
            if rating > 0.0
        ]
    return sorted(found, key=lambda pair: -pair.rating)


def _likely_pairs(table: IntArray) -> list[tuple[int, int]]:
    """Pairs with most points in common, at most thirty."""
    there = (table >= 0).astype(np.int64)
    counts = np.triu(there @ there.T, 1)
    order = np.argsort(-counts, axis=None, kind="stable")[:30]
    pairs = [(int(k) // len(table), int(k) % len(table)) for k in order]
    return [pair for pair in pairs if counts[pair] >= LEAST_COMMON]


def _relative(first: Array, second: Array, reach: float) -> tuple[Array, Array, float]:
    """Rotation and position of the second camera, and how good the pair is.

    first, second : (n, 2) directions. Good: many points that fit, times how openly their rays cross.
    """
    import cv2

    nothing: tuple[Array, Array, float] = (np.eye(3), np.zeros(3), 0.0)
    matrix, _ = cv2.findEssentialMat(
        first, second, np.eye(3), method=cv2.RANSAC, prob=0.999, threshold=reach, maxIters=150
    )
    if matrix is None or matrix.shape[0] < 3:
        return nothing
    best = nothing
    for candidate in floats(matrix).reshape(-1, 3, 3):
        _, turn, shift, _ = cv2.recoverPose(candidate, first, second, np.eye(3))
        rotation: Array = floats(turn)
        position: Array = -rotation.T @ floats(shift).ravel()
        away = _epipolar(candidate, first, second)
        points, angles = _meeting(first, second, rotation, position)
        front = (points[:, 2] > 0.0) & ((points - position) @ rotation[2] > 0.0)
        fits = front & (away < reach)
        # a few degrees of crossing are wanted; beyond about fifteen more is no better
        openness = min(1.0, float(np.median(angles[fits])) / 0.25) if fits.any() else 0.0
        rating = float((fits / (1.0 + (away / (0.3 * reach)) ** 2)).sum()) * openness
        if rating > best[2]:
            best = (rotation, position, rating)
    return best


def _epipolar(matrix: Array, first: Array, second: Array) -> Array:
    """(n,) distances of marks from fitting, to first order.

    Source: Sampson distance, Hartley and Zisserman, Multiple View Geometry, 11.4.3 (memory).
    """
    a, b = (np.column_stack([xy, np.ones(len(xy))]) for xy in (first, second))
    there, back = a @ matrix.T, b @ matrix
    size = (there[:, :2] ** 2).sum(axis=1) + (back[:, :2] ** 2).sum(axis=1)
    result: Array = np.abs((b * there).sum(axis=1)) / np.sqrt(np.maximum(size, 1e-300))
    return result


def _meeting(first: Array, second: Array, rotation: Array, position: Array) -> tuple[Array, Array]:
    """Points (n, 3) half way between the rays of a pair, and the angles (n,) [rad] at which rays cross."""
    a = np.column_stack([first, np.ones(len(first))])
    b = np.column_stack([second, np.ones(len(second))]) @ rotation
    a, b = (rows / np.linalg.norm(rows, axis=1)[:, None] for rows in (a, b))
    cosine = (a * b).sum(axis=1)
    below = np.maximum(1.0 - cosine**2, 1e-12)
    s = (a @ position - cosine * (b @ position)) / below
    t = (cosine * (a @ position) - b @ position) / below
    points: Array = (s[:, None] * a + position + t[:, None] * b) / 2.0
    # Behind both cameras is behind: the sign of either distance tells.
    points[(s <= 0.0) | (t <= 0.0), 2] = -1.0
    return points, np.arccos(np.clip(cosine, -1.0, 1.0))


def place_photo(lens: Lens, marks: Array, points: Array) -> tuple[float, tuple[Array, Array] | None]:
    """Root median square residual [px] and pose of a camera on known points; infinite and None where none is found."""
    import cv2

    if len(marks) < 5:
        return np.inf, None
    xy = undistort(lens, marks).xy
    done, turn, shift, _ = cv2.solvePnPRansac(
        points, xy, np.eye(3), None, iterationsCount=60, reprojectionError=8.0 / lens.focal_px,
        confidence=0.9999, flags=cv2.SOLVEPNP_SQPNP,
    )  # fmt: skip
    if not done:
        done, turn, shift = cv2.solvePnP(points, xy, np.eye(3), None, flags=cv2.SOLVEPNP_SQPNP)
        if not done:
            return np.inf, None
    rotation: Array = floats(cv2.Rodrigues(turn)[0])
    position: Array = -rotation.T @ floats(shift).ravel()
    return _refined(lens, marks, points, rotation, position)


def _refined(
    lens: Lens, marks: Array, points: Array, rotation: Array, position: Array
) -> tuple[float, tuple[Array, Array] | None]:
    """A few robust steps on the pose."""
    best: tuple[float, tuple[Array, Array] | None] = (np.inf, None)
    rows = (np.tile(lens.vector, (len(marks), 1)), len(marks))
    for _ in range(8):
        seen = project_rows(
            rows[0], np.tile(rotation, (rows[1], 1, 1)), np.tile(position, (rows[1], 1)), points
        )
        missing = marks - seen.marks_px
        square = np.where(seen.depth_mm > 0.0, (missing**2).sum(axis=1), np.inf)
        size = float(np.sqrt(np.median(square)))
        is_better = size < 0.99 * best[0]
        if size < best[0]:
            best = (size, (rotation, position))
        if not is_better:
            break
        weights = 1.0 / (1.0 + square / (9.0 * max(size, 1e-9) ** 2))
        slope = seen.by_pose * np.sqrt(weights)[:, None, None]
        right = missing * np.sqrt(weights)[:, None]
        right[~(seen.depth_mm > 0.0)] = 0.0
        step = floats(np.linalg.lstsq(slope.reshape(-1, 6), right.ravel(), rcond=1e-12)[0])
        rotation = rotation_from_vector(step[:3]) @ rotation
        position = position + step[3:]
    return best


def triangulate(
    xy: Array, rotations: Array, positions: Array, point: IntArray, count: int, focal: float
) -> Array:
    """Points (count, 3) nearest to the rays of their marks, wrong marks weighing little.

    xy (m, 2) directions, rotations (m, 3, 3) and positions (m, 3) of their cameras, point (m,) whose they are
    Source: least squares of distances from rays over depth, reweighted by a Cauchy law (memory).
    """
    rays = np.column_stack([xy, np.ones(len(xy))])
    rays = np.einsum("mji,mj->mi", rotations, rays)
    rays /= np.linalg.norm(rays, axis=1)[:, None]
    across = np.eye(3) - rays[:, :, None] * rays[:, None, :]
    weights = np.ones(len(xy))
    points: Array = np.zeros((count, 3))
    for _ in range(8):
        normal, right = np.zeros((count, 3, 3)), np.zeros((count, 3))
        weighted = weights[:, None, None] * across
        np.add.at(normal, point, weighted)
        np.add.at(right, point, np.einsum("mij,mj->mi", weighted, positions))
        normal += 1e-12 * np.trace(normal, axis1=1, axis2=2)[:, None, None] * np.eye(3)
        normal[normal[:, 0, 0] == 0.0] = np.eye(3)
        points = floats(np.linalg.solve(normal, right[:, :, None])[:, :, 0])
        apart = points[point] - positions
        depth = np.maximum((apart * rays).sum(axis=1), 1e-9 * np.linalg.norm(apart, axis=1) + 1e-300)
        missing = focal * np.linalg.norm(apart - depth[:, None] * rays, axis=1) / depth
        weights = 1.0 / (1.0 + (missing / 5.0) ** 2) / depth**2 * np.median(depth) ** 2
    return points
