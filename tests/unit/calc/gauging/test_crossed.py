"""The analysis of variance of a gauge study, against a general-purpose library and against draws."""

import math

import numpy as np
import pytest
from scipy import stats

from dryfit.calc.gauging import analyse_crossed


def draw(rng, people, parts, trials, between=0.05, each=0.03, crossed=0.0):
    """Readings of an invented study: people differ by `between`, repeats by `each`."""
    return (
        rng.normal(0.0, 1.0, (1, parts, 1))
        + rng.normal(0.0, between, (people, 1, 1))
        + rng.normal(0.0, crossed, (people, parts, 1))
        + rng.normal(0.0, each, (people, parts, trials))
    )


def test_one_person_against_the_library():
    """F of the parts by scipy.stats.f_oneway, spread of the repeats by its pooled variance."""
    values = draw(np.random.default_rng(1), 1, 5, 3)
    study = analyse_crossed(values)
    groups = list(values[0])
    assert study.lines[0].f == pytest.approx(stats.f_oneway(*groups).statistic)
    pooled = math.sqrt(np.mean([np.var(group, ddof=1) for group in groups]))
    assert study.repeatability == pytest.approx(pooled)
    assert study.dof == 10
    assert study.reproducibility is None
    assert study.reproducibility_interval is None
    assert not study.is_pooled


def test_the_sums_of_squares_add_up():
    values = draw(np.random.default_rng(2), 3, 6, 4)
    lines = analyse_crossed(values).lines
    assert sum(line.squares for line in lines) == pytest.approx(((values - values.mean()) ** 2).sum())
    assert sum(line.dof for line in lines) == values.size - 1


def test_people_who_read_parts_differently_are_not_pooled():
    study = analyse_crossed(draw(np.random.default_rng(3), 3, 6, 4, crossed=0.2))
    assert not study.is_pooled
    assert study.dof == 54
    assert study.repeatability == pytest.approx(0.03, rel=0.3)
    assert study.reproducibility is not None
    assert study.reproducibility > 0.1


def test_repeats_that_all_agree_have_no_spread():
    values = np.tile(np.arange(1.0, 6.0)[None, :, None], (2, 1, 3))
    study = analyse_crossed(values)
    assert (study.repeatability, study.reproducibility, study.both) == (0.0, 0.0, 0.0)
    assert study.parts == pytest.approx(np.std(np.arange(5.0), ddof=1))


def test_all_readings_equal():
    study = analyse_crossed(np.full((2, 3, 2), 7.0))
    assert (study.total, study.share) == (0.0, 0.0)


@pytest.mark.parametrize("shape", [(1, 1, 3), (1, 3, 1), (2, 1, 2)])
def test_too_little_for_a_study(shape):
    with pytest.raises(ValueError, match="two parts"):
        analyse_crossed(np.ones(shape))


def test_the_interval_of_the_repeatability_covers_at_its_level():
    """2,000 invented studies of one person: 95 % hold the true value, within 1.5 %, three standard errors."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(2000):
        interval = analyse_crossed(draw(rng, 1, 5, 3)).repeatability_interval
        held += interval.low <= 0.03 <= interval.high
    assert held / 2000 == pytest.approx(0.95, abs=0.015)


def test_the_interval_of_the_reproducibility_covers_at_its_level():
    """Williams's interval is approximate, and never much below its level."""
    rng = np.random.default_rng(12)
    held = 0
    for _ in range(1500):
        interval = analyse_crossed(draw(rng, 3, 5, 3)).reproducibility_interval
        assert interval is not None
        held += interval.low <= 0.05 <= interval.high
    assert 0.93 <= held / 1500 <= 0.985


def test_people_who_do_not_differ_may_differ_by_nothing():
    """The lower bound reaches zero where the spread between people is no more than chance gives."""
    study = analyse_crossed(draw(np.random.default_rng(6), 3, 5, 3, between=0.0))
    assert study.reproducibility_interval is not None
    assert study.reproducibility_interval.low == 0.0
    assert study.reproducibility_interval.high > 0.0
