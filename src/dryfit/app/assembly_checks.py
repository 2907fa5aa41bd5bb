"""Checks of the assembly in the model: parts in one another, too near, alone, alike but not quite."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import nullcontext

import numpy as np

from dryfit.app.assembly_checks_likeness import KeptLikeness, check_likeness, group_equal
from dryfit.app.assembly_checks_space import SeenPair, SpaceLimits, check_space
from dryfit.app.geometry import Shapes
from dryfit.app.pair_memory import PairMemory
from dryfit.app.workers import Workers
from dryfit.calc.likeness import Likeness, Signature
from dryfit.calc.overlap import Clearance, NotChecked, Overlap, OverlapPlace, broad_pairs
from dryfit.model.finding import Finding
from dryfit.model.joint import FaceContacts, Joint
from dryfit.model.project import Project

Progress = Callable[[int, int], None]

__all__ = ["PAIR_CLASSES", "SpaceLimits", "check_assembly", "group_equal"]

# Records of which the kept results about pairs are made.
PAIR_CLASSES = (
    SeenPair, Overlap, OverlapPlace, NotChecked, Clearance, KeptLikeness, Likeness
)  # fmt: skip


def check_assembly(
    project: Project,
    shapes: Shapes,
    faces: Mapping[str, FaceContacts] | None = None,
    limits: SpaceLimits | None = None,
    progress: Progress | None = None,
    memory: PairMemory | None = None,
    signatures: Mapping[str, Signature | None] | None = None,
) -> tuple[Finding, ...]:
    """Overlaps, clearances, parts without contact and shapes that are alike, for all pairs of parts.

    shapes : parts whose mesh could be read; a part that is missing here is in no finding
    faces  : contact faces by joint id, where they are known; for the places of findings about joints
    memory : what is known of pairs, and the processes that find out the rest; some are made without it
    signatures : of the meshes by part, where they are at hand
    Intended contacts are those of the joints that the user has accepted.
    """
    names = [part.id for part in project.parts if part.id in shapes]
    if len(names) < 2:
        return ()
    limits = limits or SpaceLimits()
    boxes = np.array([shapes[name].measures.bounds for name in names])
    pairs = [(names[i], names[j]) for i, j in broad_pairs(boxes, limits.reach_mm)]
    total = len(pairs) + len(names)

    def report(done: int) -> None:
        if progress is not None:
            progress(done, total)

    with nullcontext(memory.workers) if memory is not None else Workers() as workers:
        memory = memory or PairMemory(workers)
        space = check_space(_accepted(project), shapes, names, pairs, faces or {}, limits, report, memory)
        some = {name: shapes[name] for name in names}
        alike = check_likeness(some, lambda done: report(len(pairs) + done), memory, signatures)
    return (*space, *alike)


def _accepted(project: Project) -> Sequence[Joint]:
    return [joint for joint in project.joints if not joint.proposed]
