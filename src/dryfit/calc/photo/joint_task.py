"""One joint adjustment laid out: which unknown stands where, residuals and derivatives at a network."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.photo.camera import Projection, project_rows
from dryfit.calc.photo.joint import Network, PhotoProblem


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Which unknown stands where.

    pose (c, 6), lens (g, 8), dense_point (n, 3)  column among those kept to the end; -1 where held or not there
    apart (n,)  place among the points that are eliminated; -1 for those on a known length or at a known place, and for
                points left out
    """

    pose: IntArray
    lens: IntArray
    dense_point: IntArray
    apart: IntArray
    dense_count: int
    apart_count: int


@dataclass(frozen=True, slots=True, eq=False)
class Task:
    """Marks that take part, with the photographs that are mirrored flipped back.

    root (m, 2, 2) brings residuals to unit variance; frame: the photograph whose pose is held, -1 where known places
    give the frame; known: those that do; pull: cameras whose distance is held in place of a known length
    """

    problem: PhotoProblem
    photo: IntArray
    point: IntArray
    marks: Array
    root: Array
    priors: Array  # (g, 8) standard uncertainties
    lens_middle: Array  # (g, 8) what is believed
    layout: Layout
    frame: int
    pull: tuple[int, int] | None
    known: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """Whitened residuals and derivatives at a network.

    mark_residual (m, 2), dense_columns (m, 17) with slopes (m, 2, 17), by_point (m, 2, 3); other rows are dense
    """

    residual: Array
    columns: IntArray
    slopes: Array
    by_point: Array
    other_residual: Array
    other_rows: Array
    is_behind: BoolArray

    @property
    def cost(self) -> float:
        """Weighted sum of squares; infinite where a point lies behind a camera."""
        if self.is_behind.any():
            return float("inf")
        return float((self.residual**2).sum() + (self.other_residual**2).sum())


def make_task(
    problem: PhotoProblem,
    used: BoolArray,
    mirrored: BoolArray,
    photos: BoolArray | None = None,
    held_lens: bool = False,
) -> Task:
    """Lay out the adjustment of the used marks; photos says which photographs take part."""
    taking = np.ones(len(problem.photographs), dtype=np.bool_) if photos is None else photos
    keep = used & taking[problem.photo]
    marks, spread = problem.unmirrored(mirrored)
    root = np.linalg.inv(np.linalg.cholesky(spread[keep]))
    std = np.array([each.std for each in problem.lenses])
    middle = np.array([each.lens.vector for each in problem.lenses])
    if held_lens:
        std = np.zeros_like(std)
    photo, point = problem.photo[keep], problem.point[keep]
    known = tuple(problem.framing(point))
    frame = -1 if known else int(np.flatnonzero(taking)[0])
    layout = _layout(problem, photo, point, std, taking, frame, known)
    is_scaled = bool(known) or bool(_active_lengths(problem, point))
    others = [int(each) for each in np.flatnonzero(taking) if each != frame]
    pull = None if is_scaled else (frame, others[0] if others else frame)
    return Task(problem, photo, point, marks[keep], root, std, middle, layout, frame, pull, known)


def _active_lengths(problem: PhotoProblem, point: IntArray) -> list[int]:
    there = set(point.tolist())
    return [
        number for number, each in enumerate(problem.lengths) if each.first in there and each.second in there
    ]


def _layout(
    problem: PhotoProblem,
    photo: IntArray,
    point: IntArray,
    std: Array,
    taking: BoolArray,
    frame: int,
    known: tuple[int, ...],
) -> Layout:
    cameras, points = len(problem.photographs), problem.point_count
    pose = np.full((cameras, 6), -1)
    moving = [int(each) for each in np.flatnonzero(taking) if each != frame]
    pose[moving] = np.arange(6 * len(moving)).reshape(-1, 6)
    count = 6 * len(moving)
    lens = np.full(std.shape, -1)
    used = np.zeros(len(std), dtype=np.bool_)
    used[problem.lens_of_photo[taking]] = True
    free = (std > 0.0) & used[:, None]
    lens[free] = count + np.arange(int(free.sum()))
    count += int(free.sum())
    seen = np.bincount(point, minlength=points) > 0
    on_length = np.zeros(points, dtype=np.bool_)
    for number in _active_lengths(problem, point):
        on_length[[problem.lengths[number].first, problem.lengths[number].second]] = True
    on_length[[problem.known[number].point for number in known]] = True
    dense = np.full((points, 3), -1)
    dense[seen & on_length] = count + np.arange(3 * int((seen & on_length).sum())).reshape(-1, 3)
    count += 3 * int((seen & on_length).sum())
    apart = np.full(points, -1)
    apart[seen & ~on_length] = np.arange(int((seen & ~on_length).sum()))
    return Layout(pose, lens, dense, apart, count, int((seen & ~on_length).sum()))


