"""Gaps that were measured at joints, as news about everything that they hang on.

A measured gap m is linear in the same sources as the lines l of the structure. After it, a line is expected at
l + G (measured - expected), and what remains uncertain of it is that of l - G m and of the measuring. So the remaining
causes are those of a structure whose sensitivities are S_l - G S_m: one pass through the same chain gives them with
every share under its own name. Only the targets of the measured contacts (play, bond line) need a word of their own: a
target moves the parts, but is no part of the separation itself, so that its share in m is S_m less the contact.

Play that is not normal counts by its standard uncertainty where gaps were measured at its joint.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.as_built import AsBuiltParts
from dryfit.app.causes import Causes, Independent, Left, gather_causes, shared_sources, sum_independent
from dryfit.app.geometry import Shapes
from dryfit.app.handwork import WorkedRows, add_worked, face_rows, with_causes
from dryfit.app.learning import Known, learn, line_rows, share_sources
from dryfit.app.motion import Motion, build_motion
from dryfit.app.outcomes import row_variance
from dryfit.app.shims import Shim, with_shims
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array, IntArray
from dryfit.base.estimate import HALF_WIDTHS, Estimate
from dryfit.calc.chain import remaining_lines
from dryfit.calc.placing import Poses, sensitivities
from dryfit.model.handwork import GapReading
from dryfit.model.project import Project

# A gap that is stated to be known exactly still needs a weight against the others.
_LEAST_STD_MM = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class ChainState:
    """What the lines of a chain follow from: the stages of app.forecast.Chain, one by one."""

    project: Project
    shapes: Shapes
    structure: Structure
    motion: Motion
    independent: Independent
    as_built: AsBuiltParts | None
    shims: tuple[Shim, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """What is expected of the q lines once measured gaps are counted with.

    causes      of what remains
    structure   with the sensitivities of what remains
    correction  (q,) by which the lines are expected off their placed values
    expected_mm, expected_std_mm  (m,) what each gap was expected to be, and how well that was known, measuring included
    left_out    measured gaps whose contacts are no longer there, in words
    """

    causes: Causes
    structure: Structure
    correction: Array
    expected_mm: Array
    expected_std_mm: Array
    left_out: tuple[str, ...]


def settle_gaps(
    state: ChainState,
    causes: Causes,
    worked: WorkedRows,
    poses: Poses,
    gaps: Sequence[GapReading],
) -> Settled:
    """Count with measured gaps.

    causes : without them and without handwork   poses : as placed, handwork counted with
    """
    structure = state.structure
    weights, kept, left_out = _weights(structure, gaps)
    if not kept:
        done = add_worked(state.project, structure, causes, worked)
        return Settled(
            done, structure, np.zeros(len(structure.sensitivity)), np.zeros(0), np.zeros(0), left_out
        )
    measured = _measured_joints(structure, weights)
    state = replace(state, structure=_normal_play(structure, measured))
    structure = state.structure
    of_gaps, _ = sensitivities(weights, structure.table, structure.placing)
    between, crossed = _covariances(state, worked, of_gaps, weights, measured)
    noise = np.maximum(np.array([item.std_mm for item in kept]), _LEAST_STD_MM)
    total = between + np.diag(noise**2)
    gain: Array = np.asarray(np.linalg.solve(total, crossed.T).T, dtype=np.float64)
    separation = np.einsum("ij,ij->i", structure.table.direction, poses.x_second - poses.x_first)
    expected = weights @ separation
    observed = np.array([item.value_mm for item in kept])
    remaining, after = _remaining(state, worked, gain, of_gaps, weights, measured)
    nominal = weights @ structure.table.nominal_separation
    by_gap = gain * (observed - nominal)
    names = [f"{item.joint}.gap" for item in kept]
    spread, reach = (gain * noise) ** 2, np.abs(gain) * noise * HALF_WIDTHS["normal"]
    left = remaining.left
    if left is not None:
        left = replace(left, errors=np.hstack([left.errors, (gain * noise)[left.lines]]))
    whole = with_causes(remaining, names, list(by_gap.T), list(spread.T), list(reach.T), left)
    expected_std = np.sqrt(np.maximum(total.diagonal(), 0.0))
    return Settled(whole, after, gain @ (observed - expected), expected, expected_std, left_out)


def _weights(
    structure: Structure, gaps: Sequence[GapReading]
) -> tuple[Array, list[GapReading], tuple[str, ...]]:
    """(m, n) weights of the rows in each measured gap; gaps of contacts that are not there are left out."""
    rows_of: dict[str, IntArray] = {item.joint: face_rows(structure, item.joint) for item in gaps}
    found, kept, left_out = [], [], []
    for item in gaps:
        rows = rows_of[item.joint]
        if len(rows) == 0 or item.contact > len(rows):
            left_out.append(
                f"the gap measured at contact {item.contact} of joint {item.joint} is not counted with: the joint has "
                f"{len(rows)} face contacts now"
            )
            continue
        weight = np.zeros(len(structure.table))
        weight[rows if item.contact == 0 else rows[item.contact - 1 : item.contact]] = (
            1.0 / len(rows) if item.contact == 0 else 1.0
        )
        found.append(weight)
        kept.append(item)
    return np.array(found).reshape(len(found), len(structure.table)), kept, tuple(left_out)


def _measured_joints(structure: Structure, weights: Array) -> Mapping[int, IntArray]:
    """By index of a joint, the rows of it that any gap was measured at."""
    rows = np.nonzero(weights.any(axis=0))[0]
    joints = structure.table.joint[rows]
    return {int(joint): np.asarray(rows[joints == joint]) for joint in np.unique(joints)}


def _normal_play(structure: Structure, measured: Mapping[int, IntArray]) -> Structure:
    rows = tuple(
        replace(row, contact_play=Estimate(0.0, row.contact_play.std)) if index in measured else row
        for index, row in enumerate(structure.joint_rows)
    )
    return replace(structure, joint_rows=rows)


def _with_lines(state: ChainState, sensitivity: Array) -> ChainState:
    """The same chain with other lines; lines beyond the structure's own belong to no characteristic."""
    structure = state.structure
    more = len(sensitivity) - len(structure.sensitivity)
    wide = replace(
        structure,
        sensitivity=sensitivity,
        results=np.concatenate([structure.results, np.full(more, -1, dtype=np.int64)]),
        free_of=np.vstack([structure.free_of, np.zeros((more, structure.free_of.shape[1]), dtype=bool)]),
    )
    stands = (state.motion.to_machine, state.motion.floors)
    motion = build_motion(state.project, state.shapes, wide, stands)
    return replace(state, structure=wide, motion=motion, independent=sum_independent(state.project, wide))


