"""What an adjustment refuses, and how it says so."""

import pickle

import numpy as np
import pytest

from dryfit.base.errors import ComputationRefused
from dryfit.calc.adjust import (
    Group,
    Indistinct,
    Levels,
    NotConverged,
    Prior,
    adjust,
    adjust_nonlinear,
    estimate_scatter,
    expect,
    explain_indistinct,
    search_blunders,
    separating_rows,
)

# Outside lengths of one size: the scale and the offset of the outline only ever appear together.
LENGTHS = np.array([100.0, 100.0, 100.0])
OUTSIDE = np.column_stack([LENGTHS, np.full(3, 2.0)])
NAMES = ("scale_x", "boundary_offset_mm")
VARIANCE = np.full(3, 0.02**2)


def test_scale_and_offset_of_one_size_are_named_with_the_change_that_no_reading_sees() -> None:
    with pytest.raises(Indistinct) as caught:
        adjust(OUTSIDE, np.full(3, 0.1), VARIANCE, names=NAMES)
    (combination,) = caught.value.combinations
    assert combination.unknowns == NAMES
    assert combination.changes == pytest.approx((1.0, -50.0))
    assert "scale_x +1 with boundary_offset_mm -50" in str(caught.value)


def test_the_refusal_survives_pickling() -> None:
    with pytest.raises(Indistinct) as caught:
        adjust(OUTSIDE, np.full(3, 0.1), VARIANCE, names=NAMES)
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.combinations == caught.value.combinations
    assert str(again) == str(caught.value)


def test_an_unknown_that_no_reading_sees_is_named_alone() -> None:
    design = np.column_stack([LENGTHS, np.zeros(3)])
    (combination,) = explain_indistinct(design, VARIANCE, names=NAMES)
    assert combination.unknowns == ("boundary_offset_mm",)


def test_fewer_readings_than_unknowns_are_indistinct_too() -> None:
    found = explain_indistinct(np.array([[1.0, 1.0, 0.0]]), np.ones(1), names=("a", "b", "c"))
    assert len(found) == 2
    assert {name for combination in found for name in combination.unknowns} == {"a", "b", "c"}


def test_a_length_of_another_size_or_a_centre_distance_separates_them_and_one_more_repeat_does_not() -> None:
    candidates = np.array([[100.0, 2.0], [300.0, 2.0], [100.0, 0.0], [50.0, 1.0]])
    found = separating_rows(OUTSIDE, VARIANCE, candidates, np.full(4, 0.02))
    assert [item.row for item in found] == [1, 2]
    assert found[0].strength == pytest.approx(2.0 * found[1].strength)
    assert all(item.left == 0 for item in found)


def test_what_is_known_beforehand_separates_them_too() -> None:
    prior = Prior(np.array([1]), np.zeros(1), np.array([0.1**2]))
    assert explain_indistinct(OUTSIDE, VARIANCE, prior) == ()
    assert separating_rows(OUTSIDE, VARIANCE, OUTSIDE, np.full(3, 0.02), prior) == ()
    # By hand: u(scale)^2 = (0.02^2 / 3 + (2 x 0.1)^2) / 100^2.
    expected = expect(OUTSIDE, VARIANCE, prior)
    assert expected.std[0] == pytest.approx(np.sqrt(0.02**2 / 3 + 0.04) / 100.0, rel=1e-9)


