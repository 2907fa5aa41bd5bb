"""The bed poses that a part may take: resting poses, turns about the vertical, and the room there is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.forecast import Chain, with_poses
from dryfit.app.geometry import PartShape, Shapes
from dryfit.base.arrays import Array
from dryfit.base.rotation import rotation_from_euler, turn_about_z
from dryfit.calc.printability import hull_vertices
from dryfit.model.part import Bed, Part
from dryfit.model.project import Project

_ROUNDING_MM = 1e-6  # a part as long as the bed fits on it


@dataclass(frozen=True, slots=True)
class Pose:
    """A resting pose, by its number among those of the part, and the turn after it."""

    rest: int
    turn_deg: float


STATED = Pose(0, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class PoseSpace:
    """What one part may do on its machine.

    rests      resting poses; the stated bed pose is number 0
    may_rest   whether each may be chosen and turned; the stated one is a start even where it may not
    rotations  (r, 3, 3) from assembly to machine axes in each
    corners    per rest (h, 3) [mm] vertices of the convex hull in machine axes
    room_mm    build volume of the machine
    is_kept    whether the part stays as it is
    """

    part: Part
    rests: tuple[Bed, ...]
    may_rest: tuple[bool, ...]
    rotations: Array
    corners: tuple[Array, ...]
    room_mm: tuple[float, float, float]
    is_kept: bool

    def extents_mm(self, pose: Pose) -> Array:
        """(3,) size of the part along the machine axes."""
        extents: Array = np.ptp(self.corners[pose.rest] @ turn_about_z(pose.turn_deg).T, axis=0)
        return extents

    def fits(self, pose: Pose) -> bool:
        """Whether the part as modelled fits the build volume."""
        return bool((self.extents_mm(pose) <= np.array(self.room_mm) + _ROUNDING_MM).all())

    def floor_mm(self, rest: int) -> float:
        """Height of the lowest point in machine axes, which no turn about the vertical changes."""
        return float(self.corners[rest][:, 2].min())

    def bed(self, pose: Pose) -> Bed:
        """The pose as the document states it: the turn adds to the last of the extrinsic angles."""
        if pose.turn_deg == 0.0:
            return self.rests[pose.rest]
        x, y, z = self.rests[pose.rest].euler_xyz_deg
        return Bed((x, y, wrapped_deg(z + pose.turn_deg)))


def wrapped_deg(angle_deg: float) -> float:
    """The same angle over -180 and up to 180 degrees, free of the last digits of a sum."""
    angle = round(angle_deg % 360.0, 9)
    return angle - 360.0 if angle > 180.0 else angle


def pose_spaces(project: Project, shapes: Shapes, keep: Sequence[str]) -> tuple[PoseSpace, ...]:
    """One per part, in the order of the document."""
    rooms = {machine.id: machine.build_volume_mm for machine in project.machines}
    return tuple(
        _space(part, shapes[part.id], rooms[part.machine], part.id in keep) for part in project.parts
    )


def _space(part: Part, shape: PartShape, room: tuple[float, float, float], is_kept: bool) -> PoseSpace:
    others = tuple(rest for rest in part.rests if rest.euler_xyz_deg != part.bed.euler_xyz_deg)
    rests = (part.bed, *others)
    may_rest = (not part.rests or len(others) < len(part.rests), *(True for _ in others))
    rotations = np.array(
        [rotation_from_euler(rest.euler_xyz_deg) @ part.placement.rotation.T for rest in rests]
    )
    corners = hull_vertices(shape.mesh.vertices)
    return PoseSpace(
        part, rests, may_rest, rotations, tuple(corners @ rotation.T for rotation in rotations), room, is_kept
    )


def grid_poses(space: PoseSpace, grid_deg: float) -> tuple[Pose, ...]:
    """The stated pose first, then every pose of the grid that fits.

    A stated pose that does not fit is left out as soon as another fits.
    """
    if space.is_kept:
        return (STATED,)
    turns = [grid_deg * step for step in range(round(360.0 / grid_deg))]
    turns = [turn - 360.0 if turn > 180.0 else turn for turn in turns]
    found = [
        pose
        for rest, may in enumerate(space.may_rest)
        if may
        for pose in (Pose(rest, turn) for turn in turns)
        if pose != STATED and space.fits(pose)
    ]
    return tuple(found) if found and not space.fits(STATED) else (STATED, *found)


def near_poses(space: PoseSpace, pose: Pose, reach_deg: float, step_deg: float) -> tuple[Pose, ...]:
    """The pose, then those round it at whole steps that fit, and the stated one where it may be."""
    if space.is_kept:
        return (pose,)
    found = [pose]
    if pose != STATED and space.fits(STATED):
        found.append(STATED)
    if space.may_rest[pose.rest]:
        low, high = (pose.turn_deg - reach_deg) / step_deg, (pose.turn_deg + reach_deg) / step_deg
        near = (
            Pose(pose.rest, step_deg * step) for step in range(int(np.ceil(low)), int(np.floor(high)) + 1)
        )
        found += [other for other in near if other not in found and space.fits(other)]
    return tuple(found)


def price_of(pose: Pose, unit: float) -> float:
    """What settles ties: few parts changed, then the same face, multiples of 90, small turns, and the positive one.

    unit : the loss that one changed part must save at least
    """
    if pose == STATED:
        return 0.0
    is_square = pose.turn_deg % 90.0 == 0.0
    turn = 0.05 * abs(pose.turn_deg) / 180.0 + 0.005 * (pose.turn_deg < 0.0)
    return unit * (1.0 + 0.3 * (pose.rest != 0) + 0.5 * (not is_square) + turn)


def with_poses_of(project: Project, spaces: Sequence[PoseSpace], poses: Sequence[Pose]) -> Project:
    """The project with its parts in these poses."""
    parts = tuple(
        part if pose == STATED else replace(part, bed=space.bed(pose))
        for part, space, pose in zip(project.parts, spaces, poses, strict=True)
    )
    return replace(project, parts=parts)


def moved_chain(chain: Chain, spaces: Sequence[PoseSpace], poses: Sequence[Pose]) -> Chain:
    """The chain with its parts in these poses."""
    return with_poses(chain, with_poses_of(chain.project, spaces, poses))