def _causes_of(state: ChainState) -> tuple[Causes, Known | None]:
    known = None
    if state.as_built is not None:
        known = learn(
            state.project, state.shapes, state.structure, state.motion, state.independent, state.as_built
        )
    causes = (
        gather_causes(state.project, state.structure, state.motion, state.independent)
        if known is None
        else known.causes
    )
    return with_shims(causes, state.structure, state.shims), known


def _play_std(structure: Structure) -> Array:
    """(n,) of each row that counts with normal play; 0 elsewhere."""
    table = structure.table
    rows = structure.joint_rows
    normal = [
        locates and (rows[joint].contact_play if face else rows[joint].locator_play).distribution == "normal"
        for joint, face, locates in zip(table.joint, table.is_face, table.is_locating, strict=True)
    ]
    return np.where(np.array(normal, dtype=bool), table.play_std_mm, 0.0)


def _covariances(
    state: ChainState,
    worked: WorkedRows,
    of_gaps: Array,
    weights: Array,
    measured: Mapping[int, IntArray],
) -> tuple[Array, Array]:
    """(m, m) of the gaps with one another, without measuring, and (q, m) of the lines with them."""
    count = len(state.structure.sensitivity)
    wide = _with_lines(state, np.vstack([state.structure.sensitivity, of_gaps]))
    causes, known = _causes_of(wide)
    matrix = causes.matrix.copy()
    for joint, rows in measured.items():
        name = f"{state.structure.joint_rows[joint].joint.id}.bond_line_mm"
        for place, source in enumerate(causes.sources.names):
            if source == name:
                matrix[count:, place] += weights[:, rows].sum(axis=1)
    errors = [matrix * causes.sources.std]
    variance = row_variance(state.project, wide.structure)
    play = _play_std(wide.structure)
    if known is not None:
        # The scatter that readings tell of is worked one point at a time.
        named, columns = shared_sources(state.project, wide.structure, wide.motion)
        shared = share_sources(state.project, known.rows, named, columns)
        lines = line_rows(wide.structure, shared, known.rows.elements)
        errors.append(remaining_lines(known.update, lines)[1])
        moves = known.rows.elements.row >= 0
        np.subtract.at(variance, known.rows.elements.row[moves], known.rows.elements.std_mm[moves] ** 2)
    scatter = np.sqrt(np.maximum(variance - play**2 + worked.variance, 0.0))
    targets = wide.structure.sensitivity.copy()
    targets[count:] -= weights
    errors += [wide.structure.sensitivity * scatter, targets * play]
    whole = np.hstack(errors)
    return whole[count:] @ whole[count:].T, whole[:count] @ whole[count:].T


