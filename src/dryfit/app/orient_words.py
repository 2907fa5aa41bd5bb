"""Why a part or a joint should be changed, in words that follow from the computed shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.forecast import Chain
from dryfit.app.orient_loss import Judged
from dryfit.app.orient_poses import STATED, Pose, PoseSpace, wrapped_deg
from dryfit.app.orient_problem import Problem
from dryfit.app.structure import Structure
from dryfit.base.arrays import Array
from dryfit.base.rotation import turn_about_z
from dryfit.model.machine import FIGURES
from dryfit.model.orientation import Effect, PoseChange

_NEUTRAL = 0.05  # a share below this part of what it was counts as gone
_CANCELLED = 0.05  # a sum below this part of the sizes that make it up counts as cancelled
_SKEWS = {"skew_xy_deg": (0, 1), "skew_xz_deg": (0, 2), "skew_yz_deg": (1, 2)}
_EQUAL = 1e-6  # losses that differ by less, relative, are the same
_AXES = "XYZ"


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """What every part adds to every column, before and after (parts, d), in the columns' own scaling.

    Both are taken with the locators as chosen, so that they differ by the bed poses alone.
    """

    before: Array
    after: Array

    @classmethod
    def of(cls, last: Problem, poses: Sequence[Pose]) -> Shares:
        """Stated poses against the chosen ones."""
        return cls(
            np.array([last.vector(part, STATED) for part in range(len(poses))]),
            np.array([last.vector(part, pose) for part, pose in enumerate(poses)]),
        )


def explain_poses(
    chain: Chain,
    judged: Judged,
    spaces: Sequence[PoseSpace],
    last: Problem,
    poses: Sequence[Pose],
) -> tuple[PoseChange, ...]:
    """One record per changed part.

    last : the problem with the locators as chosen
    """
    shares = Shares.of(last, poses)
    # A share explains a change only where the shares are why it was chosen.
    is_beyond = last.loss((STATED,) * len(poses)) <= last.loss(poses) * (1.0 + _EQUAL)
    more = "; to first order the stated poses do as well: exact placement decided" if is_beyond else ""
    return tuple(
        _explain(chain, judged, spaces, last, poses, shares, part, more)
        for part, pose in enumerate(poses)
        if pose != STATED
    )


def _explain(
    chain: Chain,
    judged: Judged,
    spaces: Sequence[PoseSpace],
    last: Problem,
    poses: Sequence[Pose],
    shares: Shares,
    part: int,
    more: str,
) -> PoseChange:
    column = _column_of(last, shares, part)
    wanted = chain.project.characteristics[int(judged.characteristic[last.line[column]])]
    unit = "degrees" if wanted.unit == "deg" else "mm"
    before, after = (
        shares.before[:, column] / last.scale[column],
        shares.after[:, column] / last.scale[column],
    )
    effect = _effect(before, after, part)
    words = _share_words(
        last.source[column], wanted.id, unit, float(before[part]), float(after[part]), effect
    )
    space, pose = spaces[part], poses[part]
    if effect == "cancels":
        words += _partner_words([space.part.id for space in spaces], after, part, unit)
    elif effect == "eases":
        words += f"; all parts together went from {_signed(before.sum())} to {_signed(after.sum())} {unit}"
    else:
        words += _chord_words(chain, judged, last, space, pose, part, column)
    return PoseChange(
        part=space.part.id,
        stated=space.part.bed,
        chosen=space.bed(pose),
        turn_deg=wrapped_deg(pose.turn_deg),
        is_other_rest=pose.rest != 0,
        effect=effect,
        reason=words + more,
        characteristic=wanted.id,
        share_before=float(before[part]),
        share_after=float(after[part]),
    )


def _column_of(last: Problem, shares: Shares, part: int) -> int:
    """The column that would lose most if this part alone went back to its stated share."""
    total = last.base + shares.after.sum(axis=0)
    back = total - shares.after[part] + shares.before[part]
    return int((back**2 - total**2).argmax())


def _effect(before: Array, after: Array, part: int) -> Effect:
    if abs(after[part]) < _NEUTRAL * abs(before[part]):
        return "neutral"
    sizes = float(np.abs(after).sum())
    return "cancels" if abs(after.sum()) < _CANCELLED * sizes else "eases"


def _share_words(source: str, name: str, unit: str, before: float, after: float, effect: Effect) -> str:
    what = "its own share in" if not source else f"what one standard deviation of {source} does through it to"
    verb = "falls" if effect == "neutral" else "goes"
    return f"{what} {name} {verb} from {_signed(before)} to {_signed(after)} {unit}"


def _partner_words(names: Sequence[str], after: Array, part: int, unit: str) -> str:
    """Whose share it cancels: one part's where one is its opposite, else all together."""
    opposite = np.abs(after + after[part])
    opposite[part] = np.inf
    near = np.nonzero(opposite < _CANCELLED * abs(after[part]))[0]
    if len(near):
        partner = min(near.tolist(), key=lambda other: (abs(other - part), other))
        return f" and cancels that of {names[partner]}"
    return (
        f" and is made up for by the other parts: all shares together come to {_signed(after.sum())} {unit}"
    )


