"""Whether parts fill the same space, stand too near one another, or touch nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.assembly_checks_pairs import Pair, by_first, gather_pairs
from dryfit.app.geometry import Shapes
from dryfit.app.pair_memory import PairMemory
from dryfit.app.workers import go_on
from dryfit.base.arrays import Array
from dryfit.calc.overlap import (
    LEAST_DEPTH_MM,
    Clearance,
    NotChecked,
    Overlap,
    Surface,
    clearance_of,
    overlap_of,
    prepare_surface,
)
from dryfit.model.finding import Finding
from dryfit.model.joint import GROUND, FaceContacts, Joint
from dryfit.model.mesh import TriangleMesh


@dataclass(frozen=True, slots=True)
class SpaceLimits:
    """Figures that the checks of space go by; common practice, no source.

    least_depth_mm   overlaps less deep are rounding and not reported
    slight_depth_mm  overlaps less deep are what facets of round surfaces make: caution, not stop
    clearance_mm     parts without a joint that stand nearer are cautioned: a printed face bows that much
    touching_mm      parts nearer than this touch
    """

    least_depth_mm: float = LEAST_DEPTH_MM
    slight_depth_mm: float = 0.05
    clearance_mm: float = 0.2
    touching_mm: float = 0.01

    @property
    def reach_mm(self) -> float:
        """How far apart two parts may be and still be looked at."""
        return max(self.clearance_mm, self.touching_mm)


@dataclass(frozen=True, slots=True, eq=False)
class SeenPair:
    """What was found between two meshes; clearance None where it was not asked for or they are far apart."""

    overlap: Overlap | NotChecked
    clearance: Clearance | None


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What was found between two parts."""

    pair: Pair
    overlap: Overlap | NotChecked
    clearance: Clearance | None


def check_space(
    joints: Sequence[Joint],
    shapes: Shapes,
    names: Sequence[str],
    pairs: Sequence[Pair],
    faces: Mapping[str, FaceContacts],
    limits: SpaceLimits,
    report: Callable[[int], None],
    memory: PairMemory,
) -> tuple[Finding, ...]:
    """Findings on overlap and clearance of all pairs named, and on parts that touch nothing.

    joints : those that count as intended contact; names : all parts; pairs : those whose boxes are near
    """
    joined: dict[frozenset[str], Joint] = {frozenset(joint.parts): joint for joint in joints}
    seen = _look(joined, shapes, pairs, limits, report, memory)
    findings = [_overlap_finding(s, joined.get(frozenset(s.pair)), faces, limits) for s in seen]
    findings += [_clearance_finding(s, limits) for s in seen]
    found = [finding for finding in findings if finding is not None]
    return (*found, *_summary(seen, names, limits, found), *_alone(joints, seen, shapes, names, limits))


def look_at_pairs(
    first: TriangleMesh | Surface, others: Sequence[tuple[TriangleMesh | Surface, bool]], limits: SpaceLimits
) -> tuple[SeenPair, ...]:
    """What is found between one part and others, each with whether a joint holds the two together."""
    a = prepare_surface(first)
    seen = []
    for mesh, is_joined in others:
        go_on()
        b = prepare_surface(mesh)
        overlap = overlap_of(a, b, limits.least_depth_mm)
        is_apart = (isinstance(overlap, Overlap) and not overlap.places) or _does_not_cross(overlap)
        clearance = None
        if is_apart and not is_joined:
            clearance = clearance_of(a, b, limits.reach_mm, limits.touching_mm / 2)
        seen.append(SeenPair(overlap, clearance))
    return tuple(seen)


def look_at_groups(
    meshes: Sequence[TriangleMesh],
    groups: Sequence[tuple[int, Sequence[tuple[int, bool]]]],
    limits: SpaceLimits,
) -> tuple[tuple[SeenPair, ...], ...]:
    """The same for several first parts and their others, named by their numbers among the meshes."""
    ready = [prepare_surface(mesh) for mesh in meshes]
    return tuple(
        look_at_pairs(ready[first], [(ready[other], is_joined) for other, is_joined in others], limits)
        for first, others in groups
    )


