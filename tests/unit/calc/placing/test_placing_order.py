"""Bonding order and roles of joints."""

import pytest

from dryfit.calc.placing import JointLink, plan_sequence
from dryfit.model.contacts import ON_GROUND
from dryfit.model.joint import Role


def link(
    first: int, second: int, area: float = 1.0, shows: bool = False, role: Role | None = None
) -> JointLink:
    return JointLink(first, second, area, shows, role)


RING = [link(0, 1), link(1, 2), link(2, 3), link(3, 0)]
IDS = ["a", "b", "c", "d"]


def test_the_joint_with_a_gap_closes_the_ring() -> None:
    links = [*RING[:3], link(3, 0, shows=True)]
    sequence = plan_sequence(IDS, links, 0, [0, 1, 2, 3])
    assert sequence.order == (1, 2, 3)
    assert sequence.is_locating == (True, True, True, False)


def test_without_a_gap_every_joint_locates_the_later_part() -> None:
    assert plan_sequence(IDS, RING, 0, [0, 1, 2, 3]).is_locating == (True,) * 4


def test_a_stated_role_goes_before_the_rule() -> None:
    links = [*RING[:2], link(2, 3, role="closing"), link(3, 0, shows=True, role="locating")]
    assert plan_sequence(IDS, links, 0, [0, 1, 2, 3]).is_locating == (True, True, False, True)


def test_a_gap_at_the_only_joint_of_a_part_still_locates_it() -> None:
    assert plan_sequence(["a", "b"], [link(0, 1, shows=True)], 0, None).is_locating == (True,)


def test_a_joint_stated_to_close_never_locates() -> None:
    assert plan_sequence(["a", "b"], [link(0, 1, role="closing")], 0, None).is_locating == (False,)


def test_the_largest_area_with_standing_parts_comes_first() -> None:
    links = [link(0, 1, 5.0), link(0, 2, 50.0), link(2, 3, 500.0)]
    assert plan_sequence(IDS, links, 0, None).order == (2, 3, 1)


def test_a_part_that_touches_comes_before_one_that_does_not() -> None:
    assert plan_sequence(IDS, [link(0, 3, 0.0)], 0, None).order == (3, 1, 2)


def test_area_of_a_joint_that_closes_counts_last() -> None:
    links = [link(0, 1, 90.0, shows=True), link(0, 2, 5.0), link(2, 1, 1.0)]
    assert plan_sequence(["a", "b", "c"], links, 0, None).order == (2, 1)


@pytest.mark.parametrize("ids", [["x", "ring-10", "ring-2", "ring-1"]])
def test_equal_areas_follow_the_natural_order_of_names(ids: list[str]) -> None:
    links = [link(0, part) for part in (1, 2, 3)]
    assert plan_sequence(ids, links, 0, None).order == (3, 2, 1)


def test_everything_may_stand_on_the_ground() -> None:
    links = [link(ON_GROUND, 0), link(0, 1)]
    sequence = plan_sequence(["a", "b"], links, ON_GROUND, None)
    assert sequence.order == (0, 1)
    assert sequence.is_locating == (True, True)