def _remaining(
    state: ChainState,
    worked: WorkedRows,
    gain: Array,
    of_gaps: Array,
    weights: Array,
    measured: Mapping[int, IntArray],
) -> tuple[Causes, Structure]:
    """The causes of what the gaps leave open, handwork among them, and the structure whose lines they are of."""
    now = _with_lines(state, state.structure.sensitivity - gain @ of_gaps)
    causes, _ = _causes_of(now)
    structure = now.structure
    back = gain @ weights
    play = _play_std(structure)
    matrix, spread, reach = causes.matrix.copy(), causes.spread.copy(), causes.reach.copy()
    left, errors = causes.left, []
    for joint, rows in measured.items():
        id = structure.joint_rows[joint].joint.id
        for place, source in enumerate(causes.sources.names):
            if source == f"{id}.bond_line_mm":
                matrix[:, place] -= back[:, rows].sum(axis=1)
        if f"{id}.play" in causes.groups and play[rows].any():
            group = causes.groups.index(f"{id}.play")
            mine = structure.sensitivity[:, rows]
            now_play, was_play = (mine + back[:, rows]) * play[rows], mine * play[rows]
            spread[:, group] += (now_play**2).sum(axis=1) - (was_play**2).sum(axis=1)
            reach[:, group] += HALF_WIDTHS["normal"] * (
                np.abs(now_play).sum(axis=1) - np.abs(was_play).sum(axis=1)
            )
            errors.append((rows, now_play))
    # What was taken out was in: below zero is rounding.
    spread, reach = np.maximum(spread, 0.0), np.maximum(reach, 0.0)
    left = _left_with_play(state.project, structure, left, play, errors)
    fixed = Causes(causes.sources, matrix, causes.groups, spread, reach, left)
    return add_worked(state.project, structure, fixed, worked), structure


def _left_with_play(
    project: Project,
    structure: Structure,
    left: Left | None,
    play: Array,
    errors: Sequence[tuple[IntArray, Array]],
) -> Left | None:
    """Play of measured contacts, worked one contact at a time for results that hang on several lines."""
    ranges = [index for index, gauge in enumerate(structure.gauges) if gauge.is_range]
    if not ranges:
        return left
    if left is None:
        lines = np.nonzero(np.isin(structure.results, ranges))[0]
        left = Left(row_variance(project, structure), lines, np.zeros((len(lines), 0)))
    variance, columns = left.row_variance.copy(), [left.errors]
    for rows, effect in errors:
        variance[rows] -= play[rows] ** 2
        columns.append(effect[left.lines])
    return Left(np.maximum(variance, 0.0), left.lines, np.hstack(columns))


def expected_gaps(
    state: ChainState, worked: WorkedRows, poses: Poses, gaps: Sequence[GapReading], joint: str
) -> tuple[Array, Array]:
    """Expected gap at each of the c face contacts of a joint (c,), and its standard uncertainty (c,) [mm].

    gaps : measured ones, of whichever joints, that are counted with
    """
    structure = state.structure
    count = len(face_rows(structure, joint))
    asked = [GapReading(joint, number, 0.0, 0.0) for number in range(1, count + 1)]
    weights, kept, _ = _weights(structure, [*asked, *gaps])
    measured = _measured_joints(structure, weights)
    state = replace(state, structure=_normal_play(structure, measured))
    of_gaps, _ = sensitivities(weights, structure.table, structure.placing)
    between, _ = _covariances(state, worked, of_gaps, weights, measured)
    separation = np.einsum("ij,ij->i", structure.table.direction, poses.x_second - poses.x_first)
    expected = weights @ separation
    if len(kept) == count:
        return expected, np.sqrt(np.maximum(between.diagonal(), 0.0))
    noise = np.maximum(np.array([item.std_mm for item in kept[count:]]), _LEAST_STD_MM)
    total = between[count:, count:] + np.diag(noise**2)
    gain = np.linalg.solve(total, between[count:, :count]).T
    observed = np.array([item.value_mm for item in kept[count:]])
    variance = between[:count, :count] - gain @ between[count:, :count]
    return (
        expected[:count] + gain @ (observed - expected[count:]),
        np.sqrt(np.maximum(variance.diagonal(), 0.0)),
    )
