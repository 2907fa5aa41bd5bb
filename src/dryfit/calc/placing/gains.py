"""The linear placing: gain matrices of each part and the sensitivities of results to contact offsets.

The pose of a part is x = (t, w): translation and small rotation about its centroid c. A row with unit
direction d at the material point p of its second part reads t and w through [d, (p - c) x d], and of its
first part through the negative. Part i, placed against parts that already stand, takes

    x_i = -K_i (b + J_placed x_placed),    K_i the weighted pseudo-inverse of its own rows,

with b the offsets of its locating rows. Read backwards through the bonding order, this gives the
sensitivity S of every result to every offset: y = y0 + S b.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.base.arrays import Array, BoolArray, IntArray, cross
from dryfit.model.contacts import ON_GROUND, ContactTable

# Singular values below this share of the largest, with rotations scaled by the size of the part, count
# as a free motion: a pin and slot a thousandth of the part's size apart still locate it.
RANK_TOLERANCE = 1e-6
# A play of zero means a perfect contact; it must still have a finite weight against the others.
PERFECT_PLAY_MM = 1e-3


@dataclass(frozen=True, slots=True, eq=False)
class PartPlacing:
    """How one part is placed.

    part     its index
    rows     (m,)  indices of its locating rows
    sign     (m,)  +1 where the part is second in the row, -1 where it is first
    jacobian (m, 6) of its own pose, signs included
    gain     (6, m) K: pose = -gain @ (offsets + motions of the parts that stand)
    inverse  (6, 6) inverse of the weighted second derivatives on the motions that are held
    carriers (k,)  numbers of the steps of the parts that it rests on
    coupling (6, 6 k) how its pose follows theirs, with the opposite sign
    range_   (6, r) basis of the motions that its contacts hold
    free     (6, 6 - r) basis of the motions that nothing holds; translations [mm], rotations [rad]
    size_mm  length that makes a rotation comparable with a translation
    """

    part: int
    rows: IntArray
    sign: Array
    jacobian: Array
    gain: Array
    inverse: Array
    carriers: IntArray
    coupling: Array
    range_: Array
    free: Array
    size_mm: float


@dataclass(frozen=True, slots=True, eq=False)
class Level:
    """Parts that rest on earlier levels only: e pairs of a step and one that it rests on.

    steps, carriers  (e,) numbers of steps
    coupling         (e, 6, 6) how the pose of the first follows the second, with the opposite sign
    """

    steps: IntArray
    carriers: IntArray
    coupling: Array


@dataclass(frozen=True, slots=True, eq=False)
class Placing:
    """The placed assembly: parts in bonding order and the matrices of their placing.

    steps    one per placed part, in bonding order; the datum has none: it stands at its nominal place
    to_first, to_second  (n, 6) pose derivatives of every row of the table for its two parts
    rows      (m,)  all locating rows, step after step
    starts    (steps + 1,) where each step begins in rows
    owner     (m,)  the part that each row places
    standing  (m,)  the part at the other side, which stands already
    sign, is_second  (m,) +1 and True where the placed part is second in the row
    weight    (m,) [1/mm] one over the play
    levels    the parts by how many others they rest on one after the other
    """

    steps: tuple[PartPlacing, ...]
    to_first: Array
    to_second: Array
    rows: IntArray
    starts: IntArray
    owner: IntArray
    standing: IntArray
    sign: Array
    is_second: BoolArray
    weight: Array
    levels: tuple[Level, ...]


def row_jacobians(table: ContactTable, centroids: Array) -> tuple[Array, Array]:
    """Derivatives (n, 6) of each row's separation by the poses of its first and second part."""
    padded = np.vstack([centroids, np.zeros((1, 3))])  # the ground, index -1, picks the last row
    arm_first = cross(table.p_first - padded[table.first], table.direction)
    arm_second = cross(table.p_second - padded[table.second], table.direction)
    to_first = -np.hstack([table.direction, arm_first])
    to_second = np.hstack([table.direction, arm_second])
    to_first[table.first == ON_GROUND] = 0.0
    to_second[table.second == ON_GROUND] = 0.0
    return to_first, to_second


def solve_placing(table: ContactTable, centroids: Array, sizes_mm: Array, order: Sequence[int]) -> Placing:
    """Place the parts one after the other against those that already stand.

    centroids : (n_parts, 3) [mm]
    sizes_mm  : (n_parts,) a typical length of each part
    order : part indices in bonding order; parts not in it stand at their nominal place from the start
    """
    to_first, to_second = row_jacobians(table, centroids)
    position = np.full(len(centroids) + 1, -1)
    for number, part in enumerate(order):
        position[part] = number
    later = np.maximum(position[table.first], position[table.second])
    by_step = _rows_by_step(np.where(table.is_locating, later, -1), len(order))
    steps = tuple(
        _place_part(part, by_step[number], table, to_first, to_second, float(sizes_mm[part]), position)
        for number, part in enumerate(order)
    )
    none = np.zeros(0, dtype=np.int64)
    rows = np.concatenate([none, *(step.rows for step in steps)])
    owner = np.concatenate([none, *(np.full(len(step.rows), step.part) for step in steps)])
    is_second = table.second[rows] == owner
    return Placing(
        steps=steps,
        to_first=to_first,
        to_second=to_second,
        rows=rows,
        starts=np.cumsum([0, *(len(step.rows) for step in steps)]),
        owner=owner,
        standing=np.where(is_second, table.first[rows], table.second[rows]),
        sign=np.where(is_second, 1.0, -1.0),
        is_second=is_second,
        weight=1.0 / np.maximum(table.play_std_mm[rows], PERFECT_PLAY_MM),
        levels=_sort_levels(steps),
    )


