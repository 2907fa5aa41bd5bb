"""Least squares over all cameras and points: damped Gauss-Newton steps, points eliminated first."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array
from dryfit.base.rotation import rotations_from_vectors
from dryfit.calc.photo.joint import WHERE, Network
from dryfit.calc.photo.joint_task import Linear, Task, linearise
from dryfit.calc.photo.records import refusal

_MOST_STEPS = 100
SETTLED = 1e-9
# A scaled normal matrix with an eigenvalue below this determines nothing in that direction.
_SINGULAR = 1e-13
# Robust weights fall to a half where a mark is off by this many robust standard deviations (common practice).
_KNEE = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Normal:
    """Normal equations: kept (d, d), mixed (d, n, 3), points (n, 3, 3), and right-hand sides."""

    kept: Array
    mixed: Array
    points: Array
    right: Array
    right_points: Array


def normal_equations(task: Task, linear: Linear, weights: Array) -> Normal:
    """Sums over all rows; weights (m,) multiply the marks' own."""
    from scipy.sparse import csr_matrix

    layout = task.layout
    count, dense, apart = len(task.marks), layout.dense_count, layout.apart_count
    root = np.sqrt(weights)[:, None, None]
    slopes, by_point = linear.slopes * root, linear.by_point * root
    residual = linear.residual * root[:, :, 0]
    there = linear.columns >= 0
    both = np.repeat(there[:, None, :], 2, axis=1)
    starts = np.concatenate([[0], np.cumsum(np.repeat(there.sum(axis=1), 2))])
    columns = np.repeat(linear.columns[:, None, :], 2, axis=1)[both]
    kept_rows = csr_matrix((slopes[both], columns, starts), shape=(2 * count, dense))
    place = layout.apart[task.point]
    loose = np.flatnonzero(place >= 0)
    row = (2 * loose[:, None] + np.arange(2)).ravel()
    inner = np.zeros(2 * count + 1, dtype=np.int64)
    inner[row + 1] = 3
    cols = np.repeat((3 * place[loose][:, None] + np.arange(3))[:, None, :], 2, axis=1).ravel()
    point_rows = csr_matrix((by_point[loose].ravel(), cols, np.cumsum(inner)), shape=(2 * count, 3 * apart))
    flat = residual.ravel()
    kept = (kept_rows.T @ kept_rows).toarray() + linear.other_rows.T @ linear.other_rows
    mixed = (kept_rows.T @ point_rows).toarray().reshape(dense, apart, 3)
    products = by_point[loose].transpose(0, 2, 1) @ by_point[loose]
    points = np.empty((apart, 3, 3))
    for i in range(3):
        for j in range(3):
            points[:, i, j] = np.bincount(place[loose], weights=products[:, i, j], minlength=apart)
    right = kept_rows.T @ flat + linear.other_rows.T @ linear.other_residual
    return Normal(kept, mixed, points, right, (point_rows.T @ flat).reshape(apart, 3))


def reduced_step(normal: Normal, damping: float) -> tuple[Array, Array, float]:
    """Step of the kept unknowns (d,) and of the eliminated points (n, 3), and the gain that it promises.

    Source: Schur complement, Triggs and others, Bundle adjustment, 1999, section 6 (memory).
    """
    diagonal = np.diag(normal.kept)
    kept = normal.kept + np.diag(damping * diagonal)
    points = normal.points.copy()
    index = np.arange(3)
    points[:, index, index] *= 1.0 + damping
    inverse = np.linalg.inv(points)
    folded = np.einsum("dni,nij->dnj", normal.mixed, inverse).reshape(len(kept), -1)
    flat = normal.mixed.reshape(len(kept), -1)
    schur = kept - folded @ flat.T
    right = normal.right - folded @ normal.right_points.ravel()
    scale = 1.0 / np.sqrt(np.maximum(np.diag(schur), 1e-300))
    step = scale * np.linalg.solve(schur * scale[:, None] * scale, scale * right)
    loose = np.einsum("nij,nj->ni", inverse, normal.right_points - np.einsum("dni,d->ni", normal.mixed, step))
    gain = float(step @ normal.right + (loose * normal.right_points).sum())
    return step, loose, gain


def moved(task: Task, network: Network, step: Array, loose: Array) -> Network:
    """The network after a step."""
    layout = task.layout
    rotations, positions = network.rotations.copy(), network.positions_mm.copy()
    moving = np.flatnonzero(layout.pose[:, 0] >= 0)
    turns = step[layout.pose[moving]]
    rotations[moving] = rotations_from_vectors(turns[:, :3]) @ rotations[moving]
    positions[moving] += turns[:, 3:]
    lenses, points = network.lenses.copy(), network.points_mm.copy()
    free = layout.lens >= 0
    lenses[free] += step[layout.lens[free]]
    dense = layout.dense_point[:, 0] >= 0
    points[dense] += step[layout.dense_point[dense]]
    apart = layout.apart >= 0
    points[apart] += loose[layout.apart[apart]]
    return Network(lenses, rotations, positions, points)


