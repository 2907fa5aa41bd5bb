"""Pairs of parts in groups: each pair once, no group larger than it may be, near parts together."""

from hypothesis import given
from hypothesis import strategies as st

from dryfit.app import assembly_checks_pairs
from dryfit.app.assembly_checks_pairs import by_first, gather_pairs

NAMES = [f"p{number}" for number in range(12)]
pairs_of_parts = st.lists(
    st.tuples(st.integers(0, 10), st.integers(1, 11)).filter(lambda pair: pair[0] < pair[1]), unique=True
).map(lambda pairs: [(NAMES[a], NAMES[b]) for a, b in sorted(pairs)])


@given(pairs_of_parts, st.lists(st.integers(1, 400_000), min_size=12, max_size=12))
def test_every_pair_is_looked_at_once_and_groups_keep_within_their_size(pairs, sizes):
    triangles = dict(zip(NAMES, sizes, strict=True))
    groups = gather_pairs(pairs, triangles)
    assert sorted(pair for group in groups for pair in group) == sorted(pairs)
    for group in groups:
        held = {name for pair in group for name in pair}
        size = sum(triangles[name] for name in held)
        assert size <= assembly_checks_pairs.MOST_TRIANGLES or len(held) == 2


def ring(count):
    """Each part with its next."""
    return [(f"p{number}", f"p{number + 1}") for number in range(count - 1)]


def test_parts_of_a_row_share_their_neighbours():
    """Of 41 parts in a row at most one eighth at a time: 40 pairs name 80 parts, groups of five name 50."""
    pairs = ring(41)
    groups = gather_pairs(pairs, {name: 100_000 for pair in pairs for name in pair})
    sent = sum(len({name for pair in group for name in pair}) for group in groups)
    assert len(groups) >= 8
    assert sent <= 50


def test_much_work_is_divided_so_that_all_processes_have_some():
    pairs = ring(200)
    assert len(gather_pairs(pairs, {name: 1000 for pair in pairs for name in pair})) >= 8


def test_by_their_first_part():
    found = by_first([("a", "b"), ("b", "c"), ("a", "c")])
    assert found == {"a": [("a", "b"), ("a", "c")], "b": [("b", "c")]}