def project_task(task: Task, network: Network) -> Projection:
    """Where the points of the task's marks are computed to lie."""
    lens = task.problem.lens_of_photo[task.photo]
    return project_rows(
        network.lenses[lens],
        network.rotations[task.photo],
        network.positions_mm[task.photo],
        network.points_mm[task.point],
    )


def linearise(task: Task, network: Network, pulled_length: float = 0.0) -> Linear:
    """Residuals and derivatives at a network."""
    seen = project_task(task, network)
    layout = task.layout
    lens = task.problem.lens_of_photo[task.photo]
    columns = np.concatenate(
        [layout.pose[task.photo], layout.lens[lens], layout.dense_point[task.point]], axis=1
    )
    slopes = task.root @ np.concatenate([seen.by_pose, seen.by_lens, seen.by_point], axis=2)
    residual = (task.root @ (task.marks - seen.marks_px)[:, :, None])[:, :, 0]
    other_residual, other_rows = _other_rows(task, network, pulled_length)
    return Linear(
        residual, columns, slopes, slopes[:, :, 14:], other_residual, other_rows, seen.depth_mm <= 0.0
    )


def _other_rows(task: Task, network: Network, pulled_length: float) -> tuple[Array, Array]:
    """What is believed of lenses, known lengths, and the distance that stands in for a scale."""
    layout, problem = task.layout, task.problem
    residuals, rows = [], []
    alone = np.array([each.covariance is None for each in problem.lenses], dtype=np.bool_)[:, None]
    for group, figure in np.argwhere((layout.lens >= 0) & np.isfinite(task.priors) & alone):
        row = np.zeros(layout.dense_count)
        row[layout.lens[group, figure]] = 1.0 / task.priors[group, figure]
        rows.append(row)
        gap = task.lens_middle[group, figure] - network.lenses[group, figure]
        residuals.append(gap / task.priors[group, figure])
    for gaps, own in _lens_rows(task, network):
        residuals += list(gaps)
        rows += list(own)
    for number in task.known:
        place = problem.known[number]
        gap3 = (place.place_mm - network.points_mm[place.point]) / place.std_mm
        own = np.zeros((3, layout.dense_count))
        own[np.arange(3), layout.dense_point[place.point]] = 1.0 / place.std_mm
        residuals += list(gap3)
        rows += list(own)
    for number in _active_lengths(problem, task.point):
        known = problem.lengths[number]
        apart = network.points_mm[known.second] - network.points_mm[known.first]
        length = max(float(np.linalg.norm(apart)), 1e-300)
        row = np.zeros(layout.dense_count)
        row[layout.dense_point[known.second]] = apart / length / known.std_mm
        row[layout.dense_point[known.first]] = -apart / length / known.std_mm
        rows.append(row)
        residuals.append((known.length_mm - length) / known.std_mm)
    if task.pull is not None and task.pull[0] != task.pull[1]:
        apart = network.positions_mm[task.pull[1]] - network.positions_mm[task.pull[0]]
        length = float(np.linalg.norm(apart))
        row = np.zeros(layout.dense_count)
        row[layout.pose[task.pull[1], 3:]] = apart / length / (1e-3 * pulled_length)
        rows.append(row)
        residuals.append((pulled_length - length) / (1e-3 * pulled_length))
    return np.array(residuals), np.array(rows).reshape(-1, layout.dense_count)


def _lens_rows(task: Task, network: Network) -> Iterator[tuple[Array, Array]]:
    """Whitened residuals (r,) and rows (r, d) of lenses whose figures were found together, or by straight lines."""
    columns = task.layout.lens
    for group, belief in enumerate(task.problem.lenses):
        free = np.flatnonzero(columns[group] >= 0)
        if belief.covariance is not None and len(free):
            root = np.linalg.inv(np.linalg.cholesky(belief.covariance[np.ix_(free, free)]))
            rows = np.zeros((len(free), task.layout.dense_count))
            rows[:, columns[group, free]] = root
            yield root @ (task.lens_middle[group, free] - network.lenses[group, free]), rows
        if belief.bend is not None and {0, 3, 4} <= set(free.tolist()):
            focal, k1, k2 = network.lenses[group, [0, 3, 4]]
            ratio = belief.bend.focal_px / focal
            root = np.linalg.inv(np.linalg.cholesky(belief.bend.covariance))
            slope = np.array(
                [[-2.0 * k1 * ratio**2 / focal, ratio**2, 0.0], [-4.0 * k2 * ratio**4 / focal, 0.0, ratio**4]]
            )
            rows = np.zeros((2, task.layout.dense_count))
            rows[:, columns[group, [0, 3, 4]]] = root @ slope
            yield root @ (belief.bend.figures - np.array([k1 * ratio**2, k2 * ratio**4])), rows
