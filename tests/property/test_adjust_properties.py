"""What must hold of every adjustment of observations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from dryfit.base.arrays import Array
from dryfit.calc.adjust import (
    Indistinct,
    Prior,
    adjust,
    estimate_scatter,
    expect,
)

some = settings(max_examples=60, deadline=None)


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A random well-determined problem: the design, a covariance with correlations, and observed values."""

    design: Array
    covariance: Array
    observed: Array
    prior: Prior | None


@st.composite
def cases(draw: st.DrawFn) -> Case:
    unknowns = draw(st.integers(1, 5))
    count = unknowns + draw(st.integers(1, 12))
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    root = random.normal(size=(count, count)) * draw(st.sampled_from([0.0, 0.3, 1.0]))
    covariance = root @ root.T + np.diag(random.uniform(0.1, 2.0, count))
    prior = Prior(np.array([0]), np.array([0.2]), np.array([0.5])) if draw(st.booleans()) else None
    return Case(random.normal(size=(count, unknowns)), covariance, random.normal(size=count), prior)


@some
@given(cases())
def test_redundancies_add_up_to_the_degrees_of_freedom(case: Case) -> None:
    result = adjust(case.design, case.observed, case.covariance, case.prior)
    assert result.redundancy.sum() + result.prior_redundancy.sum() == pytest.approx(result.dof, abs=1e-7)


@some
@given(cases(), st.floats(0.05, 5.0))
def test_one_more_observation_never_enlarges_a_variance(case: Case, std: float) -> None:
    before = expect(case.design, case.covariance, case.prior)
    row = np.linspace(-1.0, 2.0, case.design.shape[1])
    after = expect(np.vstack([case.design, row]), (case.covariance, np.array([std**2])), case.prior)
    assert np.linalg.eigvalsh(before.covariance - after.covariance).min() >= -1e-9 * before.covariance.max()


@some
@given(cases())
def test_the_covariance_expected_beforehand_is_the_one_obtained(case: Case) -> None:
    before = expect(case.design, case.covariance, case.prior)
    after = adjust(case.design, case.observed, case.covariance, case.prior)
    assert after.covariance == pytest.approx(before.covariance, abs=0.0)
    assert after.smallest_blunder == pytest.approx(before.smallest_blunder, abs=0.0)


@some
@given(cases(), st.floats(1e-3, 1e3))
def test_a_change_of_units_changes_no_test_value(case: Case, unit: float) -> None:
    plain = adjust(case.design, case.observed, case.covariance)
    other = adjust(case.design, unit * case.observed, unit**2 * case.covariance)
    assert other.normalised == pytest.approx(plain.normalised, rel=1e-6, abs=1e-9)
    assert other.vpv == pytest.approx(plain.vpv, rel=1e-8, abs=1e-12)


@some
@given(cases())
def test_a_blunder_of_the_smallest_noticed_size_moves_its_own_test_value_by_the_noncentrality(
    case: Case,
) -> None:
    plain = adjust(case.design, case.observed, case.covariance, case.prior)
    row = int(np.argmax(plain.redundancy))
    assume(plain.is_controlled[row])
    spoiled = case.observed.copy()
    spoiled[row] += plain.smallest_blunder[row]
    moved = adjust(case.design, spoiled, case.covariance, case.prior).normalised - plain.normalised
    assert moved[row] == pytest.approx(plain.levels.noncentrality, rel=1e-6)


@some
@given(cases())
def test_leaving_a_row_out_lowers_the_sum_of_squares_by_its_test_value_squared(case: Case) -> None:
    plain = adjust(case.design, case.observed, case.covariance)
    rows = np.arange(1, len(case.observed))
    assume(plain.is_controlled[0] and len(rows) > case.design.shape[1])
    less = adjust(case.design[rows], case.observed[rows], case.covariance[np.ix_(rows, rows)])
    assert plain.vpv - less.vpv == pytest.approx(plain.normalised[0] ** 2, rel=1e-5, abs=1e-6)


