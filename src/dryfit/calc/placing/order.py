"""Bonding order and the roles of joints: which contacts locate and which only close a loop."""

from __future__ import annotations

import re
from collections.abc import Sequence as Items
from dataclasses import dataclass

from dryfit.model.contacts import ON_GROUND
from dryfit.model.joint import Role


@dataclass(frozen=True, slots=True)
class JointLink:
    """A joint as the order sees it.

    first, second  part indices, ON_GROUND for the ground
    area_mm2       area of its common face
    shows_gap      whether a gap, taper or step of this joint is a characteristic
    role           the role stated by the user, or None
    """

    first: int
    second: int
    area_mm2: float
    shows_gap: bool
    role: Role | None

    def other(self, part: int) -> int:
        """The part at the other side."""
        return self.second if self.first == part else self.first

    @property
    def is_left_over(self) -> bool:
        """Whether it is expected to close a loop rather than to locate."""
        return self.role == "closing" or (self.role is None and self.shows_gap)


@dataclass(frozen=True, slots=True)
class Sequence:
    """order: part indices in bonding order, datum left out; is_locating: one flag per joint."""

    order: tuple[int, ...]
    is_locating: tuple[bool, ...]


def natural_key(name: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key under which ring-2 comes before ring-10."""
    pieces = re.findall(r"\d+|\D+", name)
    return tuple((0, int(piece), "") if piece.isdigit() else (1, 0, piece) for piece in pieces)


def plan_sequence(ids: Items[str], links: Items[JointLink], datum: int, order: Items[int] | None) -> Sequence:
    """Bonding order (the user's, or by contact area from the datum) and the role of each joint.

    A joint that carries a gap, taper or step characteristic is left over to close the loop, as long as
    the part placed at it has another joint that locates it; a stated role goes before this rule.
    Among equal contact areas the natural order of the ids decides, so that the order of the document
    plays no part.

    datum : part index that stands still, ON_GROUND where only the ground does
    order : part indices in bonding order, or None for the rule
    """
    chosen = tuple(part for part in order if part != datum) if order else _grow(ids, links, datum)
    standing = {ON_GROUND, datum}
    is_locating = [False] * len(links)
    for part in chosen:
        meeting = [
            index
            for index, link in enumerate(links)
            if part in (link.first, link.second) and link.other(part) in standing
        ]
        for index in _locating_among(meeting, links):
            is_locating[index] = True
        standing.add(part)
    return Sequence(chosen, tuple(is_locating))


def _locating_among(meeting: list[int], links: Items[JointLink]) -> list[int]:
    locating = [index for index in meeting if not links[index].is_left_over]
    if locating:
        return locating
    return [index for index in meeting if links[index].role != "closing"]


def _grow(ids: Items[str], links: Items[JointLink], datum: int) -> tuple[int, ...]:
    """Largest contact area with the parts that stand comes first: a big face needs no shim."""
    waiting = sorted(
        (part for part in range(len(ids)) if part != datum), key=lambda part: natural_key(ids[part])
    )
    rank = {part: position for position, part in enumerate(waiting)}
    firm = dict.fromkeys(waiting, 0.0)  # area of joints that locate
    loose = dict.fromkeys(waiting, 0.0)  # area of joints expected to close a loop
    touches = dict.fromkeys(waiting, 0)
    by_part: dict[int, list[JointLink]] = {}
    for link in links:
        for side in (link.first, link.second):
            by_part.setdefault(side, []).append(link)

    def stand(part: int) -> None:
        for link in by_part.get(part, []):
            other = link.other(part)
            if other in rank:
                if link.is_left_over:
                    loose[other] += link.area_mm2
                else:
                    firm[other] += link.area_mm2
                    touches[other] += 1

    def urgency(part: int) -> tuple[bool, float, float, int]:
        return (
            touches[part] == 0,
            -float(f"{firm[part]:.6g}"),
            -float(f"{loose[part]:.6g}"),
            rank[part],
        )

    stand(ON_GROUND)
    if datum != ON_GROUND:
        stand(datum)
    keys = {part: urgency(part) for part in waiting}
    chosen = []
    while keys:
        best = min(keys, key=keys.__getitem__)
        del keys[best]
        chosen.append(best)
        stand(best)
        for link in by_part.get(best, []):
            other = link.other(best)
            if other in keys:
                keys[other] = urgency(other)
    return tuple(chosen)