@pytest.mark.parametrize(
    ("covariance", "words"),
    [
        (np.array([1.0, 0.0, 1.0]), "not above zero"),
        (np.ones((3, 3)), "not positive definite"),
        (np.array([[1.0, 0.5, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]), "not symmetric"),
        (np.ones(4), "4 observations, and there are 3"),
        (np.ones((3, 2)), "shape"),
    ],
)
def test_a_covariance_that_is_none_is_refused(covariance: np.ndarray, words: str) -> None:
    with pytest.raises(ComputationRefused, match=words):
        adjust(np.ones((3, 1)), np.ones(3), covariance)


def test_without_more_readings_than_unknowns_nothing_is_tested() -> None:
    result = adjust(np.eye(2), np.array([1.0, 2.0]), np.ones(2))
    assert result.p_value is None
    assert result.is_consistent is None
    assert np.isnan(result.normalised).all()
    assert np.isinf(result.smallest_blunder).all()
    assert not result.is_controlled.any()
    found = search_blunders(np.eye(2), np.array([1.0, 2.0]), np.ones(2))
    assert found.suspects == ()
    assert found.untested == ("row 1", "row 2")


def test_a_scatter_that_nothing_shows_is_refused() -> None:
    with pytest.raises(ComputationRefused, match="no more observations than unknowns"):
        estimate_scatter(np.eye(2), np.ones(2), np.ones(2), np.ones(2))
    with pytest.raises(ComputationRefused, match="no part in any"):
        estimate_scatter(np.ones((3, 1)), np.ones(3), np.ones(3), np.zeros(3))
    # Repeats of a single measure share its scatter: their differences do not show it.
    with pytest.raises(ComputationRefused, match="no part in what"):
        estimate_scatter(np.ones((3, 1)), np.array([1.0, 1.1, 0.9]), np.full(3, 0.01), np.ones((3, 3)))


def test_where_the_known_part_explains_the_residuals_the_scatter_is_zero_and_its_std_is_stated() -> None:
    found = estimate_scatter(
        np.ones((4, 1)), np.array([1.0, 1.001, 0.999, 1.0]), np.full(4, 0.01), np.ones(4)
    )
    assert found.std == 0.0
    # By hand: u(s^2) = 0.01 sqrt(2 / 3); of s its root.
    assert found.std_std == pytest.approx(np.sqrt(0.01 * np.sqrt(2.0 / 3.0)))


def test_steps_that_do_not_settle_are_refused() -> None:
    def cusp(theta: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        # The derivative is false: no step lowers the sum of squares.
        return theta**2 + 1.0, np.full((1, 1), -1e-3)

    with pytest.raises(NotConverged, match="no step lowers"):
        adjust_nonlinear(cusp, np.array([1.0]), np.array([0.0]), np.array([1e-6]))


def test_levels_lie_between_0_and_1() -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        Levels(power=1.0)


def test_a_prior_names_each_unknown_once() -> None:
    with pytest.raises(ValueError, match="twice"):
        Prior(np.array([0, 0]), np.zeros(2), np.ones(2))


def test_two_values_of_one_unknown_cannot_tell_which_is_wrong_and_say_so() -> None:
    found = search_blunders(np.ones((2, 1)), np.array([0.0, 10.0]), np.ones(2), exchange=False)
    suspect = found.suspects[0]
    assert suspect.alike in (("row 1",), ("row 2",))
    assert suspect.redundancy == pytest.approx(0.5)


def test_the_search_ends_and_says_so_where_an_unknown_hangs_on_the_suspect() -> None:
    design = np.array([[1.0, 0.0], [1.0, 0.0], [1.0, 0.0], [1.0, 1.0], [1.0, 1.0]])
    observed = np.array([0.0, 0.0, 0.0, 40.0, 0.0])
    prior = Prior(np.array([1]), np.zeros(1), np.ones(1))
    both = (Group("tall edge", (3, 4)),)
    with_prior = search_blunders(design, observed, np.ones(5), prior, groups=both)
    assert with_prior.suspects[0].without is not None
    alone = search_blunders(design, observed, np.ones(5), groups=(Group("first two and tall", (3,)), *both))
    assert alone.untested == ("tall edge",)


def test_nothing_is_rejected_by_a_search() -> None:
    observed = np.array([0.0, 0.1, -0.1, 0.05, 9.0])
    found = search_blunders(np.ones((5, 1)), observed, np.full(5, 0.01))
    assert found.suspects[0].group.rows == (4,)
    assert found.suspects[0].size == pytest.approx(9.0 - 0.0125)  # by hand: against the mean of the others
    assert found.suspects[0].size_std == pytest.approx(0.1 * np.sqrt(1.25))
    assert found.adjustment.estimate[0] == pytest.approx(observed.mean())
    without = found.suspects[0].without
    assert without is not None
    assert without.estimate[0] == pytest.approx(0.0125)