@some
@given(cases())
def test_blocks_and_one_matrix_say_the_same(case: Case) -> None:
    count = len(case.observed)
    variances = np.diag(case.covariance)
    full = np.zeros((2 * count, 2 * count))
    full[:count, :count], full[count:, count:] = case.covariance, np.diag(variances)
    design, observed = np.vstack([case.design] * 2), np.tile(case.observed, 2)
    one = adjust(design, observed, full)
    two = adjust(design, observed, (case.covariance, variances))
    assert two.estimate == pytest.approx(one.estimate, rel=1e-7, abs=1e-9)
    assert two.redundancy == pytest.approx(one.redundancy, rel=1e-7, abs=1e-9)


def test_a_large_matrix_of_small_blocks_says_the_same_as_its_blocks() -> None:
    random = np.random.default_rng(2)
    blocks = []
    for size in (1, 3, 80, 2, 1, 150):
        root = random.normal(size=(size, size))
        blocks.append(root @ root.T + np.eye(size))
    count = sum(len(block) for block in blocks)
    full, start = np.zeros((count, count)), 0
    for block in blocks:
        full[start : start + len(block), start : start + len(block)] = block
        start += len(block)
    design, observed = random.normal(size=(count, 4)), random.normal(size=count)
    one, several = adjust(design, observed, full), adjust(design, observed, tuple(blocks))
    # By hand: generalised least squares with the inverse of the matrix.
    weights = np.linalg.inv(full)
    normal = design.T @ weights @ design
    assert one.estimate == pytest.approx(np.linalg.solve(normal, design.T @ weights @ observed), rel=1e-9)
    assert one.covariance == pytest.approx(np.linalg.inv(normal), rel=1e-9, abs=1e-12)
    assert one.normalised == pytest.approx(several.normalised, rel=1e-9)
    left = np.eye(count) - design @ np.linalg.solve(normal, design.T @ weights)
    assert one.redundancy == pytest.approx(np.diag(left), rel=1e-7, abs=1e-10)


@some
@given(cases())
def test_a_wide_prior_is_no_prior_and_a_tight_one_fixes(case: Case) -> None:
    free = adjust(case.design, case.observed, case.covariance)
    wide = adjust(
        case.design, case.observed, case.covariance, Prior(np.array([0]), np.zeros(1), np.array([1e12]))
    )
    tight = adjust(
        case.design, case.observed, case.covariance, Prior(np.array([0]), np.ones(1), np.array([1e-12]))
    )
    assert wide.estimate == pytest.approx(free.estimate, rel=1e-4, abs=1e-5)
    assert tight.estimate[0] == pytest.approx(1.0, abs=1e-5)


@some
@given(cases(), st.floats(0.2, 3.0))
def test_at_the_estimated_scatter_the_squares_equal_the_degrees_of_freedom(case: Case, spread: float) -> None:
    rough = case.observed + spread * np.cos(7.0 * np.arange(len(case.observed)))
    scatter = estimate_scatter(case.design, rough, 0.01 * case.covariance, np.ones(len(rough)))
    if scatter.std > 0.0:
        assert scatter.adjustment.vpv == pytest.approx(scatter.adjustment.dof, rel=1e-6)
    else:
        assert scatter.adjustment.vpv <= scatter.adjustment.dof


@some
@given(cases())
def test_scatter_alone_has_the_degrees_of_freedom_of_its_residuals(case: Case) -> None:
    count, unknowns = case.design.shape
    scatter = estimate_scatter(case.design, case.observed, np.zeros(count), np.ones(count))
    assert scatter.dof == pytest.approx(np.full(unknowns, count - unknowns), rel=1e-6)


@some
@given(cases(), st.integers(0, 4))
def test_unknowns_that_only_appear_together_are_named(case: Case, column: int) -> None:
    column = min(column, case.design.shape[1] - 1)
    doubled = np.column_stack([case.design, 3.0 * case.design[:, column]])
    names = [f"u{index}" for index in range(doubled.shape[1])]
    with pytest.raises(Indistinct) as caught:
        adjust(doubled, case.observed, case.covariance, names=names)
    (combination,) = caught.value.combinations
    assert combination.unknowns == (f"u{column}", names[-1])
    assert combination.changes == pytest.approx((1.0, -1.0 / 3.0), rel=1e-6)