def _look(
    joined: Mapping[frozenset[str], Joint],
    shapes: Shapes,
    pairs: Sequence[Pair],
    limits: SpaceLimits,
    report: Callable[[int], None],
    memory: PairMemory,
) -> list[_Seen]:
    """All pairs, those among near parts together; what is known of before is not looked at again."""
    keys = {pair: memory.key("space", pair, repr(limits), frozenset(pair) in joined) for pair in pairs}
    known = {pair: found for pair in pairs if isinstance(found := memory.find(keys[pair]), SeenPair)}
    sizes = {name: len(shape.mesh.faces) for name, shape in shapes.items()}
    waiting = [pair for pair in pairs if pair not in known]
    groups = [by_first(group) for group in gather_pairs(waiting, sizes)]
    tasks = [_task(group, shapes, joined, limits) for group in groups]
    triangles = sum(sizes[name] for pair in waiting for name in pair)
    for index, found in memory.workers.run(look_at_groups, tasks, triangles, lambda: report(len(known))):
        for some, theirs in zip(groups[index].values(), found, strict=True):
            for pair, seen in zip(some, theirs, strict=True):
                known[pair] = seen
                memory.keep(keys[pair], seen)
    report(len(known))
    return [_Seen(pair, known[pair].overlap, known[pair].clearance) for pair in pairs]


def _task(
    group: Mapping[str, Sequence[Pair]],
    shapes: Shapes,
    joined: Mapping[frozenset[str], Joint],
    limits: SpaceLimits,
) -> tuple[tuple[TriangleMesh, ...], tuple[tuple[int, tuple[tuple[int, bool], ...]], ...], SpaceLimits]:
    """What look_at_groups is given for pairs by their first part."""
    names = list(dict.fromkeys(name for pairs in group.values() for pair in pairs for name in pair))
    number = {name: index for index, name in enumerate(names)}
    pairs = tuple(
        (number[first], tuple((number[pair[1]], frozenset(pair) in joined) for pair in some))
        for first, some in group.items()
    )
    return tuple(shapes[name].mesh for name in names), pairs, limits


def _does_not_cross(overlap: Overlap | NotChecked) -> bool:
    return isinstance(overlap, NotChecked) and not overlap.surfaces_cross


def _overlap_finding(
    seen: _Seen, joint: Joint | None, faces: Mapping[str, FaceContacts], limits: SpaceLimits
) -> Finding | None:
    first, second = seen.pair
    overlap = seen.overlap
    if isinstance(overlap, NotChecked):
        return _not_checked(seen.pair, overlap)
    if not overlap.places:
        return None
    places = np.array([place.centroid_mm for place in overlap.places])
    boxes = np.array([place.box for place in overlap.places])
    much = _volume_words(overlap)
    if joint is not None and joint.press_mm is not None:
        return replace(_press_fit(seen.pair, joint, overlap, places, limits), boxes_mm=boxes)
    if overlap.depth_mm < limits.slight_depth_mm:
        return Finding(
            "overlap", seen.pair, "caution",
            f"{first} and {second} overlap slightly: {much}; facets of round surfaces make as much",
            "leave it where the faces are round and meant to touch; move one part where they are plane",
            len(overlap.places), overlap.volume_mm3, "mm3", places, boxes_mm=boxes,
        )  # fmt: skip
    where = f' at joint "{joint.id}"' if joint is not None else ""
    do = "cut one part back, or move it" if joint is None else (
        "cut one part back to its mating face; state press_mm at the joint where it is a press fit"
    )  # fmt: skip
    return Finding(
        "overlap", seen.pair, "stop", f"{first} and {second} fill the same space{where}: {much}", do,
        len(overlap.places), overlap.volume_mm3, "mm3", places, boxes_mm=boxes,
    )  # fmt: skip


