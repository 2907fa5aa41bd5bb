"""Schedules of invented networks: what must hold whatever the evidence."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from dryfit.app.schedule_solving import solve
from dryfit.base.estimate import Estimate
from dryfit.calc.adjust import Quotients, adjust_exactly, find_doubts
from dryfit.model.evidence import Observation, Relation
from dryfit.model.feature import Dimension
from dryfit.model.project import Project

IDS = ("a", "b", "c", "whole")


@st.composite
def observations(draw: st.DrawFn) -> list[Observation]:
    """Each part at least once, then more of anything."""
    names = [*IDS[:3], *draw(st.lists(st.sampled_from(IDS), max_size=6))]
    return [
        Observation(
            f"o{place}",
            ((name, 1.0),),
            Estimate(
                draw(st.floats(900.0, 1100.0)) * (3 if name == "whole" else 1), draw(st.floats(0.5, 50.0))
            ),
        )
        for place, name in enumerate(names)
    ]


def project(observed: list[Observation]) -> Project:
    return Project(
        name="net",
        scale=None,
        dimensions=tuple(Dimension(id, None) for id in IDS),
        observations=tuple(observed),
        relations=(
            Relation("sum", "sum", of=IDS[:3], whole="whole"),
            Relation("alike", "equal", of=("a", "b"), std=30.0),
        ),
    )


@given(observations(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_the_order_of_observations_does_not_matter(observed: list[Observation], chance) -> None:
    shuffled = list(observed)
    chance.shuffle(shuffled)
    first, second = solve(project(observed)), solve(project(shuffled))
    np.testing.assert_allclose(first.adjustment.estimate, second.adjustment.estimate, rtol=1e-9)
    np.testing.assert_allclose(
        first.adjustment.covariance, second.adjustment.covariance, rtol=1e-7, atol=1e-9
    )


@given(observations(), st.sampled_from(IDS), st.floats(0.5, 50.0))
@settings(max_examples=60, deadline=None)
def test_one_more_observation_never_widens_a_size(observed: list[Observation], name: str, std: float) -> None:
    more = Observation("more", ((name, 1.0),), Estimate(3000.0 if name == "whole" else 1000.0, std))
    before, after = solve(project(observed)), solve(project([*observed, more]))
    assert (after.adjustment.std <= before.adjustment.std * (1.0 + 1e-9)).all()


@given(observations())
@settings(max_examples=60, deadline=None)
def test_exact_relations_hold_and_redundancy_adds_up(observed: list[Observation]) -> None:
    solved = solve(project(observed))
    sizes = [solved.prototype(id).value for id in IDS]
    assert abs(sizes[3] - sum(sizes[:3])) <= 1e-9 * sizes[3]
    assert np.isclose(solved.adjustment.redundancy.sum(), solved.adjustment.dof)


def test_sound_networks_are_rarely_suspected() -> None:
    """At 5 % of the family, and 5 % of the global test before the lower limit holds: in no more than 1 of 10."""
    draw = np.random.default_rng(7)
    design = np.vstack([np.eye(3), np.eye(3), [[1, -1, 0], [0, 1, -1], [1, 0, -1]]]).astype(float)
    exact, nothing = Quotients.linear(np.zeros((0, 3))), np.zeros(0)
    named = 0
    for _ in range(400):
        observed = design @ np.array([100.0, 200.0, 300.0]) + draw.normal(size=9)
        result = adjust_exactly(Quotients.linear(design), observed, np.ones(9), exact, nothing, np.ones(3))
        named += bool(find_doubts(result).found)
    assert named / 400 < 0.10


def test_a_blunder_just_noticeable_is_named_as_often_as_promised() -> None:
    """The smallest blunder is that which a test at 0.1 % notices in 80 of 100 cases (Baarda 1968, memory)."""
    draw = np.random.default_rng(8)
    design = np.vstack([np.eye(3), np.eye(3), [[1, -1, 0], [0, 1, -1], [1, 0, -1]]]).astype(float)
    exact, nothing = Quotients.linear(np.zeros((0, 3))), np.zeros(0)
    seen = 0
    for _ in range(400):
        observed = design @ np.array([100.0, 200.0, 300.0]) + draw.normal(size=9)
        result = adjust_exactly(Quotients.linear(design), observed, np.ones(9), exact, nothing, np.ones(3))
        observed[4] += result.smallest_blunder[4]
        result = adjust_exactly(Quotients.linear(design), observed, np.ones(9), exact, nothing, np.ones(3))
        seen += abs(result.normalised[4]) > 3.2905
    # Binomial, 400 draws: 0.80 within three standard deviations.
    assert abs(seen / 400 - 0.80) < 0.06
