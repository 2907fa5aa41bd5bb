"""Parts that are the same shape, mirror images, or meant to be and not quite."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.app.pair_memory import PairMemory
from dryfit.app.workers import FEW_TRIANGLES, Workers, go_on
from dryfit.calc.likeness import (
    EQUAL_MM,
    NEAR_MM,
    Likeness,
    Shape,
    Signature,
    compare_shapes,
    may_be_alike,
    may_share_vertices,
    shape_of,
)
from dryfit.model.finding import Finding

_Pair = tuple[str, str]
_AT_A_TIME = 4  # comparisons with one part that a process makes in a row


@dataclass(frozen=True, slots=True, eq=False)
class _Grouped:
    """Which part stands for which, and how the representatives compare with one another."""

    standing_for: dict[str, str]
    likenesses: list[tuple[str, str, Likeness]]


@dataclass(frozen=True, slots=True, eq=False)
class KeptLikeness:
    """How two meshes compare; None where their signatures tell them apart."""

    likeness: Likeness | None


def group_equal(shapes: Mapping[str, PartShape]) -> dict[str, str]:
    """For each part the first part of the same shape, itself where there is none before it.

    Mirror images are not the same: their checks differ by their pose on the bed.
    """
    with Workers() as workers:
        return _group(shapes, lambda done: None, PairMemory(workers), {}).standing_for


def check_likeness(
    shapes: Mapping[str, PartShape],
    report: Callable[[int], None],
    memory: PairMemory,
    signatures: Mapping[str, Signature | None] | None = None,
) -> tuple[Finding, ...]:
    """Equal parts (pass, with the list), exact mirror pairs (pass), and parts that are nearly so (caution).

    signatures : of the meshes, where they are at hand
    """
    grouped = _group(shapes, report, memory, signatures or {})
    members: dict[str, list[str]] = {}
    for name, first in grouped.standing_for.items():
        members.setdefault(first, []).append(name)
    findings = [
        Finding(
            "likeness", tuple(names), "pass",
            f"{len(names)} parts of one shape within {EQUAL_MM:g} mm: {', '.join(names)}", "", len(names),
        )
        for names in members.values()
        if len(names) > 1
    ]  # fmt: skip
    findings += [_finding(first, name, likeness, members) for first, name, likeness in grouped.likenesses]
    return tuple(findings)


def _group(
    shapes: Mapping[str, PartShape],
    report: Callable[[int], None],
    memory: PairMemory,
    signatures: Mapping[str, Signature | None],
) -> _Grouped:
    """Each part is compared with the first of every shape found so far.

    Which comparisons that takes is known only as they are made. So it is gone through with what is known,
    what is missing is compared, in parallel, and it is gone through again, until nothing is missing.
    """
    # A part with nothing but needles has no shape to compare.
    ready = {
        name: _shape(part, signatures.get(name))
        for name, part in shapes.items()
        if part.measures.area_mm2 > 0
    }
    known: dict[_Pair, Likeness | None] = {}
    expected = _expect(ready)
    while True:
        grouped, missing = _go_through(shapes, ready, known, expected)
        if not missing:
            return grouped
        _compare(missing, ready, memory, known, partial(report, len(shapes) - len({b for _, b in missing})))
        expected = {}


def _expect(ready: Mapping[str, Shape]) -> dict[str, str]:
    """The first part with as many vertices and as much surface: of copies, most likely the same shape."""
    found: dict[str, str] = {}
    for name, shape in ready.items():
        found[name] = next((n for n in found.values() if may_share_vertices(ready[n], shape)), name)
    return found


def _go_through(
    shapes: Mapping[str, PartShape],
    ready: Mapping[str, Shape],
    known: Mapping[_Pair, Likeness | None],
    expected: Mapping[str, str],
) -> tuple[_Grouped, list[_Pair]]:
    """The groups as far as they are known, and the comparisons that they wait for.

    expected : the part that one is taken to be equal to until they have been compared
    """
    leaders: list[str] = []
    standing_for: dict[str, str] = {}
    likenesses: list[tuple[str, str, Likeness]] = []
    missing: list[_Pair] = []
    for name in shapes:
        standing_for[name] = name
        if name not in ready:
            continue
        others: list[tuple[str, str, Likeness]] = []
        near = [first for first in leaders if may_be_alike(ready[first], ready[name])]
        if expected.get(name, name) in near:  # nothing else is asked for before this is known
            near = [expected[name]]
        for first in near:
            if (first, name) not in known:
                missing.append((first, name))
            likeness = known.get((first, name))
            if (likeness is None and near == [expected.get(name)]) or (likeness and likeness.kind == "equal"):
                standing_for[name] = first
                break
            if likeness is not None and likeness.kind != "different":
                others.append((first, name, likeness))
        else:
            leaders.append(name)
            likenesses += others
    return _Grouped(standing_for, likenesses), missing


def _shape(part: PartShape, known: Signature | None) -> Shape:
    return shape_of(part.mesh) if known is None else Shape(part.mesh, known)


def _compare(
    pairs: Sequence[_Pair],
    ready: Mapping[str, Shape],
    memory: PairMemory,
    known: dict[_Pair, Likeness | None],
    ask: Callable[[], None],
) -> None:
    """Add to what is known how pairs compare."""
    keys = {pair: memory.key("likeness", pair, EQUAL_MM, NEAR_MM) for pair in pairs}
    together: dict[str, list[_Pair]] = {}
    for pair in pairs:
        was = memory.find(keys[pair])
        if isinstance(was, KeptLikeness):
            known[pair] = was.likeness
        else:
            together.setdefault(pair[0], []).append(pair)
    # What one process compares shares the preparation of the first.
    groups = [
        group[start : start + _AT_A_TIME]
        for group in together.values()
        for start in range(0, len(group), _AT_A_TIME)
    ]
    triangles = sum(len(ready[name].mesh.faces) for group in groups for _, name in group)
    # Here, shapes that are prepared already serve again; to other processes search trees cannot be sent.
    is_here = triangles < FEW_TRIANGLES
    given = ready if is_here else {name: Shape(shape.mesh, shape.signature) for name, shape in ready.items()}
    tasks = [(given[group[0][0]], tuple(given[name] for _, name in group)) for group in groups]
    for index, found in memory.workers.run(compare_with, tasks, triangles, ask):
        for pair, likeness in zip(groups[index], found, strict=True):
            known[pair] = likeness
            memory.keep(keys[pair], KeptLikeness(likeness))


def compare_with(first: Shape, others: Sequence[Shape]) -> tuple[Likeness | None, ...]:
    """How each of the others compares with the first."""
    found = []
    for other in others:
        go_on()
        found.append(compare_shapes(first, other))
    return tuple(found)


def _finding(first: str, name: str, likeness: Likeness, members: Mapping[str, list[str]]) -> Finding:
    same = [*members[first][1:], *members[name][1:]]
    also = f" (and so for {', '.join(same)}, which are of the same shapes)" if same else ""
    if likeness.kind == "mirrored":
        words = f"{first} and {name} are mirror images within {EQUAL_MM:g} mm{also}"
        return Finding("likeness", (first, name), "pass", words, "", 2, likeness.largest_mm, "mm")
    how = "the same shape" if likeness.kind == "nearly equal" else "mirror images"
    sizes = likeness.sizes_differ_mm
    axis = int(np.abs(sizes).argmax())
    size = f"; {name} is {abs(sizes[axis]):.3g} mm {'larger' if sizes[axis] > 0 else 'smaller'} along {'xyz'[axis]}"
    words = (
        f"{first} and {name} are {how} but for {likeness.largest_mm:.3g} mm at the most"
        f"{size if abs(sizes[axis]) > EQUAL_MM else ''}{also}"
    )
    return Finding(
        "likeness", (name, first), "caution", words,
        f"look at the place on {name}: if the two are meant to be alike, make one from the other", 1,
        likeness.largest_mm, "mm", likeness.place_mm[None, :],
    )  # fmt: skip
