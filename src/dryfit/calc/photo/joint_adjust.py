"""The joint adjustment itself: settle, then covariance, datum and test values."""

from __future__ import annotations

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray
from dryfit.calc.photo.joint import WHERE, JointAdjustment, Network, PhotoProblem
from dryfit.calc.photo.joint_solve import full_covariance, normal_equations, run
from dryfit.calc.photo.joint_start import Start, find_cameras
from dryfit.calc.photo.joint_task import Task, linearise, make_task, project_task
from dryfit.calc.photo.records import chance_of, refusal


def adjust_photos(
    problem: PhotoProblem, start: Start | None = None, used: BoolArray | None = None
) -> JointAdjustment:
    """All cameras and points from all marks and known lengths together.

    start : where the steps begin and which photographs are mirrored; found from the marks where it is not given
    used : (m,) which marks take part; all of them otherwise. Nothing is left out that is not left out here.
    Raises ComputationRefused where photographs or points are not determined, saying which.
    Source: bundle adjustment with inner constraints, Triggs and others, 1999; Granshaw, Photogrammetric Record 10
    (1980) 181 (memory; checked against GTSAM and scipy's least_squares).
    """
    taking = (
        np.ones(len(problem.marks_px), dtype=np.bool_) if used is None else np.array(used, dtype=np.bool_)
    )
    _check_counts(problem, taking, is_all=used is None)
    begun = find_cameras(problem) if start is None else start
    task = make_task(problem, taking, begun.mirrored)
    network = begun.network
    behind = np.flatnonzero(project_task(task, network).depth_mm <= 0.0)
    if len(behind):
        raise refusal(
            f"point {int(task.point[behind[0]]) + 1} would lie behind the camera of photograph "
            f"{int(task.photo[behind[0]]) + 1}",
            WHERE,
            "look for a wrong mark there with search_marks",
        )
    network, count, settled = run(task, network)
    if not settled:
        raise refusal("the steps did not settle", WHERE, "look for wrong marks with search_marks")
    return _report(problem, task, network, begun.mirrored, taking, count)


def _check_counts(problem: PhotoProblem, used: BoolArray, is_all: bool) -> None:
    if len(problem.photographs) < 2:
        raise refusal("one photograph has no common points", WHERE, "add a second photograph")
    marks = np.bincount(problem.photo[used], minlength=len(problem.photographs))
    if marks.min() < 5:
        which = int(marks.argmin()) + 1
        do = "mark more of its points, or leave it out"
        raise refusal(f"photograph {which} has {marks.min()} common marks, five are needed", WHERE, do)
    views = np.bincount(problem.point[used], minlength=problem.point_count)
    missing = ~problem.is_enough(used)
    lonely = np.flatnonzero(missing & (views == 1) if not is_all else missing)
    if len(lonely):
        raise refusal(
            f"point {lonely[0] + 1} is marked on {views[lonely[0]]} photograph, two are needed",
            WHERE,
            "mark it on another photograph, or leave it out",
        )


def _report(
    problem: PhotoProblem, task: Task, network: Network, mirrored: BoolArray, used: BoolArray, count: int
) -> JointAdjustment:
    linear = linearise(task, network, _length_of_pull(task, network))
    normal = normal_equations(task, linear, np.ones(len(task.marks)))
    covariance = _assembled(task, full_covariance(task, normal))
    seen = np.bincount(problem.point[used], minlength=problem.point_count) > 0
    is_scaled = task.pull is None
    if not task.known:
        covariance = _inner_datum(network, seen, covariance, is_scaled)
    points = np.where(seen[:, None], network.points_mm, np.nan)
    residual, tests = _mark_tests(problem, mirrored, used, seen, network, covariance)
    length_residual, length_tests = _length_tests(problem, points, covariance)
    known_residual, known_tests = _known_tests(problem, task, points, covariance)
    dof = 2 * len(task.marks) + len(linear.other_residual)
    dof -= task.layout.dense_count + 3 * task.layout.apart_count
    shown = Network(network.lenses, network.rotations, network.positions_mm, points)
    for array in (
        network.lenses,
        network.rotations,
        network.positions_mm,
        points,
        covariance,
        residual,
        tests,
    ):
        array.setflags(write=False)
    return JointAdjustment(
        shown, covariance, residual, tests, used, length_residual, length_tests, mirrored, is_scaled,
        linear.cost, dof, chance_of(linear.cost, dof), count, known_residual, known_tests, bool(task.known),
    )  # fmt: skip


def _length_of_pull(task: Task, network: Network) -> float:
    if task.pull is None:
        return 0.0
    return float(np.linalg.norm(network.positions_mm[task.pull[1]] - network.positions_mm[task.pull[0]]))


def _assembled(task: Task, parts: tuple[Array, Array, Array]) -> Array:
    """All covariances in the order of JointAdjustment."""
    kept, mixed, points = parts
    layout = task.layout
    count = len(layout.apart)
    size = 3 * count + layout.pose.size + layout.lens.size
    place = np.full(layout.dense_count, -1)
    for columns, offset in (
        (layout.dense_point, 0),
        (layout.pose, 3 * count),
        (layout.lens, 3 * count + layout.pose.size),
    ):
        flat = columns.ravel()
        place[flat[flat >= 0]] = offset + np.flatnonzero(flat >= 0)
    apart = np.flatnonzero(layout.apart >= 0)
    loose = (3 * apart[:, None] + np.arange(3)).ravel()
    whole = np.zeros((size, size))
    whole[np.ix_(place, place)] = kept
    whole[np.ix_(loose, place)] = mixed
    whole[np.ix_(place, loose)] = mixed.T
    whole[np.ix_(loose, loose)] = points
    return whole


