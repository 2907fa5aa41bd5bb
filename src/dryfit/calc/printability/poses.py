"""In which bed poses a part fits the build volume of a machine."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from dryfit.base.arrays import Array, bounds_of
from dryfit.base.rotation import rotation_from_euler, turn_about_z

_ROUNDING_MM = 1e-6  # a part as long as the room fits in it
_GRID_DEG = 1.0  # of the first look at free turns; then halved about the best until it is this fine
_FINEST_DEG = 0.01
_HULL_FROM = 200  # points above which their hull is worth finding
_QUARTERS = (0.0, 90.0, 180.0, -90.0)

Euler = tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A bed pose and the room that it leaves.

    euler_xyz_deg  extrinsic turns about x, y, z, as the document writes a bed pose
    extent_mm      (3,) of the part along the machine's axes
    spare_mm       of the tightest axis, clearance taken off; negative where the part does not fit
    is_square      a right-angle turn, rather than a free one about the vertical
    """

    euler_xyz_deg: Euler
    extent_mm: Array
    spare_mm: float
    is_square: bool

    @property
    def fits(self) -> bool:
        """Whether the part fits, clearance included."""
        return self.spare_mm >= -_ROUNDING_MM


def room_of(build_volume_mm: tuple[float, float, float], clearance_mm: float) -> Array:
    """(3,) [mm] room for a part: the clearance is kept from all four sides, not from bed and top."""
    return np.array(build_volume_mm) - np.array([2.0, 2.0, 0.0]) * clearance_mm


def fit_in_pose(points: Array, euler_xyz_deg: Euler, room_mm: Array, is_square: bool = False) -> Fit:
    """How a part (n, 3), in its own design frame, lies in the room (3,) in one pose."""
    low, high = bounds_of(points @ rotation_from_euler(euler_xyz_deg).T)
    extent = high - low
    return Fit(euler_xyz_deg, extent, float((room_mm - extent).min()), is_square)


def poses_that_fit(
    points: Array,
    build_volume_mm: tuple[float, float, float],
    clearance_mm: float,
    stated: Euler = (0.0, 0.0, 0.0),
) -> tuple[Fit, ...]:
    """Poses in which a part (n, 3) [mm], in its own design frame, fits; the easiest to reach first.

    Looked at: the 24 right-angle turns, and for the stated pose and each of the six faces downward the turn
    about the vertical that leaves most room (to a hundredth of a degree, found from a grid of one degree).
    Where none fits the result holds one pose, that which comes nearest. Order: quarter turns of the stated
    pose about the vertical, its best turn, right-angle turns, free turns; in each most room first.
    """
    room = room_of(build_volume_mm, clearance_mm)
    corners = hull_vertices(points)
    square = [fit_in_pose(corners, euler, room, True) for euler in right_angle_turns()]
    downs = [(x, y, 0.0) for x, y in _faces_down()]
    kept = [fit_in_pose(corners, (stated[0], stated[1], _wrapped(stated[2] + q)), room) for q in _QUARTERS]
    turned = [_best_turn(corners, stated, room)]
    free = [_best_turn(corners, down, room) for down in downs]
    groups = [sorted(group, key=_most_room) for group in (kept, turned, square, free)]
    found = [fit for group in groups for fit in group if fit.fits]
    if found:
        return tuple(_distinct(found))
    return (min((fit for group in groups for fit in group), key=_most_room),)


def right_angle_turns() -> tuple[Euler, ...]:
    """The 24 poses of a cube, as extrinsic turns about x, y, z."""
    return tuple((x, y, z) for x, y in _faces_down() for z in _QUARTERS)


def _faces_down() -> tuple[tuple[float, float], ...]:
    return (*product(_QUARTERS, (0.0,)), (0.0, 90.0), (0.0, -90.0))


def _best_turn(corners: Array, euler: Euler, room: Array) -> Fit:
    """The turn about the vertical after a pose that leaves most room on the bed; it changes no height."""
    level = corners @ rotation_from_euler(euler).T

    grid = np.arange(-90.0, 90.0, _GRID_DEG)
    best = float(grid[int(np.argmax([_level_spare(level, turn, room) for turn in grid]))])
    step = 0.5 * _GRID_DEG
    while step >= 0.5 * _FINEST_DEG:
        best = max((best, best - step, best + step), key=lambda turn: _level_spare(level, turn, room))
        step *= 0.5
    turned = [(euler[0], euler[1], _wrapped(euler[2] + turn)) for turn in (round(best, 2), best)]
    rounded, exact = (fit_in_pose(corners, pose, room) for pose in turned)
    return rounded if rounded.fits or not exact.fits else exact


def _level_spare(level: Array, turn_deg: float, room: Array) -> float:
    extent = np.ptp(level[:, :2] @ turn_about_z(turn_deg)[:2, :2].T, axis=0)
    return float((room[:2] - extent).min())


def _most_room(fit: Fit) -> float:
    return -round(fit.spare_mm, 6)


def _distinct(fits: list[Fit]) -> list[Fit]:
    first: dict[Euler, Fit] = {}
    for fit in fits:
        first.setdefault(fit.euler_xyz_deg, fit)
    return list(first.values())


def _wrapped(angle_deg: float) -> float:
    """The same angle over -180 and up to 180 degrees."""
    angle = round(angle_deg % 360.0, 9)
    return angle - 360.0 if angle > 180.0 else angle


def hull_vertices(points: Array) -> Array:
    """Vertices of the convex hull, or all points where they are few or flat: the extents are the same."""
    if len(points) < _HULL_FROM:
        return points
    from scipy.spatial import ConvexHull, QhullError

    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except QhullError:  # all in one plane: there is no hull to find
        return points
