"""Which photographs are adjusted together: those that hang together by enough common points, and why others do not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from dryfit.app.photo_arrays import PhotoArrays
from dryfit.app.photo_methods import LEAST_COMMON

_NAMED = 4

Group = tuple[PhotoArrays, ...]


@dataclass(frozen=True, slots=True)
class PhotoGroup:
    """Photographs that are adjusted together, or one that is joined to none.

    points  that two or more of them share
    why     it is not one with the photographs nearest to it; "" where nothing else is there
    do      what would join them
    """

    photos: tuple[str, ...]
    points: int
    why: str = ""
    do: str = ""


def sets_of(several: Sequence[PhotoArrays]) -> list[Group]:
    """Sets of two or more photographs, each adjusted by itself.

    A set begins with the two that share most points. Another joins it where it shares five points that two of the set
    have already: five that only one has say nothing of where it stood. What is left may make further sets; a
    photograph is in one set at most, so that no mark counts twice.
    """
    left, sets = list(several), []
    while (pair := _closest(left)) is not None:
        group = list(pair)
        left = [item for item in left if not any(item is other for other in pair)]
        while (near := _nearest(left, group)) is not None:
            group.append(near)
            left = [item for item in left if item is not near]
        sets.append(tuple(item for item in several if any(item is other for other in group)))
    return sets


def group_photos(several: Sequence[PhotoArrays]) -> tuple[PhotoGroup, ...]:
    """Every photograph in its set, or alone, with the reason why it is not joined to the others."""
    sets = sets_of(several)
    alone = [item for item in several if not any(item is other for group in sets for other in group)]
    groups: list[Group] = [*sets, *((item,) for item in alone)]
    return tuple(_told(group, [other for other in groups if other is not group]) for group in groups)


def counts_of(group: Sequence[PhotoArrays]) -> Counter[str]:
    """On how many photographs of a group each point is marked."""
    return Counter(name for item in group for name in item.names)


def _closest(left: Sequence[PhotoArrays]) -> tuple[PhotoArrays, PhotoArrays] | None:
    best = max(combinations(left, 2), key=lambda pair: len(_shared(*pair)), default=None)
    return best if best is not None and len(_shared(*best)) >= LEAST_COMMON else None


def _nearest(left: Sequence[PhotoArrays], group: Sequence[PhotoArrays]) -> PhotoArrays | None:
    twice = _twice(group)
    best = max(left, key=lambda item: len(twice & set(item.names)), default=None)
    return best if best is not None and len(twice & set(best.names)) >= LEAST_COMMON else None


def _told(group: Group, others: Sequence[Group]) -> PhotoGroup:
    ids = tuple(item.photo.id for item in group)
    points = len(_twice(group))
    mine = set(counts_of(group))
    shared = [(len(mine & set(counts_of(other))), other) for other in others]
    count, nearest = max(shared, key=lambda pair: pair[0], default=(0, ()))
    if not nearest:
        return PhotoGroup(ids, points)
    what = ", ".join(item.photo.id for item in nearest)
    if not count:
        why = "shares no point with any other photograph"
        return PhotoGroup(ids, points, why, "mark the same points, under the same names, on a second one")
    names = sorted(mine & set(counts_of(nearest)))
    listed = ", ".join(names[:_NAMED]) + (", ..." if len(names) > _NAMED else "")
    best = max(_link(group, nearest), _link(nearest, group))
    least = f"{LEAST_COMMON} on one photograph"
    if len(nearest) > 1 or len(group) > 1:
        least += ", each of them on two of the others,"
    why = f"shares {count} {_noun(count)} with {what} ({listed}), at most {best} of them as they are needed: "
    why += f"{least} would join them"
    return PhotoGroup(ids, points, why, f"mark {LEAST_COMMON - best} or more further points that {what} show")


def _link(group: Group, others: Group) -> int:
    """Most points of one photograph that a group has as it needs them."""
    fit = _twice(group) if len(group) > 1 else set(group[0].names)
    return max(len(fit & set(item.names)) for item in others)


def _twice(group: Sequence[PhotoArrays]) -> set[str]:
    return {name for name, count in counts_of(group).items() if count > 1}


def _shared(one: PhotoArrays, other: PhotoArrays) -> set[str]:
    return set(one.names) & set(other.names)


def _noun(count: int) -> str:
    return "point" if count == 1 else "points"
