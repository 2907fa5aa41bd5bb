"""A camera from six or more known points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, locked
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.photo.camera import LENS_NAMES, Lens, Pose, Projection, lens_of, project_rows
from dryfit.calc.photo.homography import conditioner
from dryfit.calc.photo.records import chance_of, checked_marks, floats, homogeneous, mark_covariances, refusal
from dryfit.calc.photo.solving import covariance_of, solve

WHERE = "a camera from known points"
# Points count as lying in one plane where their depth is below this share of their extent: the camera is then lost
# among noise (common practice, no source).
FLAT = 0.02


@dataclass(frozen=True, slots=True, eq=False)
class Resection:
    """A camera from known points.

    covariance  (k + 6, k + 6) of the estimated figures of the lens, then turn [rad] and position [mm] of the pose
    estimated   names of those figures
    residual_px (n, 2) measured less computed
    normalised  (n,) test value of each mark: chi-square with two degrees of freedom without blunders
    vpv, dof, p_value  of the global test
    """

    lens: Lens
    pose: Pose
    estimated: tuple[str, ...]
    covariance: Array
    residual_px: Array
    normalised: Array
    vpv: float
    dof: int
    p_value: float | None


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    lens: Array
    rotation: Array
    position: Array


def resect(
    marks_px: Array,
    std_px: float | Array,
    points_mm: Array,
    point_std_mm: float = 0.0,
    estimated: Sequence[str] = ("focal_px",),
    lens: Lens | None = None,
    centre_px: Array | None = None,
) -> Resection:
    """Pose, and the named figures of the lens, from marks of points that are known.

    marks_px : (n, 2)   points_mm : (n, 3), six or more, not all in a plane   std_px : as for mark_covariances
    point_std_mm : standard uncertainty of each coordinate of the points, independent
    estimated : figures of the lens to be found; empty where the lens is known
    lens : its known figures and where the others begin; from the marks themselves where it is not given
    centre_px : principal point held when no lens is given: the picture's middle
    Raises ComputationRefused for fewer than six points, for points that coincide or lie in one plane or line, and
    where a point would lie behind the camera.
    Source: direct linear transformation and its refinement, Hartley and Zisserman, Multiple View Geometry, algorithm
    7.1 (memory; checked against OpenCV's solvePnP and calibrateCamera).
    """
    marks, points = checked_marks(marks_px), locked(points_mm, (None, 3), "points_mm")
    if len(marks) != len(points):
        raise ValueError("as many marks as points are needed")
    free = np.array([name in estimated for name in LENS_NAMES])
    if set(estimated) - set(LENS_NAMES):
        raise ValueError(f"figures of a lens are {LENS_NAMES}")
    if lens is None and centre_px is None:
        raise ValueError("give the lens, or the principal point to hold")
    _check_points(points, int(free.sum()))
    start = _start(marks, points, lens, centre_px)
    noise = mark_covariances(std_px, len(marks))
    index = np.flatnonzero(free)

    def evaluate(state: _State) -> tuple[Array, Array]:
        seen = _seen(state, points)
        spread = noise + point_std_mm**2 * (seen.by_point @ seen.by_point.transpose(0, 2, 1))
        lower = np.linalg.cholesky(spread)
        slope = np.concatenate([seen.by_lens[:, :, index], seen.by_pose], axis=2)
        residual = np.where((seen.depth_mm > 0.0)[:, None], marks - seen.marks_px, np.inf)
        if not np.isfinite(residual).all():
            return residual.ravel(), slope.reshape(-1, slope.shape[2])
        white = np.linalg.solve(lower, residual[:, :, None])[:, :, 0]
        return white.ravel(), np.linalg.solve(lower, slope).reshape(-1, slope.shape[2])

    def move(state: _State, step: Array) -> _State:
        changed = state.lens.copy()
        changed[index] += step[: len(index)]
        turn, shift = step[len(index) : len(index) + 3], step[len(index) + 3 :]
        return _State(changed, rotation_from_vector(turn) @ state.rotation, state.position + shift)

    behind = np.flatnonzero(_seen(start, points).depth_mm <= 0.0)
    if len(behind):
        raise refusal(
            f"point {behind[0] + 1} would lie behind the camera", WHERE, "check which mark is which point"
        )
    solved = solve(evaluate, start, move, WHERE)
    covariance, lost = covariance_of(solved.jacobian)
    if lost.shape[1]:
        raise refusal(
            "the points do not determine the camera", WHERE, "estimate fewer figures, or add points in depth"
        )
    return _report(solved.state, solved.residual, solved.jacobian, covariance, marks, points, free)


def _report(
    state: _State,
    residual: Array,
    jacobian: Array,
    covariance: Array,
    marks: Array,
    points: Array,
    free: Array,
) -> Resection:
    count = len(marks)
    rows = jacobian.reshape(count, 2, -1)
    left = np.eye(2) - rows @ covariance @ rows.transpose(0, 2, 1)
    white = residual.reshape(count, 2)
    tests = np.full(count, np.nan)
    able = np.linalg.eigvalsh(left)[:, 0] > 1e-9
    tests[able] = np.einsum(
        "ni,ni->n", white[able], np.linalg.solve(left[able], white[able][:, :, None])[:, :, 0]
    )
    vpv, dof = float(residual @ residual), residual.size - jacobian.shape[1]
    return Resection(
        lens_of(state.lens), Pose(state.rotation, state.position),
        tuple(name for name, is_free in zip(LENS_NAMES, free, strict=True) if is_free),
        covariance, marks - _seen(state, points).marks_px, tests, vpv, dof, chance_of(vpv, dof),
    )  # fmt: skip


def _seen(state: _State, points: Array) -> Projection:
    count = len(points)
    return project_rows(
        np.tile(state.lens, (count, 1)),
        np.tile(state.rotation, (count, 1, 1)),
        np.tile(state.position, (count, 1)),
        points,
    )


def _check_points(points: Array, figures: int) -> None:
    if len(points) < max(6, (figures + 7) // 2):
        raise refusal(
            f"{len(points)} known points are too few", WHERE, "mark six or more known points, spread in depth"
        )
    apart = np.linalg.norm(points[:, None] - points[None], axis=2) + np.diag(np.full(len(points), np.inf))
    if apart.min() == 0.0:
        first, second = np.unravel_index(int(apart.argmin()), apart.shape)
        raise refusal(f"points {first + 1} and {second + 1} coincide", WHERE, "leave one of them out")
    spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if spread[1] <= FLAT * spread[0]:
        raise refusal("all points lie on a line", WHERE, "add points to its sides")
    if spread[2] <= FLAT * spread[0]:
        raise refusal(
            "all points lie in one plane: they do not determine the camera",
            WHERE,
            "add points in front of or behind it, or measure in the plane itself with fit_plane",
        )


def _start(marks: Array, points: Array, lens: Lens | None, centre: Array | None) -> _State:
    """Direct linear transformation; where all but the pose is known, only rotation and position are kept of it."""
    if lens is not None and lens.distortion != (0.0, 0.0, 0.0, 0.0, 0.0):
        from dryfit.calc.photo.camera import undistort

        marks = undistort(lens, marks).xy * lens.focal_px + lens.centre_px
    matrix = linear_camera(marks, points)
    inner, position = take_apart(matrix)
    if lens is not None:
        return _State(lens.vector, _known_rotation(matrix, lens), position)
    assert centre is not None
    focal = float(np.sqrt(abs(inner[0, 0] * inner[1, 1])))
    start = Lens(focal, np.asarray(centre, dtype=np.float64))
    return _State(start.vector, _known_rotation(matrix, start), position)


def _known_rotation(matrix: Array, lens: Lens) -> Array:
    inner = np.array(
        [[lens.focal_px, 0.0, lens.centre_px[0]], [0.0, lens.focal_px, lens.centre_px[1]], [0.0, 0.0, 1.0]]
    )
    left, _, right = np.linalg.svd(np.linalg.solve(inner, matrix[:, :3]))
    rotation: Array = left @ np.diag([1.0, 1.0, np.linalg.det(left @ right)]) @ right
    return rotation


def linear_camera(marks: Array, points: Array) -> Array:
    """Camera matrix (3, 4) of least algebraic misfit, signed so that points have positive depth.

    marks : (n, 2)   points : (n, 3), not in one plane
    Raises ComputationRefused where more than one camera fits.
    """
    image = conditioner(marks)
    centre = points.mean(axis=0)
    size = np.sqrt(3.0) / float(np.linalg.norm(points - centre, axis=1).mean())
    space = np.diag([size, size, size, 1.0])
    space[:3, 3] = -size * centre
    lifted = homogeneous(points) @ space.T
    flat = homogeneous(marks) @ image.T
    zero = np.zeros_like(lifted)
    rows = np.vstack(
        [np.hstack([lifted, zero, -flat[:, :1] * lifted]), np.hstack([zero, lifted, -flat[:, 1:2] * lifted])]
    )
    _, values, right = np.linalg.svd(rows)
    if values[10] <= 1e-9 * values[0]:
        raise refusal(
            "more than one camera fits the points: they lie on a curve or in planes that hide it",
            WHERE,
            "add points elsewhere",
        )
    matrix: Array = np.linalg.inv(image) @ right[-1].reshape(3, 4) @ space
    # the left part of a camera matrix has a positive determinant where depths are positive
    sign = 1.0 if np.linalg.det(matrix[:, :3]) > 0.0 else -1.0
    return sign * matrix / np.linalg.norm(matrix[2, :3])


def take_apart(matrix: Array) -> tuple[Array, Array]:
    """Inner figures (3, 3) and position (3,) of a camera matrix (3, 4)."""
    inner = floats(np.linalg.qr(matrix[::-1, :3].T, mode="r")).T[::-1, ::-1]
    signs = np.sign(np.diag(inner))
    inner = inner * signs
    position = floats(-np.linalg.solve(matrix[:, :3], matrix[:, 3]))
    return inner / inner[2, 2], position