def _chord_words(
    chain: Chain, judged: Judged, last: Problem, space: PoseSpace, pose: Pose, part: int, column: int
) -> str:
    """The line between the part's two joints, where a squareness fault acted and acts on it no longer.

    Under a fault g between axes a and b the line c grows by g c_a c_b / |c|: checked, not assumed.
    """
    figure = _leading_figure(chain, judged, last, space, part, column)
    chord = _chord(chain.structure, part)
    if figure not in _SKEWS or chord is None:
        return ""
    a, b = _SKEWS[figure]
    stated = space.rotations[0] @ chord
    now = turn_about_z(pose.turn_deg) @ space.rotations[pose.rest] @ chord
    if abs(stated[a] * stated[b]) < 0.05 or abs(now[a] * now[b]) > 0.01:
        return ""
    along = int(np.abs(now).argmax())
    lies = (
        f"along the machine's {_AXES[along]} axis" if abs(now[along]) > 0.9998 else "square to one of the two"
    )
    return (
        f"; the line between its two joints now lies {lies}, where a fault in {_AXES[a]}{_AXES[b]} squareness "
        "neither lengthens nor shortens it"
    )


def _leading_figure(
    chain: Chain, judged: Judged, last: Problem, space: PoseSpace, part: int, column: int
) -> str:
    """The figure of the machine that made the share as stated: the one named, or the largest of the expected ones."""
    if last.source[column]:
        return last.source[column].rsplit(".", 1)[1]
    from dryfit.app.causes import part_columns

    machine = chain.project.machine(space.part.machine)
    line = int(judged.line[last.line[column]])
    motion = chain.motion
    share = part_columns(chain.structure, motion.first, -1.0, part) + part_columns(
        chain.structure, motion.second, 1.0, part
    )
    shifts = [abs(share[line, f] * machine.error.figures[name].value) for f, name in enumerate(FIGURES)]
    return FIGURES[int(np.argmax(shifts))]


def _chord(structure: Structure, part: int) -> Array | None:
    """Unit vector (3,) between the middles of the part's faces at its joints; None unless there are two."""
    table = structure.table
    mine = ((table.first == part) | (table.second == part)) & table.is_face
    joints = np.unique(table.joint[mine])
    if len(joints) != 2:
        return None
    middles = [table.p_first[mine & (table.joint == joint)].mean(axis=0) for joint in joints]
    chord = middles[1] - middles[0]
    length = float(np.linalg.norm(chord))
    return None if length < 1e-9 else np.asarray(chord / length)


def explain_layout(name: str, unit: str, back: tuple[float, float], chosen: tuple[float, float]) -> str:
    """What a characteristic would be with one joint as stated; pairs of expected value and standard uncertainty."""
    said = [f"{_signed(mean)} (standard uncertainty {std:.2f})" for mean, std in (back, chosen)]
    return f"with this joint alone left as stated, {name} would come to {said[0]} instead of {said[1]} {unit}"


def _signed(value: float) -> str:
    """Two decimals from a tenth on, else three; a value that rounds to nothing has no sign."""
    digits = 2 if abs(value) >= 0.1 else 3
    rounded = round(float(value), digits)
    return f"{rounded:+.{digits}f}" if rounded else "0"