def _sort_levels(steps: tuple[PartPlacing, ...]) -> tuple[Level, ...]:
    depth: list[int] = []
    pairs: dict[int, list[tuple[int, int, Array]]] = {}
    for number, step in enumerate(steps):
        own = 1 + max((depth[carrier] for carrier in step.carriers), default=-1)
        depth.append(own)
        for place, carrier in enumerate(step.carriers):
            block = step.coupling[:, 6 * place : 6 * place + 6]
            pairs.setdefault(own, []).append((number, int(carrier), block))
    return tuple(
        Level(
            np.array([number for number, _, _ in found]),
            np.array([carrier for _, carrier, _ in found]),
            np.array([block for _, _, block in found]),
        )
        for _, found in sorted(pairs.items())
    )


def _rows_by_step(step_of_row: IntArray, count: int) -> list[IntArray]:
    order = np.argsort(step_of_row, kind="stable")
    bounds = np.searchsorted(step_of_row[order], np.arange(count + 1))
    return [order[bounds[step] : bounds[step + 1]] for step in range(count)]


def _place_part(
    part: int,
    rows: IntArray,
    table: ContactTable,
    to_first: Array,
    to_second: Array,
    size_mm: float,
    position: IntArray,
) -> PartPlacing:
    is_second = table.second[rows] == part
    jacobian = np.where(is_second[:, None], to_second[rows], to_first[rows])
    scale = np.array([1.0, 1.0, 1.0, 1.0 / size_mm, 1.0 / size_mm, 1.0 / size_mm])
    range_, free = _split_motions(jacobian * scale)
    weight = 1.0 / np.maximum(table.play_std_mm[rows], PERFECT_PLAY_MM)
    basis = scale[:, None] * range_
    held = weight[:, None] * (jacobian @ basis)
    inverted = np.linalg.pinv(held) if len(rows) else np.zeros((0, 0))
    gain = basis @ (inverted * weight)
    standing = np.where(is_second, table.first[rows], table.second[rows])
    motion = np.where(is_second[:, None], to_first[rows], to_second[rows])
    carriers = np.unique(position[standing])
    carriers = carriers[carriers >= 0]
    blocks = [gain[:, position[standing] == step] @ motion[position[standing] == step] for step in carriers]
    return PartPlacing(
        part=part,
        rows=rows,
        sign=np.where(is_second, 1.0, -1.0),
        jacobian=jacobian,
        gain=gain,
        inverse=basis @ (inverted @ inverted.T) @ basis.T,
        carriers=carriers,
        coupling=np.hstack([np.zeros((6, 0)), *blocks]),
        range_=basis,
        free=scale[:, None] * free,
        size_mm=size_mm,
    )


def free_basis(jacobian: Array, size_mm: float) -> Array:
    """Basis (6, k) of the motions that rows (m, 6) leave free: translations [mm], rotations [rad]."""
    scale = np.array([1.0, 1.0, 1.0, 1.0 / size_mm, 1.0 / size_mm, 1.0 / size_mm])
    return np.asarray(scale[:, None] * _split_motions(jacobian * scale)[1])


def _split_motions(jacobian: Array) -> tuple[Array, Array]:
    """Orthonormal bases of the motions that the rows hold and of those that they leave free."""
    if len(jacobian) == 0:
        return np.zeros((6, 0)), np.eye(6)
    _, values, right = np.linalg.svd(jacobian, full_matrices=True)
    rank = int((values > RANK_TOLERANCE * values[0]).sum()) if values[0] > 0 else 0
    return right[:rank].T, right[rank:].T


def sensitivities(combination: Array, table: ContactTable, placing: Placing) -> tuple[Array, BoolArray]:
    """How results that are linear combinations of rows depend on the offsets of all rows.

    combination : (k, n) weights of the rows in each result
    Returns S (k, n), with y = y0 + S b, and whether each result depends on a free motion of each part
    (k, parts).
    """
    results = len(combination)
    by_pose = _pose_gradients(combination, table, placing)
    total = combination.copy()
    free_of = np.zeros((results, by_pose.shape[1]), dtype=np.bool_)
    for step in reversed(placing.steps):
        gradient = by_pose[:, step.part]
        if not gradient.any():
            continue
        if step.free.shape[1]:
            scale = max(1.0, float(np.abs(combination).sum(axis=1).max(initial=0.0)))
            free_of[:, step.part] = np.abs(gradient @ step.free).max(axis=1) > RANK_TOLERANCE * scale
        passed = -gradient @ step.gain
        total[:, step.rows] += passed
        other = np.where(step.sign > 0, table.first[step.rows], table.second[step.rows])
        motion = np.where((step.sign > 0)[:, None], placing.to_first[step.rows], placing.to_second[step.rows])
        for part in np.unique(other[other != ON_GROUND]):
            mine = other == part
            by_pose[:, part] += passed[:, mine] @ motion[mine]
    return total, free_of


def _pose_gradients(combination: Array, table: ContactTable, placing: Placing) -> Array:
    """(k, parts, 6): derivative of each result by the pose of each part."""
    parts = int(max(table.first.max(initial=-1), table.second.max(initial=-1))) + 1
    parts = max(parts, 1 + max((step.part for step in placing.steps), default=-1))
    gradients = np.zeros((len(combination), parts, 6))
    result, row = np.nonzero(combination)
    weight = combination[result, row]
    for side, motion in ((table.first, placing.to_first), (table.second, placing.to_second)):
        moves = side[row] != ON_GROUND
        np.add.at(gradients, (result[moves], side[row[moves]]), weight[moves, None] * motion[row[moves]])
    return gradients