def _inner_datum(network: Network, seen: BoolArray, covariance: Array, is_scaled: bool) -> Array:
    """The covariance in the frame that the points hold together: least trace over the points.

    Source: S-transformation, Baarda 1973 (memory).
    """
    points, cameras = len(network.points_mm), len(network.rotations)
    centre = network.points_mm[seen].mean(axis=0)
    columns = 6 if is_scaled else 7
    size = max(float(np.abs(network.points_mm[seen] - centre).max()), 1e-300)
    basis = np.zeros((len(covariance), columns))
    ends = 3 * points + 6 * cameras
    places = np.concatenate([network.points_mm, network.positions_mm])
    shifts = np.zeros((len(places), 3, columns))
    shifts[:, :, :3] = np.eye(3)
    away = (places - centre) / size
    for axis in range(3):
        shifts[:, :, 3 + axis] = np.cross(np.eye(3)[axis], away)
    if not is_scaled:
        shifts[:, :, 6] = away
    shifts[:points][~seen] = 0.0
    basis[: 3 * points] = shifts[:points].reshape(-1, columns)
    poses = np.zeros((cameras, 6, columns))
    poses[:, :3, 3:6] = -network.rotations / size
    poses[:, 3:] = shifts[points:]
    basis[3 * points : ends] = poses.reshape(-1, columns)
    held = basis[: 3 * points]
    part = np.linalg.solve(held.T @ held, held.T)
    # P = I - basis part, applied from both sides without forming it
    half = covariance - basis @ (part @ covariance[: 3 * points])
    result: Array = half - (half[:, : 3 * points] @ part.T) @ basis.T
    return (result + result.T) / 2.0


def _mark_tests(
    problem: PhotoProblem,
    mirrored: BoolArray,
    used: BoolArray,
    seen: BoolArray,
    network: Network,
    covariance: Array,
) -> tuple[Array, Array]:
    """Residuals (m, 2) [px] and test values (m,) of all marks, of those left out too."""
    everything = seen[problem.point]
    task = make_task(problem, everything, mirrored)
    found = project_task(task, network)
    slopes = task.root @ np.concatenate([found.by_pose, found.by_lens, found.by_point], axis=2)
    index = _columns(problem, task)
    spread = np.empty((len(index), 2, 2))
    for begin in range(0, len(index), 4096):  # a block of each mark's covariance at a time
        part = slice(begin, begin + 4096)
        block = covariance[index[part][:, :, None], index[part][:, None, :]]
        spread[part] = slopes[part] @ block @ slopes[part].transpose(0, 2, 1)
    signs = np.where(used[everything], -1.0, 1.0)
    own = np.eye(2) + signs[:, None, None] * spread
    white = (task.root @ (task.marks - found.marks_px)[:, :, None])[:, :, 0]
    tests, residual = np.full(len(used), np.nan), np.full((len(used), 2), np.nan)
    able = np.linalg.eigvalsh(own)[:, 0] > 1e-6
    values = np.full(len(white), np.nan)
    values[able] = (white[able] * np.linalg.solve(own[able], white[able][:, :, None])[:, :, 0]).sum(axis=1)
    # Seen on two pictures only, a mark is controlled across the line of sight of the other and not along it.
    rest = np.flatnonzero(~able)
    for row in rest:
        spreads, axes = np.linalg.eigh(own[row])
        good = spreads > 1e-6
        if good.any():
            values[row] = float((((axes.T @ white[row])[good]) ** 2 / spreads[good]).sum())
    tests[everything], residual[everything] = values, task.marks - found.marks_px
    return residual, tests


def _columns(problem: PhotoProblem, task: Task) -> IntArray:
    """(m, 17) where each mark's pose, lens and point stand in the covariance."""
    points, cameras = problem.point_count, len(problem.photographs)
    lens = problem.lens_of_photo[task.photo]
    return np.concatenate(
        [
            3 * points + 6 * task.photo[:, None] + np.arange(6),
            3 * points + 6 * cameras + 8 * lens[:, None] + np.arange(8),
            3 * task.point[:, None] + np.arange(3),
        ],
        axis=1,
    )


def _length_tests(problem: PhotoProblem, points: Array, covariance: Array) -> tuple[Array, Array]:
    """Residuals [mm] and test values of the known lengths."""
    count = len(problem.lengths)
    residual, tests = np.full(count, np.nan), np.full(count, np.nan)
    for number, known in enumerate(problem.lengths):
        apart = points[known.second] - points[known.first]
        length = float(np.linalg.norm(apart))
        residual[number] = known.length_mm - length
        index = np.concatenate([3 * known.second + np.arange(3), 3 * known.first + np.arange(3)])
        slope = np.concatenate([apart, -apart]) / length
        left = known.std_mm**2 - float(slope @ covariance[np.ix_(index, index)] @ slope)
        if left > 1e-6 * known.std_mm**2:
            tests[number] = residual[number] / np.sqrt(left)
    return residual, tests


def _known_tests(problem: PhotoProblem, task: Task, points: Array, covariance: Array) -> tuple[Array, Array]:
    """Residuals (k, 3) [mm], stated less adjusted, and test values of the known places."""
    count = len(problem.known)
    residual, tests = np.full((count, 3), np.nan), np.full(count, np.nan)
    for number in task.known:
        known = problem.known[number]
        residual[number] = known.place_mm - points[known.point]
        part = slice(3 * known.point, 3 * known.point + 3)
        left, axes = np.linalg.eigh(known.std_mm**2 * np.eye(3) - covariance[part, part])
        if (left > 1e-6 * known.std_mm**2).all():
            tests[number] = float((((axes.T @ residual[number]) ** 2) / left).sum())
    return residual, tests
