"""Which part of one state is which part of another: by name, by content, by shape."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryfit.app.geometry import PartShape
from dryfit.app.release_state import State
from dryfit.calc.likeness import Likeness, Shape, compare_shapes, may_be_alike, shape_of
from dryfit.calc.revision import hash_geometry

Pair = tuple[str | None, str | None]


@dataclass(frozen=True, slots=True)
class Matched:
    """pairs: (id before, id after), None on one side for a part that is gone or new, in the order of the later state.

    mirrored : (id before, id after) of parts that are gone and new, and mirror images of one another
    """

    pairs: tuple[Pair, ...]
    mirrored: tuple[tuple[str, str], ...] = ()

    @property
    def renamed(self) -> dict[str, str]:
        """New id by old id."""
        return {old: new for old, new in self.pairs if old is not None and new is not None and old != new}


class Contents:
    """Geometry hashes of the parts of both states, made when first asked for."""

    def __init__(self, before: State, after: State) -> None:
        self._states = (before, after)
        self._known: dict[tuple[int, str], str] = {}
        for side, state in enumerate(self._states):
            for part in state.release.parts if state.release else ():
                self._known[side, part.id] = part.geometry_sha256

    def find(self, side: int, id: str) -> str | None:
        """The hash of a part; None where its mesh cannot be read."""
        if (side, id) not in self._known:
            shape = self._states[side].opened.shapes.get(id)
            if shape is None:
                return None
            self._known[side, id] = hash_geometry(shape.mesh)
        return self._known[side, id]

    def is_same(self, old: str, new: str) -> bool:
        """Whether a part before holds the same triangles in the same place as one after."""
        a, b = (state.opened.shapes.get(id) for state, id in zip(self._states, (old, new), strict=True))
        if a is not None and b is not None and a.mesh is b.mesh:
            return True
        first, second = self.find(0, old), self.find(1, new)
        return first is not None and first == second


def match_parts(before: State, after: State, contents: Contents) -> Matched:
    """Pair the parts of two states.

    A name stands for the same part, unless another part has its content now: then names were exchanged. What is left
    is paired by content, and then by shape, the nearest of several first.
    """
    old = [part.id for part in before.project.parts]
    new = [part.id for part in after.project.parts]
    same_name = [id for id in new if id in old]
    taken = {id: id for id in same_name if contents.is_same(id, id)}
    loose_old = [id for id in old if id not in taken]
    loose_new = [id for id in new if id not in taken.values()]
    _take_by_content(contents, loose_old, loose_new, taken)
    for id in [id for id in loose_new if id in loose_old]:
        taken[id] = id
        loose_old.remove(id)
        loose_new.remove(id)
    mirrored = _take_by_shape(before, after, loose_old, loose_new, taken)
    back = {now: was for was, now in taken.items()}
    pairs: list[Pair] = [(back.get(id), id) for id in new]
    pairs += [(id, None) for id in old if id not in taken]
    return Matched(tuple(pairs), mirrored)


def _take_by_content(contents: Contents, old: list[str], new: list[str], taken: dict[str, str]) -> None:
    """Parts with the same triangles in the same place under another name."""
    by_hash = {contents.find(0, id): id for id in reversed(old)}
    for id in list(new):
        hashed = contents.find(1, id)
        was = by_hash.get(hashed) if hashed is not None else None
        if was is not None and was in old:
            taken[was] = id
            old.remove(was)
            new.remove(id)


def _take_by_shape(
    before: State, after: State, old: list[str], new: list[str], taken: dict[str, str]
) -> tuple[tuple[str, str], ...]:
    """Parts of one shape that lie elsewhere; of several pairs the one that moved least first."""
    if not old or not new:
        return ()
    first = _shapes(before, old)
    second = _shapes(after, new)
    equal: list[tuple[float, str, str]] = []
    mirrored: list[tuple[str, str]] = []
    for was, a in first:
        for now, b in second:
            found = _likeness(a, b)
            if found is None:
                continue
            if found.kind == "equal":
                equal.append((_way(a, found), was, now))
            elif found.kind == "mirrored":
                mirrored.append((was, now))
    for _, was, now in sorted(equal):
        if was in old and now in new:
            taken[was] = now
            old.remove(was)
            new.remove(now)
    return tuple((was, now) for was, now in mirrored if was in old and now in new)


def _shapes(state: State, ids: Sequence[str]) -> list[tuple[str, Shape]]:
    return [(id, shape) for id in ids if (shape := as_shape(state.opened.shapes.get(id))) is not None]


def as_shape(part: PartShape | None) -> Shape | None:
    """The shape of a part for comparisons; None where it has no mesh, or a mesh without area."""
    if part is None or not part.measures.area_mm2 > 0:
        return None
    return shape_of(part.mesh)


def _likeness(a: Shape, b: Shape) -> Likeness | None:
    return compare_shapes(a, b) if may_be_alike(a, b) else None


def _way(shape: Shape, found: Likeness) -> float:
    centre = shape.signature.centre_mm
    return float(np.linalg.norm(found.rotation @ centre + found.translation_mm - centre))