def _volume_words(overlap: Overlap) -> str:
    count = len(overlap.places)
    where = "" if count == 1 else f" in {count} places"
    return f"{overlap.volume_mm3:.4g} mm3{where}, {overlap.depth_mm:.3g} mm deep"


def _press_fit(pair: Pair, joint: Joint, overlap: Overlap, places: Array, limits: SpaceLimits) -> Finding:
    assert joint.press_mm is not None
    stated = joint.press_mm
    is_right = abs(overlap.depth_mm - stated) <= limits.slight_depth_mm
    words = (
        f'press fit of joint "{joint.id}": {_volume_words(overlap)}, '
        f"{stated:.3g} mm of interference are stated"
    )
    return Finding(
        "overlap", pair, "pass" if is_right else "caution", words,
        "" if is_right else "bring the model and the stated interference together",
        len(overlap.places), overlap.volume_mm3, "mm3", places,
    )  # fmt: skip


def _not_checked(pair: Pair, found: NotChecked) -> Finding:
    first, second = pair
    reason = found.reason.replace("the first mesh", first).replace("the second mesh", second)
    words = f"the overlap of {first} and {second} is not known: {reason}"
    if found.surfaces_cross:
        return Finding(
            "overlap", pair, "stop", f"{words}; but their surfaces run through each other",
            "look at the places, and mend the mesh to learn the volume", len(found.places_mm),
            places_mm=found.places_mm,
        )  # fmt: skip
    words += "; their surfaces do not cross, but one may lie inside the other"
    return Finding("overlap", pair, "not checked", words, "mend the mesh", 0)


def _clearance_finding(seen: _Seen, limits: SpaceLimits) -> Finding | None:
    found = seen.clearance
    if found is None or found.distance_mm >= limits.clearance_mm:
        return None
    places = np.stack([found.point_a_mm, found.point_b_mm])
    if found.distance_mm <= limits.touching_mm:
        words = "they touch, and no joint says that they should"
        do = "make a joint of it, or leave a gap"
    else:
        words = (
            f"they are {found.distance_mm:.3g} mm apart, nearer than {limits.clearance_mm:g} mm, "
            "and no joint says that they should be"
        )
        do = "leave more room, or make a joint of it"
    return Finding("clearance", seen.pair, "caution", words, do, 1, found.distance_mm, "mm", places)


def _summary(
    seen: Sequence[_Seen], names: Sequence[str], limits: SpaceLimits, found: Sequence[Finding]
) -> list[Finding]:
    """A pass for what was looked at and found free, so that silence is not taken for it."""
    clear = [s for s in seen if isinstance(s.overlap, Overlap) and not s.overlap.places]
    others = len(names) * (len(names) - 1) // 2 - len(seen)
    if any(finding.topic == "overlap" and finding.state in ("stop", "not checked") for finding in found):
        return []
    words = (
        f"no two parts fill the same space deeper than {limits.slight_depth_mm:g} mm unless stated: "
        f"{len(clear)} of {len(seen)} near pairs share nothing, {others} other pairs are apart by their boxes"
    )
    return [Finding("overlap", tuple(names), "pass", words, "", len(seen))]


def _alone(
    joints: Sequence[Joint], seen: Sequence[_Seen], shapes: Shapes, names: Sequence[str], limits: SpaceLimits
) -> list[Finding]:
    held = {name for joint in joints for name in joint.parts if name != GROUND}
    for s in seen:
        is_met = s.clearance is not None and s.clearance.distance_mm <= limits.touching_mm
        overlaps = isinstance(s.overlap, Overlap) and bool(s.overlap.places)
        crosses = isinstance(s.overlap, NotChecked) and s.overlap.surfaces_cross
        if is_met or overlaps or crosses:
            held.update(s.pair)
    return [
        Finding(
            "contact", (name,), "caution", f"{name} touches no other part and is in no joint",
            "check its place and its unit, or make the joint that holds it",
            places_mm=shapes[name].measures.centroid_mm[None, :],
        )
        for name in names
        if name not in held
    ]  # fmt: skip
