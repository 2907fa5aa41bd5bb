"""The update in the space of readings against the one in the space of sources, and against closed forms."""

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.stats import multivariate_normal

from dryfit.calc.chain import (
    Rows,
    common_shifts,
    condition,
    gain_of,
    remaining_lines,
    update_sources,
)


def made(seed: int = 3, readings: int = 12, shared: int = 4, own: int = 9, lines: int = 5):
    chance = np.random.default_rng(seed)
    common = chance.normal(size=(readings, shared))
    scatter = np.where(chance.uniform(size=(readings, own)) < 0.3, chance.normal(size=(readings, own)), 0.0)
    hand = np.diag(chance.uniform(0.2, 0.6, readings))
    design = Rows(common, csr_array(np.hstack([scatter, hand])))
    of_lines = np.hstack([chance.normal(size=(lines, own)), np.zeros((lines, readings))])
    return (
        design,
        chance.normal(size=readings),
        Rows(chance.normal(size=(lines, shared)), csr_array(of_lines)),
    )


def dense(rows: Rows) -> np.ndarray:
    return np.hstack([rows.shared, rows.own.toarray()])


def test_one_reading_of_one_source_in_closed_form():
    # x ~ N(0, 1), read as 2 x with a hand of 1: variance 1/5 is left, 2/5 of the reading is the expected x
    update = update_sources(Rows(np.array([[2.0]]), csr_array([[1.0]])), np.array([3.0]))
    assert update.shared == pytest.approx([6.0 / 5.0])
    left, own = remaining_lines(update, Rows(np.array([[1.0]]), csr_array((1, 1))))
    assert (left**2).sum() + (own**2).sum() == pytest.approx(1.0 / 5.0)
    assert left[0, 0] == pytest.approx(1.0 / 5.0)
    assert own[0, 0] == pytest.approx(-2.0 / 5.0)
    assert update.innovation_std == pytest.approx([np.sqrt(5.0)])


def test_two_readings_of_one_source_average_their_hands():
    # the mean of two readings with hands 0.3 and 0.4 by weights, against a prior of std 1
    weights = np.array([1.0, 1.0 / 0.3**2, 1.0 / 0.4**2])
    update = update_sources(Rows(np.ones((2, 1)), csr_array(np.diag([0.3, 0.4]))), np.array([0.5, 0.9]))
    assert update.shared == pytest.approx([weights @ [0.0, 0.5, 0.9] / weights.sum()])
    left, own = remaining_lines(update, Rows(np.ones((1, 1)), csr_array((1, 2))))
    assert (left**2).sum() + (own**2).sum() == pytest.approx(1.0 / weights.sum())


def test_the_same_as_conditioning_in_the_space_of_sources():
    design, innovation, lines = made()
    sources = design.shared.shape[1] + 9
    full = dense(design)[:, :sources]
    noise = np.diag((dense(design)[:, sources:] ** 2).sum(axis=1))
    theirs = condition(np.zeros(sources), np.eye(sources), full, innovation, noise)
    update = update_sources(design, innovation)
    ours = np.concatenate([update.shared, update.own])[:sources]
    assert ours == pytest.approx(theirs.shift, abs=1e-12)
    assert update.innovation_std == pytest.approx(theirs.innovation_std)
    left = np.hstack(remaining_lines(update, lines))
    of_lines = dense(lines)[:, :sources]
    assert left @ left.T == pytest.approx(of_lines @ theirs.covariance @ of_lines.T, abs=1e-12)


def test_the_gain_turns_innovations_into_expected_lines():
    design, innovation, lines = made()
    update = update_sources(design, innovation)
    expected = dense(lines) @ np.concatenate([update.shared, update.own])
    assert gain_of(update, lines) @ innovation == pytest.approx(expected, abs=1e-12)


def test_a_library_agrees_on_the_innovations():
    design, innovation, _ = made()
    update = update_sources(design, innovation)
    total = dense(design) @ dense(design).T
    theirs = multivariate_normal(np.zeros(len(innovation)), total).logpdf(innovation)
    half = -0.5 * innovation @ update.weighted - np.log(np.diag(update.factor)).sum()
    assert half - 0.5 * len(innovation) * np.log(2 * np.pi) == pytest.approx(theirs)


def test_a_common_shift_is_that_of_leaving_the_group_out():
    design, innovation, _ = made()
    update = update_sources(design, innovation)
    group = np.array([2, 5])
    shift, std = common_shifts(update, [group])
    rest = np.setdiff1d(np.arange(len(innovation)), group)
    without = update_sources(design.pick(rest), innovation[rest])
    # what the others let expect of the two, and with what covariance
    expected = gain_of(without, design.pick(group)) @ innovation[rest]
    left = np.hstack(remaining_lines(without, design.pick(group)))
    weights = np.linalg.inv(left @ left.T)
    assert shift[0] == pytest.approx((weights @ (innovation[group] - expected)).sum() / weights.sum())
    assert std[0] == pytest.approx(weights.sum() ** -0.5)


def test_a_reading_that_nothing_speaks_to_stands_on_its_own():
    design = Rows(np.zeros((2, 1)), csr_array(np.eye(2)))
    shift, std = common_shifts(update_sources(design, np.array([4.0, 0.0])), [np.array([0])])
    assert (shift[0], std[0]) == pytest.approx((4.0, 1.0))


def test_two_readings_without_noise_that_say_the_same_are_refused():
    with pytest.raises(ValueError, match="without noise"):
        update_sources(Rows(np.ones((2, 1)), csr_array((2, 1))), np.zeros(2))
