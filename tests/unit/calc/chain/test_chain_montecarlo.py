"""Monte Carlo against closed forms; the seed is fixed, tolerances are four standard errors."""

import math

import numpy as np
import pytest

from dryfit.base.estimate import Estimate
from dryfit.calc.chain import Samples, Sources, sample

COUNT = 200_000


def draws_of(*estimates: Estimate, normal: float = 0.0, limits: tuple[float, float] = (-1.0, 1.0)) -> Samples:
    sources = Sources.of([(f"s{k}", estimate) for k, estimate in enumerate(estimates)])
    matrix = np.ones((1, len(estimates)))
    low, high = np.array([limits[0]]), np.array([limits[1]])
    return sample(np.zeros(1), np.array([normal]), matrix, sources, low, high, COUNT)


def test_a_uniform_source() -> None:
    draws = draws_of(Estimate(0.0, 1.0, "uniform"))
    assert draws.std[0] == pytest.approx(1.0, abs=0.006)
    assert draws.high[0] == pytest.approx(0.95 * math.sqrt(3.0), abs=0.005)
    assert draws.low[0] == pytest.approx(-0.95 * math.sqrt(3.0), abs=0.005)
    assert draws.outside[0] == pytest.approx(1.0 - 1.0 / math.sqrt(3.0), abs=0.005)


def test_a_triangular_source() -> None:
    draws = draws_of(Estimate(0.0, 1.0, "triangular"))
    assert draws.std[0] == pytest.approx(1.0, abs=0.006)
    # the tail beyond x of a triangle of half width w is (w - x)^2/(2 w^2)
    assert draws.high[0] == pytest.approx(math.sqrt(6.0) * (1.0 - math.sqrt(0.05)), abs=0.01)
    assert draws.outside[0] == pytest.approx((1.0 - 1.0 / math.sqrt(6.0)) ** 2, abs=0.005)


def test_two_uniform_sources_make_a_triangular_one() -> None:
    draws = draws_of(Estimate(0.0, math.sqrt(0.5), "uniform"), Estimate(0.0, math.sqrt(0.5), "uniform"))
    assert draws.high[0] == pytest.approx(math.sqrt(6.0) * (1.0 - math.sqrt(0.05)), abs=0.01)


def test_three_uniform_sources_follow_irwin_and_hall() -> None:
    # rectangles of half width 1: the sum exceeds 3 - x with probability x^3/48
    draws = draws_of(*[Estimate(0.0, 1.0 / math.sqrt(3.0), "uniform")] * 3, limits=(-2.0, 2.0))
    assert draws.outside[0] == pytest.approx(2.0 / 48.0, abs=0.002)
    assert draws.high[0] == pytest.approx(3.0 - (48.0 * 0.025) ** (1 / 3), abs=0.01)


def test_the_normal_part_adds_its_variance() -> None:
    draws = draws_of(Estimate(0.0, 0.3, "uniform"), normal=0.4)
    assert draws.std[0] == pytest.approx(0.5, abs=0.004)


def test_normal_sources_may_be_drawn_one_by_one_too() -> None:
    draws = draws_of(Estimate(0.0, 0.3), Estimate(0.0, 0.4))
    assert draws.std[0] == pytest.approx(0.5, abs=0.004)
    assert draws.high[0] == pytest.approx(0.98, abs=0.012)


def test_results_are_centred_and_the_seed_repeats_them() -> None:
    sources = Sources.of([("u", Estimate(0.0, 1.0, "uniform"))])
    far = np.array([np.inf])

    def run(seed: int) -> Samples:
        return sample(np.array([7.0]), np.zeros(1), np.ones((1, 1)), sources, -far, far, 10_000, seed)

    assert 0.5 * (run(1).low[0] + run(1).high[0]) == pytest.approx(7.0, abs=0.05)
    assert run(1).low[0] == run(1).low[0]
    assert run(1).low[0] != run(2).low[0]
    assert (run(3).count, run(3).seed, run(3).outside[0]) == (10_000, 3, 0.0)


def test_progress_is_told_to_the_end() -> None:
    told: list[tuple[int, int]] = []
    sources = Sources.of([("u", Estimate(0.0, 1.0, "uniform"))])
    far = np.array([np.inf])
    sample(
        np.zeros(1), np.zeros(1), np.ones((1, 1)), sources, -far, far, 20_000, 1, lambda *at: told.append(at)
    )
    assert told[-1] == (20_000, 20_000)
    assert len(told) > 1