def run(
    task: Task, network: Network, is_robust: bool = False, most: int = _MOST_STEPS
) -> tuple[Network, int, bool]:
    """Steps until nothing moves; the network, the number of steps, and whether they settled.

    is_robust : weights of a Cauchy law about the marks' robust scale, renewed at each step, and marks of points
    behind their camera weigh nothing
    """
    length = _pulled_length(task, network)
    damping = 1e-4
    linear = linearise(task, network, length)
    weights = _weights(linear, is_robust)
    cost = _cost(linear, weights, is_robust)
    for count in range(1, most + 1):
        step, loose, gain = reduced_step(normal_equations(task, linear, weights), damping)
        if not is_robust and gain <= SETTLED * (1.0 + 1e-4 * cost):
            return network, count, True
        there = moved(task, network, step, loose)
        new = linearise(task, there, length)
        new_cost = _cost(new, weights, is_robust)
        if np.isfinite(new_cost) and new_cost <= cost and (there.lenses[:, 0] > 0.0).all():
            is_still = cost - new_cost <= (1e-3 if is_robust else 1e-12) * cost
            network, linear = there, new
            weights = _weights(linear, is_robust)
            cost = _cost(linear, weights, is_robust)
            damping = max(damping * 0.1, 1e-12)
            if is_still:
                return network, count, True
        elif damping > 1e8:
            return network, count, is_robust or gain <= 1e-4 * (1.0 + cost)
        else:
            damping *= 10.0
    return network, most, is_robust


def _pulled_length(task: Task, network: Network) -> float:
    if task.pull is None:
        return 0.0
    apart = network.positions_mm[task.pull[1]] - network.positions_mm[task.pull[0]]
    return float(np.linalg.norm(apart))


def squares(linear: Linear) -> Array:
    """(m,) squared whitened distances of the marks; infinite behind a camera."""
    result: Array = np.where(linear.is_behind, np.inf, (linear.residual**2).sum(axis=1))
    return result


def robust_scale(values: Array) -> float:
    """Squared scale of two-dimensional residuals from the median square, one at least: its median is 2 ln 2."""
    return max(1.0, float(np.median(values)) / (2.0 * math.log(2.0)))


def _weights(linear: Linear, is_robust: bool) -> Array:
    if not is_robust:
        return np.ones(len(linear.residual))
    values = squares(linear)
    weights: Array = 1.0 / (1.0 + values / (_KNEE**2 * robust_scale(values)))
    return weights


def _cost(linear: Linear, weights: Array, is_robust: bool) -> float:
    if not is_robust:
        return linear.cost
    values = np.where(linear.is_behind, 0.0, (linear.residual**2).sum(axis=1))
    total: float = np.dot(weights, values).item() + (linear.other_residual**2).sum().item()
    return total


def full_covariance(task: Task, normal: Normal) -> tuple[Array, Array, Array]:
    """Covariances of the kept unknowns (d, d), mixed (3 n, d), and of the eliminated points (3 n, 3 n).

    Raises ComputationRefused where something is not determined, saying what.
    """
    dense, count = len(normal.kept), 3 * len(normal.points)
    try:
        inverse = np.linalg.inv(normal.points)
    except np.linalg.LinAlgError:
        inverse = np.full_like(normal.points, np.nan)
    bad = ~np.isfinite(inverse).all(axis=(1, 2))
    bad[~bad] = np.linalg.cond(normal.points[~bad]) > 1e13
    if bad.any():
        which = int(np.flatnonzero(task.layout.apart == int(np.flatnonzero(bad)[0]))[0])
        raise refusal(
            f"point {which + 1} is not determined: it is seen along one line", WHERE, "mark it on more"
        )
    flat = normal.mixed.reshape(dense, count)
    folded = np.einsum("dni,nij->dnj", normal.mixed, inverse).reshape(dense, count)
    schur = normal.kept - folded @ flat.T
    scale = 1.0 / np.sqrt(np.maximum(np.diag(schur), 1e-300))
    values, vectors = np.linalg.eigh(schur * scale[:, None] * scale)
    if values[0] <= _SINGULAR * values[-1]:
        raise _undetermined(task, vectors[:, 0])
    root = scale[:, None] * vectors / np.sqrt(values)
    kept = root @ root.T
    mixed = -folded.T @ kept
    points = -mixed @ folded
    for number, block in enumerate(inverse):
        part = slice(3 * number, 3 * number + 3)
        points[part, part] += block
    return kept, mixed, points


def _undetermined(task: Task, direction: Array) -> Exception:
    column = int(np.abs(direction).argmax())
    layout = task.layout
    what = "the points on known lengths"
    if (layout.pose == column).any():
        what = f"photograph {int(np.argwhere(layout.pose == column)[0][0]) + 1}"
    elif (layout.lens == column).any():
        what = f"lens {int(np.argwhere(layout.lens == column)[0][0]) + 1}"
    do = "mark more common points, spread over the pictures and in depth, or hold figures of the lens"
    return refusal(f"the marks do not determine {what}", WHERE, do)
