"""Joints that a change affects: their faces moved against one another, or their row changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.changes_document import DocumentChange
from dryfit.app.changes_effects import Foreseen
from dryfit.app.changes_parts import Motion, PartChange
from dryfit.app.release_state import State
from dryfit.base.arrays import Array
from dryfit.model.joint import GROUND

_STILL_MM = 1e-6  # contacts that move by no more have not moved


@dataclass(frozen=True, slots=True)
class JointMove:
    """A joint that a change affects, and why in words.

    moved_mm   greatest movement of a contact on one part against the other; None where it cannot be told
    rows       keys of its row that changed
    """

    id: str
    kind: str  # "new", "gone", "faces", "row", "part", "not found"
    parts: tuple[str, ...]
    reasons: tuple[str, ...]
    moved_mm: float | None = None
    rows: tuple[str, ...] = ()
    characteristics: tuple[str, ...] = ()


def joint_moves(
    before: State,
    after: State,
    foreseen: tuple[Foreseen, Foreseen],
    parts: Sequence[PartChange],
    document: Sequence[DocumentChange],
) -> tuple[JointMove, ...]:
    """Joints whose faces moved against one another, whose row changed, that are new or gone."""
    old = {joint.id: joint for joint in before.project.joints if not joint.proposed}
    new = {joint.id: joint for joint in after.project.joints if not joint.proposed}
    renamed = {
        change.after: change.before
        for change in document
        if change.table == "joint" and change.kind == "renamed"
    }
    by_id = {part.id: part for part in parts if part.id is not None}
    moves = []
    for id, joint in new.items():
        was = renamed.get(id, id)
        hanging = tuple(item.id for item in after.project.characteristics if item.joint == id)
        if was not in old:
            moves.append(JointMove(id, "new", joint.parts, ("it is new",), characteristics=hanging))
            continue
        keys = [".".join(c.key) for c in document if c.table == "joint" and c.row == id and c.key]
        ends = [by_id[name] for name in joint.parts if name != GROUND and name in by_id]
        moved, words = _contacts_moved(foreseen, was, id, joint.parts, by_id)
        stirred = [part for part in ends if part.has_shape_changed or part.kind == "not compared"]
        reasons = [*([words] if words else []), *([f"its row: {', '.join(keys)}"] if keys else [])]
        if moved is None and not words and stirred:
            reasons.append(
                f"{' and '.join(part.name for part in stirred)} changed; its faces cannot be compared"
            )
        if reasons:
            kind = "faces" if words else "row" if keys else "part"
            moves.append(JointMove(id, kind, joint.parts, tuple(reasons), moved, tuple(keys), hanging))
    moves += [
        JointMove(
            id,
            "gone",
            joint.parts,
            ("it is gone",),
            characteristics=tuple(item.id for item in before.project.characteristics if item.joint == id),
        )
        for id, joint in old.items()
        if id not in new and id not in renamed.values()
    ]
    return tuple(moves)


def _contacts_moved(
    foreseen: tuple[Foreseen, Foreseen],
    old_id: str,
    new_id: str,
    parts: tuple[str, str],
    by_id: Mapping[str, PartChange],
) -> tuple[float | None, str]:
    """How far the face contacts of a joint moved on the first part against the second, and that in words."""
    rows = [_faces_of(item, id) for item, id in zip(foreseen, (old_id, new_id), strict=True)]
    if rows[0] is None or rows[1] is None:
        return None, ""
    if len(rows[0][0]) != len(rows[1][0]):
        return None, f"its faces have {len(rows[1][0])} contacts, before {len(rows[0][0])}"
    # Contacts go with the part that they lie on: parts that moved together have the same joint as before.
    motion = next((by_id[name].motion for name in parts if name in by_id and by_id[name].motion), None)
    same = all(
        _is_like(by_id[name].motion, motion) for name in parts if name != GROUND and name in by_id
    ) and (GROUND not in parts)
    carried = motion if same else None
    ends = [_carried(points, carried) for points in rows[0]]
    apart = max(_nearest_order(a, b) for a, b in zip(ends, rows[1], strict=True))
    gaps = [float(np.linalg.norm(b - a, axis=1).mean()) for a, b in (ends, rows[1])]
    if apart <= _STILL_MM:
        return 0.0, ""
    gap = f"; its gap is {gaps[1]:.3g} mm, before {gaps[0]:.3g}" if abs(gaps[1] - gaps[0]) > 1e-4 else ""
    return apart, f"its faces moved by up to {apart:.3g} mm{gap}"


def _faces_of(item: Foreseen, id: str) -> tuple[Array, Array] | None:
    if item.chain is None:
        return None
    faces = item.chain.structure.faces.get(id)
    return None if faces is None else (faces.points_on_first, faces.points_on_second)


def _carried(points: Array, motion: Motion | None) -> Array:
    return points if motion is None else motion.move(points)


def _is_like(a: Motion | None, b: Motion | None) -> bool:
    if a is None or b is None:
        return a is b
    return bool(
        np.allclose(a.rotation, b.rotation, atol=1e-6)
        and np.allclose(a.translation_mm, b.translation_mm, atol=1e-3)
    )


def _nearest_order(a: Array, b: Array) -> float:
    """Greatest distance of a contact from its nearest after, either way: their order may have changed."""
    apart = np.sqrt(((a[:, None] - b[None]) ** 2).sum(axis=2))
    return float(max(apart.min(axis=0).max(), apart.min(axis=1).max()))
