"""Exact placing: finite rotations, part after part in bonding order.

Each part takes the pose that minimises the weighted sum of squares of its locating contacts against the
parts that stand. The direction of a contact belongs to the face that already stands: it turns with that
part as the part itself has turned, so that a pin in a leaning part leans with it.

All parts are iterated together. A step evaluates the gradient of every part at the current poses, with
finite rotations, and corrects the poses by the nominal second derivatives in the frame of each part as it
is turned, handing the correction of each part on to those that rest on it. A pose that no step moves has
gradient zero: it is the exact minimum, although the second derivatives are only near it. Where the common
iteration does not settle, each part is settled by Gauss-Newton in bonding order; both end at the same place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, IntArray, cross
from dryfit.base.rotation import rotation_from_vector, rotations_from_vectors
from dryfit.calc.placing.gains import PERFECT_PLAY_MM, PartPlacing, Placing
from dryfit.model.contacts import ContactTable

_STEP_MM = 1e-8  # a step below this has converged, rotations scaled by the part's size
_COMMON_STEPS = 40
_SINGLE_STEPS = 100


class NotSettled(ArithmeticError):
    """A part does not settle on its contacts. part: its index."""

    def __init__(self, part: int) -> None:
        super().__init__(part)
        self.part = part


@dataclass(frozen=True, slots=True, eq=False)
class Poses:
    """Where the parts stand: x(p) = centroid + translation + rotation @ (printed - centroid).

    rotation     (parts, 3, 3)
    translation  (parts, 3) [mm]
    x_first, x_second  (n, 3) [mm] placed positions of the two material points of every row
    residual_rms_mm    (parts,) [mm] root mean square of the residuals of the rows that locate each part
    """

    rotation: Array
    translation: Array
    x_first: Array
    x_second: Array
    residual_rms_mm: Array


@dataclass(frozen=True, slots=True, eq=False)
class _Printed:
    """The input of the placing: arms of the printed points about their parts' centroids, and gaps.

    The ground is part number `parts`, with centroid 0 and identity pose.
    """

    table: ContactTable
    first: IntArray
    second: IntArray
    direction: Array
    centroids: Array
    arm_first: Array
    arm_second: Array
    gap: Array

    def locating(self, rows: IntArray) -> _Printed:
        """Some of the rows, in that order: the iteration needs only those that locate a part."""
        return _Printed(
            self.table,
            self.first[rows],
            self.second[rows],
            self.direction[rows],
            self.centroids,
            self.arm_first[rows],
            self.arm_second[rows],
            self.gap[rows],
        )

    def positions(self, rotation: Array, translation: Array) -> tuple[Array, Array]:
        """Placed positions (n, 3) of both points of every row."""
        placed = []
        for part, arm in ((self.first, self.arm_first), (self.second, self.arm_second)):
            turned = np.einsum("nij,nj->ni", rotation[part], arm)
            placed.append(turned + self.centroids[part] + translation[part])
        return placed[0], placed[1]


def place_exactly(
    table: ContactTable,
    placing: Placing,
    centroids: Array,
    printed_first: Array,
    printed_second: Array,
    designed_gap: Array,
) -> Poses:
    """Place the printed parts with finite rotations.

    centroids : (parts, 3) [mm] nominal centroids, about which poses turn
    printed_first, printed_second : (n, 3) [mm] printed positions of each row's points before placing
    designed_gap : (n,) [mm] separation that each locating row seeks
    Raises NotSettled where a part does not settle, which means that the stated errors are so
    large that the contacts no longer determine a place near the nominal one.
    """
    padded = np.vstack([centroids, np.zeros((1, 3))])
    printed = _Printed(
        table,
        table.first,
        table.second,
        table.direction,
        padded,
        printed_first - padded[table.first],
        printed_second - padded[table.second],
        designed_gap,
    )
    poses = _settle_together(printed, placing)
    if poses is None:
        poses = _settle_in_order(printed, placing)
    rotation, translation = poses
    x_first, x_second = printed.positions(rotation, translation)
    rows = placing.rows
    misfit, _ = _misfits(printed.locating(rows), placing, rotation, x_first[rows], x_second[rows])
    residual = np.zeros(len(centroids))
    for step, start, end in zip(placing.steps, placing.starts[:-1], placing.starts[1:], strict=True):
        if end > start:
            residual[step.part] = float(np.sqrt(np.mean(misfit[start:end] ** 2)))
    return Poses(rotation[:-1], translation[:-1], x_first, x_second, residual)


def _misfits(
    printed: _Printed, placing: Placing, rotation: Array, x_first: Array, x_second: Array
) -> tuple[Array, Array]:
    """Misfits (m,) of the locating rows in bonding order, and their carried directions (m, 3).

    printed, x_first, x_second : of the locating rows only
    """
    carried = np.einsum("nij,nj->ni", rotation[placing.standing], printed.direction)
    separation = np.einsum("ij,ij->i", carried, x_second - x_first)
    return separation - printed.gap, carried


def _identity(count: int) -> tuple[Array, Array]:
    return np.tile(np.eye(3), (count, 1, 1)), np.zeros((count, 3))


def _settle_together(printed: _Printed, placing: Placing) -> tuple[Array, Array] | None:
    """Common iteration of all parts; None where it does not settle."""
    rotation, translation = _identity(len(printed.centroids))
    if not placing.steps:
        return rotation, translation
    parts = np.array([step.part for step in placing.steps])
    sizes = np.array([step.size_mm for step in placing.steps])
    inverse = np.array([step.inverse for step in placing.steps])
    located = printed.locating(placing.rows)
    arms = np.where(placing.is_second[:, None], located.arm_second, located.arm_first)
    best = np.inf
    for _ in range(_COMMON_STEPS):
        x_first, x_second = located.positions(rotation, translation)
        misfit, carried = _misfits(located, placing, rotation, x_first, x_second)
        signed = placing.sign[:, None] * carried
        own = np.einsum("nij,nj->ni", rotation[placing.owner], arms)
        pull = (placing.weight**2 * misfit)[:, None] * np.hstack([signed, cross(own, signed)])
        gradient = _sum_by_step(pull, placing.starts)
        turn = rotation[parts]
        local = _turned(np.swapaxes(turn, 1, 2), gradient)
        moves = _turned(turn, _hand_on(-np.einsum("nij,nj->ni", inverse, local), placing))
        translation[parts] += moves[:, :3]
        rotation[parts] = rotations_from_vectors(moves[:, 3:]) @ turn
        largest = float((np.abs(moves[:, :3]).max(axis=1) + sizes * np.abs(moves[:, 3:]).max(axis=1)).max())
        if largest < _STEP_MM:
            return rotation, translation
        if not np.isfinite(largest) or largest > 1e3 * best:
            return None
        best = min(best, largest)
    return None


def _turned(rotation: Array, moves: Array) -> Array:
    """Shifts and turns (n, 6) seen in frames turned by (n, 3, 3)."""
    return (rotation[:, None] @ moves.reshape(-1, 2, 3, 1)).reshape(-1, 6)


def _sum_by_step(values: Array, starts: IntArray) -> Array:
    """Sums of rows (m, k) between consecutive starts."""
    total = np.vstack([np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)])
    summed: Array = total[starts[1:]] - total[starts[:-1]]
    return summed


def _hand_on(moves: Array, placing: Placing) -> Array:
    """Add to the move of each part what follows from the moves of the parts that it rests on."""
    for level in placing.levels:
        followed = np.einsum("eij,ej->ei", level.coupling, moves[level.carriers])
        np.subtract.at(moves, level.steps, followed)
    return moves


def _settle_in_order(printed: _Printed, placing: Placing) -> tuple[Array, Array]:
    rotation, translation = _identity(len(printed.centroids))
    x_first, x_second = printed.positions(rotation, translation)
    table = printed.table
    for step in placing.steps:
        part = step.part
        rotation[part], translation[part] = _settle_part(step, printed, rotation, x_first, x_second)
        for side, arm, placed in (
            (table.first, printed.arm_first, x_first),
            (table.second, printed.arm_second, x_second),
        ):
            mine = side == part
            placed[mine] = arm[mine] @ rotation[part].T + printed.centroids[part] + translation[part]
    return rotation, translation


def _settle_part(
    step: PartPlacing, printed: _Printed, rotation: Array, x_first: Array, x_second: Array
) -> tuple[Array, Array]:
    """Gauss-Newton for one part; the others stand. Returns rotation and translation."""
    rows, table = step.rows, printed.table
    turn, shift = np.eye(3), np.zeros(3)
    if len(rows) == 0:
        return turn, shift
    is_second = step.sign > 0
    own = np.where(is_second[:, None], printed.arm_second[rows], printed.arm_first[rows])
    other = np.where(is_second[:, None], x_first[rows], x_second[rows]) - printed.centroids[step.part]
    standing = np.where(is_second, table.first[rows], table.second[rows])
    carried = np.einsum("nij,nj->ni", rotation[standing], table.direction[rows])
    signed = step.sign[:, None] * carried
    weight = 1.0 / np.maximum(table.play_std_mm[rows], PERFECT_PLAY_MM)
    for _ in range(_SINGLE_STEPS):
        arm = own @ turn.T
        misfit = np.einsum("ij,ij->i", signed, arm + shift - other) - printed.gap[rows]
        jacobian = np.hstack([signed, cross(arm, signed)]) @ step.range_
        solved = np.linalg.lstsq(weight[:, None] * jacobian, -weight * misfit, rcond=None)[0]
        move = step.range_ @ solved
        shift = shift + move[:3]
        turn = rotation_from_vector(move[3:]) @ turn
        if np.abs(move[:3]).max() + step.size_mm * np.abs(move[3:]).max() < _STEP_MM:
            return turn, shift
    raise NotSettled(step.part)
