"""What a scan can tell: whether another pose fits as well, and which motions nothing holds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.base.arrays import Array, BoolArray
from dryfit.calc.scans.fine import FinePose, PoseInformation, robust_scatter
from dryfit.calc.scans.rigid import RigidMotion, rotation_vector, small_motion, step_between
from dryfit.calc.scans.sampled import ClosestSurface
from dryfit.calc.scans.surface import NominalSurface
from dryfit.calc.scans.thinning import voxel_keys

# A pose is worse only where its misfit exceeds the best one's by this many standard uncertainties (common
# practice, no source).
CLEARLY = 4.0
# Misfit is the squared distance over (3 scatter)^2, at most 1: pure noise has about 0.11. A rise of less than this
# is no evidence, however many points there are: form and facets make as much (common practice, no source).
LEAST_RISE = 0.004
_CUT = 3.0
_BLOCKS = 14


@dataclass(frozen=True, slots=True)
class Comparison:
    """How much worse a pose fits: rise of the misfit, and that over its standard uncertainty."""

    rise: float
    significance: float

    @property
    def is_as_good(self) -> bool:
        """The scan cannot tell it from the best."""
        return self.rise < LEAST_RISE or self.significance < CLEARLY


@dataclass(frozen=True, slots=True, eq=False)
class FreeMotion:
    """A motion that the scan does not hold, as a step (6,) about the middle of the part.

    kind   "turn", "shift" or "screw"
    axis   (3,) unit: of the turn, or direction of the shift      point_mm (3,) on the axis
    """

    step: Array
    kind: str
    axis: Array
    point_mm: Array


def misfit(surface: ClosestSurface, placed: Array, scatter_mm: float) -> Array:
    """Squared distance of each point over (3 scatter)^2, at most 1."""
    distance = surface.nearest(placed).distance_mm
    return np.minimum((distance / (_CUT * scatter_mm)) ** 2, 1.0)


def compare_poses(
    surface: ClosestSurface, points: Array, best: RigidMotion, other: RigidMotion, scatter_mm: float
) -> Comparison:
    """How much worse `other` fits the points (n, 3) of the scan than `best`, paired point by point."""
    ours = misfit(surface, best.apply(points), scatter_mm)
    theirs = misfit(surface, other.apply(points), scatter_mm)
    return compare_misfits(ours, theirs, best.apply(points), surface)


def compare_misfits(ours: Array, theirs: Array, places: Array, surface: ClosestSurface) -> Comparison:
    """The same from the misfits (n,) of both and the places (n, 3) of the points on the part."""
    # Points off the part in both poses are outliers and say nothing.
    told = (ours < 1.0) | (theirs < 1.0)
    if not told.any():
        return Comparison(0.0, 0.0)
    ours, theirs, places = ours[told], theirs[told], places[told]
    mean = float((theirs - ours).mean())
    key = voxel_keys(places, surface.diagonal_mm / _BLOCKS, places.min(axis=0))
    block = np.unique(key, return_inverse=True)[1].reshape(-1)
    # How much the misfit of the best pose itself goes up and down from block to block: what chance and form do.
    # Twice that, since two poses are compared.
    chance = np.bincount(block, ours - ours.mean())
    std = math.sqrt(2.0 * float((chance**2).sum())) / len(ours)
    significance = mean / std if std > 0.0 else math.copysign(math.inf, mean)
    return Comparison(mean, significance)


def coarse_scatter(surface: NominalSurface, scatter_mm: float) -> float:
    """The scatter [mm] of a scan of the round body that the facets of the surface stand for."""
    return math.hypot(scatter_mm, surface.facet_height_mm())


def find_free_motions(
    surface: NominalSurface, points: Array, pose: FinePose, information: PoseInformation
) -> tuple[FreeMotion, ...]:
    """Motions along which the scan can slide on the part without fitting worse: turns, shifts or screws.

    Each weak direction of the normal matrix is tried out: the scan is moved along it by much more than its
    scatter, there and back, once and twice as far. The facets of a round hold nothing: what is compared is
    coarser than they are.
    """
    free: list[Array] = []
    pose = replace(pose, scatter_mm=coarse_scatter(surface, pose.scatter_mm))
    ours = misfit(surface, pose.motion.apply(points), pose.scatter_mm)
    placed = pose.motion.apply(points)
    for k in range(6):
        if information.values[k] > 0.1 * information.values[-1]:
            continue
        direction = information.vectors[:, k]
        if _slides(surface, points, pose, information, direction, ours, placed):
            free.append(direction)
    if not free:
        return ()
    return tuple(_describe(step, information) for step in _simplest(np.array(free).T, information))


def _slides(
    surface: NominalSurface,
    points: Array,
    pose: FinePose,
    information: PoseInformation,
    direction: Array,
    ours: Array,
    placed: Array,
) -> bool:
    far = max(8.0 * pose.scatter_mm, 0.02 * surface.diagonal_mm)
    step = np.concatenate([direction[:3] / information.length_mm, direction[3:]])
    moved = small_motion(1e-3 * step, information.middle).apply(placed) - placed
    speed = math.sqrt(float((moved**2).sum(axis=1).mean())) / 1e-3
    for times in (1.0, -1.0, 2.0, -2.0):
        tried = small_motion(times * far / max(speed, 1e-12) * step, information.middle).apply(placed)
        theirs = misfit(surface, tried, pose.scatter_mm)
        # A shift runs off the end of the part: points that leave it say nothing about sliding.
        kept = ~_beyond_ends(surface, tried, placed)
        if kept.sum() < 0.5 * len(ours):
            return False
        if not compare_misfits(ours[kept], theirs[kept], placed[kept], surface).is_as_good:
            return False
    return True


def _beyond_ends(surface: NominalSurface, tried: Array, placed: Array) -> BoolArray:
    """Which points left the box of the part though they were in it: there the part ends."""
    low, high = surface.bounds[0] - 1e-9, surface.bounds[1] + 1e-9
    slack = 0.002 * surface.diagonal_mm
    was_in = ((placed >= low - slack) & (placed <= high + slack)).all(axis=1)
    is_out = ((tried < low - slack) | (tried > high + slack)).any(axis=1)
    return np.asarray(was_in & is_out)


def _simplest(space: Array, information: PoseInformation) -> list[Array]:
    """A basis of the free space with pure shifts first, then turns, as plain as they can be."""
    turn = space[:3]
    left, size, right = np.linalg.svd(turn)
    rank = int((size > 0.05).sum())
    shifts = space @ right[rank:].T
    turns = space @ right[:rank].T
    basis = [shifts[:, k] for k in range(shifts.shape[1])]
    for k in range(turns.shape[1]):
        step = turns[:, k].copy()
        for shift in basis[: shifts.shape[1]]:
            step = step - (step @ shift) / (shift @ shift) * shift
        basis.append(step)
    del left
    return [step / np.linalg.norm(step) for step in basis]


def _describe(step: Array, information: PoseInformation) -> FreeMotion:
    turn, shift = step[:3] / information.length_mm, step[3:]
    size = float(np.linalg.norm(turn))
    if np.linalg.norm(step[:3]) < 0.05:
        return FreeMotion(step, "shift", shift / np.linalg.norm(shift), information.middle)
    axis = turn / size
    along = float(shift @ axis)
    point = information.middle + np.cross(axis, shift) / size
    reach = size * information.length_mm
    return FreeMotion(step, "screw" if abs(along) > 0.05 * reach else "turn", axis, point)


@dataclass(frozen=True, slots=True, eq=False)
class Alternative:
    """Another pose that fits as well, or the nearest that does not.

    motion      scan to part        change  from where the best pose lays the scan to where this one does
    axis (3,), angle_deg, point_mm (3,), along_mm: the same as a turn about a line and a shift along it
    """

    motion: RigidMotion
    change: RigidMotion
    comparison: Comparison
    axis: Array
    angle_deg: float
    point_mm: Array
    along_mm: float


def as_alternative(
    best: RigidMotion, other: RigidMotion, comparison: Comparison, middle: Array
) -> Alternative:
    """An alternative in words of a line and a turn (Chasles; memory)."""
    change = other.after(best.inverse())
    vector = rotation_vector(change.rotation)
    angle = float(np.linalg.norm(vector))
    if angle < 1e-4:
        size = float(np.linalg.norm(change.shift_mm))
        axis = change.shift_mm / size if size > 0.0 else np.array([0.0, 0.0, 1.0])
        return Alternative(other, change, comparison, axis, 0.0, middle, size)
    axis = vector / angle
    if axis[int(np.argmax(np.abs(axis)))] < 0.0 and angle > math.pi - 1e-3:
        axis = -axis
    shift = change.rotation @ middle + change.shift_mm - middle
    along = float(shift @ axis)
    across = shift - along * axis
    half = np.cross(axis, across) / (2.0 * math.tan(angle / 2.0))
    return Alternative(
        other, change, comparison, axis, math.degrees(angle), middle + 0.5 * across + half, along
    )


def is_same_family(
    one: RigidMotion,
    other: RigidMotion,
    free: Sequence[FreeMotion],
    middle: Array,
    length_mm: float,
    within_mm: float,
) -> bool:
    """Whether two poses are the same but for motions that nothing holds."""
    if not free:
        back = one.rotation.T @ (middle - one.shift_mm)
        if float(np.linalg.norm(other.rotation @ back + other.shift_mm - middle)) >= within_mm:
            return False
    step = step_between(one, other, middle)
    scaled = np.concatenate([step[:3] * length_mm, step[3:]])
    if float(np.linalg.norm(scaled)) < within_mm:
        return True
    if not free:
        return False
    space = np.linalg.qr(np.array([motion.step for motion in free]).T)[0]
    # Large turns: the nearest free motion is followed as a motion, and what is left is looked at again.
    left = other
    for _ in range(12):
        step = step_between(one, left, middle)
        scaled = np.concatenate([step[:3] * length_mm, step[3:]])
        if float(np.linalg.norm(scaled)) < within_mm:
            return True
        back = space @ (space.T @ scaled)
        if float(np.linalg.norm(back)) < 0.1 * within_mm:
            return False
        undo = small_motion(-np.concatenate([back[:3] / length_mm, back[3:]]), middle)
        left = undo.after(left)
    return False


def scatter_of(surface: NominalSurface, points: Array, motion: RigidMotion, reach_mm: float) -> float:
    """Robust standard deviation of the distances within reach."""
    distance = surface.nearest(motion.apply(points)).distance_mm
    near = np.abs(distance) < reach_mm
    return robust_scatter(distance[near], 1e-7 * surface.diagonal_mm)
