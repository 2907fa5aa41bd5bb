"""The lens of one's own camera from photographs of a flat board with corners at known places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, locked
from dryfit.base.rotation import rotation_from_vector
from dryfit.calc.photo.camera import LENS_NAMES, Lens, Pose, lens_of, project_rows
from dryfit.calc.photo.homography import check_spread, linear_homography
from dryfit.calc.photo.records import checked_marks, refusal
from dryfit.calc.photo.solving import Solved, covariance_of, solve

# A view whose residuals exceed those of the others by this factor is wrong, whatever chance says: smaller differences
# come from boards that are not flat and from blur (common practice, no source).
SUSPECT_RATIO = 2.0
WHERE = "the calibration of a lens"


@dataclass(frozen=True, slots=True, eq=False)
class BoardView:
    """One photograph of a board: marks_px (n, 2) and the corners (n, 2) [mm] that they show."""

    marks_px: Array
    corners_mm: Array

    def __post_init__(self) -> None:
        object.__setattr__(self, "marks_px", checked_marks(self.marks_px))
        count = len(self.marks_px)
        object.__setattr__(self, "corners_mm", locked(self.corners_mm, (count, 2), "corners_mm"))


@dataclass(frozen=True, slots=True)
class SuspectView:
    """A view that fits badly. view: its index; rms_px: of its residuals, others_px: of the median other view.

    p_value : probability of so large a ratio by chance
    """

    view: int
    rms_px: float
    others_px: float
    p_value: float

    @property
    def ratio(self) -> float:
        """How many times worse than the median of the others [-]."""
        return self.rms_px / self.others_px


@dataclass(frozen=True, slots=True, eq=False)
class BoardCalibration:
    """A lens with the covariance (8, 8) of its figures in the order of LENS_NAMES; zero for those held.

    poses        of the board's frame, one for each view
    residual_px  for each view (n, 2), measured less computed
    rms_px       (v,) of each view: root of the mean squared distance
    overall_px   the same of all
    mark_std_px  standard uncertainty of a coordinate, as the residuals have it
    suspects     views that fit badly, worst first; none is left out
    """

    lens: Lens
    covariance: Array
    poses: tuple[Pose, ...]
    residual_px: tuple[Array, ...]
    rms_px: Array
    overall_px: float
    mark_std_px: float
    suspects: tuple[SuspectView, ...]

    @property
    def std(self) -> Array:
        """(8,) standard uncertainties in the order of LENS_NAMES."""
        std: Array = np.sqrt(np.diag(self.covariance))
        return std


def board_corners(columns: int, rows: int, pitch_mm: float) -> Array:
    """Inner corners (columns * rows, 2) [mm] of a chessboard, along its rows.

    Raises ValueError for fewer than 2 x 2 corners.
    """
    if columns < 2 or rows < 2 or not pitch_mm > 0.0:
        raise ValueError("a board needs at least 2 x 2 inner corners and a pitch above zero")
    y, x = np.mgrid[0:rows, 0:columns]
    return np.column_stack([x.ravel(), y.ravel()]) * float(pitch_mm)


@dataclass(frozen=True, slots=True, eq=False)
class _State:
    lens: Array
    rotations: Array
    positions: Array


def calibrate_board(
    views: Sequence[BoardView],
    width_px: int,
    height_px: int,
    estimated: Sequence[str] = LENS_NAMES[:7],
) -> BoardCalibration:
    """Lens, poses and doubtful views from several photographs of one flat board.

    estimated : names of the figures to be found; the others are held at zero, and the principal point at the middle
    Raises ComputationRefused for fewer than three views, or where they do not determine the lens, as when all are
    taken square on.
    Source: Zhang, IEEE Trans. PAMI 22 (2000) 1330, with least squares on the marks (memory; checked against
    OpenCV's calibrateCamera).
    """
    if len(views) < 3:
        raise refusal(f"{len(views)} views do not determine a lens", WHERE, "take at least three, tilted")
    for view in views:
        check_spread(view.corners_mm, WHERE)
        check_spread(view.marks_px, WHERE)
    unknown = set(estimated) - set(LENS_NAMES)
    if unknown or "focal_px" not in estimated:
        raise ValueError(
            f"figures of a lens are {LENS_NAMES}, and the focal length is always found: {estimated}"
        )
    free = np.array([name in estimated for name in LENS_NAMES])
    start = _start(views, np.array([(width_px - 1) / 2.0, (height_px - 1) / 2.0]))
    solved = _solve(views, start, free)
    covariance, undetermined = covariance_of(solved.jacobian)
    count = int(free.sum())
    if undetermined.shape[1] and np.abs(undetermined[:count]).max() > 1e-6:
        raise refusal("the views do not determine the lens", WHERE, "take views that are tilted differently")
    return _report(views, solved, covariance[:count, :count], free)


def _report(
    views: Sequence[BoardView], solved: Solved[_State], part: Array, free: BoolArray
) -> BoardCalibration:
    dof = solved.residual.size - solved.jacobian.shape[1]
    variance = solved.vpv / dof
    covariance = np.zeros((8, 8))
    covariance[np.ix_(free, free)] = part * variance
    ends = np.cumsum([len(view.marks_px) for view in views])[:-1]
    residuals = tuple(np.split(solved.residual.reshape(-1, 2), ends))
    rms = np.array([np.sqrt((rows**2).sum(axis=1).mean()) for rows in residuals])
    state = solved.state
    return BoardCalibration(
        lens=lens_of(state.lens),
        covariance=covariance,
        poses=tuple(Pose(*both) for both in zip(state.rotations, state.positions, strict=True)),
        residual_px=residuals,
        rms_px=rms,
        overall_px=float(np.sqrt((solved.residual**2).sum() / (solved.residual.size / 2))),
        mark_std_px=float(np.sqrt(variance)),
        suspects=_suspects(rms, np.array([len(rows) for rows in residuals])),
    )


def _suspects(rms: Array, counts: Array) -> tuple[SuspectView, ...]:
    """Views beyond the ratio that chance does not explain either.

    Source: F test of two variances, at 0.01 shared among the views (Bonferroni); each view gives its pose 6.
    """
    from scipy.special import fdtrc

    found = []
    for view, mine in enumerate(rms):
        others = np.delete(rms, view)
        median = float(np.median(others))
        chance = float(
            fdtrc(2 * counts[view] - 6, np.delete(2 * counts - 6, view).sum(), (mine / median) ** 2)
        )
        if mine > SUSPECT_RATIO * median and chance < 0.01 / len(rms):
            found.append(SuspectView(view, float(mine), median, chance))
    return tuple(sorted(found, key=lambda each: -each.ratio))


def _solve(views: Sequence[BoardView], start: _State, free: BoolArray) -> Solved[_State]:
    owner = np.repeat(np.arange(len(views)), [len(view.marks_px) for view in views])
    marks = np.concatenate([view.marks_px for view in views])
    corners = np.concatenate([view.corners_mm for view in views])
    points = np.column_stack([corners, np.zeros(len(corners))])
    lens_count = int(free.sum())
    index = np.arange(len(marks))

    def evaluate(state: _State) -> tuple[Array, Array]:
        lenses = np.tile(state.lens, (len(marks), 1))
        seen = project_rows(lenses, state.rotations[owner], state.positions[owner], points)
        jacobian = np.zeros((len(marks), 2, lens_count + 6 * len(views)))
        jacobian[:, :, :lens_count] = seen.by_lens[:, :, free]
        for k in range(6):
            jacobian[index, :, lens_count + 6 * owner + k] = seen.by_pose[:, :, k]
        residual = np.where((seen.depth_mm > 0.0)[:, None], marks - seen.marks_px, np.inf)
        return residual.ravel(), jacobian.reshape(-1, jacobian.shape[2])

    def move(state: _State, step: Array) -> _State:
        lens = state.lens.copy()
        lens[free] += step[:lens_count]
        turns = step[lens_count:].reshape(-1, 6)
        rotations = np.array(
            [rotation_from_vector(turn[:3]) @ old for turn, old in zip(turns, state.rotations, strict=True)]
        )
        return _State(lens, rotations, state.positions + turns[:, 3:])

    return solve(evaluate, start, move, WHERE)


def _start(views: Sequence[BoardView], centre: Array) -> _State:
    """Focal length from all homographies with the principal point in the middle, then a pose for each view."""
    rows, right = [], []
    matrices = [linear_homography(view.corners_mm, view.marks_px) for view in views]
    shift = np.array([[1.0, 0.0, -centre[0]], [0.0, 1.0, -centre[1]], [0.0, 0.0, 1.0]])
    for matrix in matrices:
        a, b = (shift @ matrix)[:, 0], (shift @ matrix)[:, 1]
        size = np.linalg.norm(a) * np.linalg.norm(b)
        rows += [(a[0] * b[0] + a[1] * b[1]) / size, (a[0] ** 2 + a[1] ** 2 - b[0] ** 2 - b[1] ** 2) / size]
        right += [-a[2] * b[2] / size, (b[2] ** 2 - a[2] ** 2) / size]
    slope, values = np.array(rows), np.array(right)
    inverse_square = float(slope @ values) / float(slope @ slope)
    focal = 1.0 / np.sqrt(inverse_square) if inverse_square > 0.0 else 2.4 * float(centre.max())
    poses = [plane_pose(matrix, focal, centre) for matrix in matrices]
    lens = np.array([focal, *centre, 0.0, 0.0, 0.0, 0.0, 0.0])
    return _State(lens, np.array([p.rotation for p in poses]), np.array([p.position_mm for p in poses]))


def plane_pose(matrix: Array, focal_px: float, centre_px: Array) -> Pose:
    """Pose of a camera that sees a plane (x, y, 0) through a homography from the plane to the picture.

    Source: Zhang 2000, section 3.1; the nearest rotation by singular values (memory).
    """
    inner = np.array([[focal_px, 0.0, centre_px[0]], [0.0, focal_px, centre_px[1]], [0.0, 0.0, 1.0]])
    columns = np.linalg.solve(inner, matrix)
    columns /= np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1]))
    if columns[2, 2] < 0.0:
        columns = -columns
    rough = np.column_stack([columns[:, :2], np.cross(columns[:, 0], columns[:, 1])])
    left, _, right = np.linalg.svd(rough)
    rotation = left @ np.diag([1.0, 1.0, np.linalg.det(left @ right)]) @ right
    return Pose(rotation, -rotation.T @ columns[:, 2])
