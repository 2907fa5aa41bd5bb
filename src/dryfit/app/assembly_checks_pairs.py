"""Which pairs of parts are looked at together: what they share is sent to a process and prepared there once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

Pair = tuple[str, str]

# Of all parts of one task: about half a gigabyte, prepared and with their solids.
MOST_TRIANGLES = 1_000_000
_TASKS = 8  # at least so many are made of it where there is much to do: the last ones end together


def gather_pairs(pairs: Sequence[Pair], triangles: Mapping[str, int]) -> list[list[Pair]]:
    """All pairs in groups, each in one of them; a group is a few parts with the pairs among them.

    triangles : of each part
    A group begins with a pair and takes in the part that has most pairs with those that are in it, until
    it is full. Pairs between groups make groups of their own.
    """
    named = {name for pair in pairs for name in pair}
    most = min(MOST_TRIANGLES, sum(triangles[name] for name in named) // _TASKS)
    left, groups = list(pairs), []
    while left:
        inside = _grow(left, triangles, most)
        groups.append([pair for pair in left if inside.issuperset(pair)])
        left = [pair for pair in left if not inside.issuperset(pair)]
    return groups


def _grow(pairs: Sequence[Pair], triangles: Mapping[str, int], most: int) -> set[str]:
    inside = set(pairs[0])
    held = sum(triangles[name] for name in inside)
    while True:
        ties = Counter(a if b in inside else b for a, b in pairs if (a in inside) != (b in inside))
        fitting = [name for name in ties if held + triangles[name] <= most]
        if not fitting:
            return inside
        best = max(fitting, key=ties.__getitem__)
        inside.add(best)
        held += triangles[best]


def by_first(pairs: Sequence[Pair]) -> dict[str, list[Pair]]:
    """Pairs by their first part."""
    found: dict[str, list[Pair]] = {}
    for pair in pairs:
        found.setdefault(pair[0], []).append(pair)
    return found
