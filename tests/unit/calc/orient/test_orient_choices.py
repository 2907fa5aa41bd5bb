"""Choice of one candidate per part, against trying them all."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from dryfit.base.errors import Interrupted
from dryfit.calc.orient import Choices, alternate_start, neutral_start, search_choices, total_loss


def random_choices(seed, parts=5, candidates=4, columns=3):
    generator = np.random.default_rng(seed)
    vectors = tuple(generator.normal(size=(candidates, columns)) for _ in range(parts))
    costs = tuple(1e-3 * generator.random(candidates) for _ in range(parts))
    return Choices(generator.normal(size=columns), vectors, costs)


def starts_of(choices, seed=0, count=6):
    generator = np.random.default_rng(seed)
    sizes = [len(costs) for costs in choices.costs]
    return [
        np.zeros(len(sizes), dtype=np.int64),
        neutral_start(choices),
        *(generator.integers(0, sizes) for _ in range(count)),
    ]


def every(choices):
    ranges = [range(len(costs)) for costs in choices.costs]
    return min(total_loss(choices, np.array(picks)) for picks in itertools.product(*ranges))


@pytest.mark.parametrize("seed", range(20))
def test_the_search_finds_what_trying_everything_finds(seed):
    choices = random_choices(seed)
    picks, loss = search_choices(choices, starts_of(choices), seed=1, keep=3)[0]
    assert loss == pytest.approx(total_loss(choices, picks), rel=1e-12)
    assert loss == pytest.approx(every(choices), rel=1e-9)


def test_loss_is_that_of_the_written_out_sum():
    choices = random_choices(3)
    picks = np.array([0, 1, 2, 3, 0])
    total = choices.base + sum(choices.vectors[part][pick] for part, pick in enumerate(picks))
    price = sum(choices.costs[part][pick] for part, pick in enumerate(picks))
    assert total_loss(choices, picks) == pytest.approx(float(np.dot(total, total)) + price)


def test_two_parts_turn_together_where_one_alone_would_make_it_worse():
    # alone, either turn brings in a second column; together the columns cancel
    vectors = (np.array([[1.0, 0.0], [0.0, 3.0]]), np.array([[1.0, 0.0], [0.0, -3.0]]))
    choices = Choices(np.zeros(2), vectors, (np.zeros(2), np.zeros(2)))
    picks, loss = search_choices(choices, [np.zeros(2, dtype=np.int64)], seed=1, keep=1)[0]
    assert picks.tolist() == [1, 1]
    assert loss == pytest.approx(0.0, abs=1e-12)


def test_a_tie_goes_to_the_cheaper_choice():
    vectors = tuple(np.array([[1.0], [-1.0]]) for _ in range(4))
    choices = Choices(np.zeros(1), vectors, tuple(np.array([0.0, 1e-6 * (part + 1)]) for part in range(4)))
    picks, _ = search_choices(choices, starts_of(choices), seed=1, keep=1)[0]
    assert picks.tolist() == [1, 1, 0, 0]


def test_idle_columns_count_in_the_loss():
    choices = Choices(np.array([0.0, 2.0]), (np.array([[1.0, 0.0], [0.5, 0.0]]),), (np.zeros(2),))
    assert search_choices(choices, [np.array([0])], seed=1, keep=1)[0][1] == pytest.approx(4.25)


def test_answers_are_distinct_and_in_order():
    choices = random_choices(7)
    found = search_choices(choices, starts_of(choices), seed=1, keep=3)
    assert len({tuple(picks.tolist()) for picks, _ in found}) == len(found)
    assert [loss for _, loss in found] == sorted(loss for _, loss in found)


def test_starts():
    stated, turned = np.array([0, 0, 0, 0]), np.array([6, 6, 6, 6])
    assert alternate_start(stated, turned, [2, 0, 1, 3]).tolist() == [6, 0, 0, 6]
    vectors = (np.array([[2.0], [-0.1], [1.0]]),)
    assert neutral_start(Choices(np.zeros(1), vectors, (np.zeros(3),))).tolist() == [1]


def test_the_search_can_be_stopped():
    def stop():
        raise Interrupted("stopped", "search", "start again")

    choices = random_choices(1)
    with pytest.raises(Interrupted):
        search_choices(choices, starts_of(choices), seed=1, keep=1, tick=stop)


def test_candidates_must_match_the_base():
    with pytest.raises(ValueError):
        Choices(np.zeros(2), (np.zeros((3, 1)),), (np.zeros(3),))
