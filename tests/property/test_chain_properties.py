"""What must hold of every linear chain."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.chain import (
    LinearMap,
    Sources,
    condition,
    effective_dof,
    expanded_uncertainty,
    probability_outside,
    variance_shares,
    worst_case,
)

some = settings(max_examples=60, deadline=None)
values = st.floats(-5.0, 5.0)
widths = st.floats(0.05, 3.0)


@st.composite
def maps(draw: st.DrawFn) -> LinearMap:
    results, count = draw(st.integers(1, 4)), draw(st.integers(1, 5))
    sources = Sources.of(
        [
            (
                f"s{k}",
                Estimate(
                    draw(values), draw(widths), draw(st.sampled_from(["normal", "uniform", "triangular"]))
                ),
            )
            for k in range(count)
        ]
    )
    return LinearMap(
        draw(arrays(np.float64, results, elements=values)),
        draw(arrays(np.float64, (results, count), elements=values)),
        sources,
    )


@some
@given(maps(), values, widths)
def test_one_more_source_never_lowers_a_std(chain: LinearMap, gain: float, std: float) -> None:
    longer = Sources(
        (*chain.sources.names, "extra"),
        np.append(chain.sources.shift, 0.0),
        np.append(chain.sources.std, std),
        (*chain.sources.distribution, "normal"),
    )
    column = np.full((len(chain.nominal), 1), gain)
    more = LinearMap(chain.nominal, np.hstack([chain.matrix, column]), longer)
    assert (more.std >= chain.std - 1e-12).all()
    assert more.mean == pytest.approx(chain.mean)


@some
@given(maps())
def test_the_covariance_holds_the_stds_and_the_shares_add_up_to_one(chain: LinearMap) -> None:
    assert np.sqrt(np.diag(chain.covariance)) == pytest.approx(chain.std, abs=1e-12)
    assert np.linalg.eigvalsh(chain.covariance).min() >= -1e-9
    shares = variance_shares((chain.matrix * chain.sources.std) ** 2).sum(axis=1)
    assert shares[chain.std > 1e-6] == pytest.approx(1.0)
    assert (shares[chain.std == 0.0] == 0.0).all()


@some
@given(maps())
def test_the_worst_case_is_reached_at_a_corner_of_the_sources(chain: LinearMap) -> None:
    reach = np.abs(chain.matrix) * chain.sources.half_width
    low, high = worst_case(chain.mean, reach)
    corners = np.array(np.meshgrid(*[[-w, w] for w in chain.sources.half_width], indexing="ij"))
    spread = chain.matrix @ corners.reshape(len(chain.sources), -1)
    assert high == pytest.approx(chain.mean + spread.max(axis=1))
    assert low == pytest.approx(chain.mean + spread.min(axis=1))


@st.composite
def readings(draw: st.DrawFn) -> tuple[Array, Array, Array, Array, Array]:
    """shift, covariance, design, readings and their noise."""
    count, taken = draw(st.integers(1, 4)), draw(st.integers(1, 4))
    root = draw(arrays(np.float64, (count, count), elements=values))
    return (
        draw(arrays(np.float64, count, elements=values)),
        root @ root.T + 0.01 * np.eye(count),
        draw(arrays(np.float64, (taken, count), elements=values)),
        draw(arrays(np.float64, taken, elements=values)),
        np.diag(draw(arrays(np.float64, taken, elements=widths)) ** 2),
    )


@some
@given(readings())
def test_a_reading_never_raises_a_std(taken: tuple[Array, Array, Array, Array, Array]) -> None:
    after = condition(*taken)
    assert np.linalg.eigvalsh(taken[1] - after.covariance).min() >= -1e-7
    assert np.linalg.eigvalsh(after.covariance).min() >= -1e-9


@some
@given(readings(), st.randoms(use_true_random=False))
def test_the_order_of_readings_does_not_matter(
    taken: tuple[Array, Array, Array, Array, Array], random: object
) -> None:
    shift, covariance, design, seen, noise = taken
    at_once = condition(shift, covariance, design, seen, noise)
    order = list(range(len(seen)))
    random.shuffle(order)  # type: ignore[attr-defined]
    for k in order:
        after = condition(shift, covariance, design[k : k + 1], seen[k : k + 1], noise[k : k + 1, k : k + 1])
        shift, covariance = after.shift, after.covariance
    assert shift == pytest.approx(at_once.shift, abs=1e-5)
    assert covariance == pytest.approx(at_once.covariance, abs=1e-5)


@some
@given(st.floats(-3, 3), st.floats(0.01, 5.0), st.floats(-3, 0), st.floats(0, 3), st.floats(0.0, 2.0))
def test_wider_limits_are_never_missed_more_often(
    center: float, std: float, lower: float, upper: float, extra: float
) -> None:
    tight = probability_outside(center, std, lower, upper)
    assert 0.0 <= probability_outside(center, std, lower - extra, upper + extra) <= tight <= 1.0
    below = probability_outside(center, std, lower, None)
    above = probability_outside(center, std, None, upper)
    assert tight == pytest.approx(min(1.0, below + above))


@some
@given(st.lists(st.tuples(widths, st.floats(1.0, 100.0)), min_size=1, max_size=6))
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(
    terms: list[tuple[float, float]],
) -> None:
    std, dof = np.array(terms).T
    assert dof.min() - 1e-9 <= effective_dof(std, dof) <= dof.sum() + 1e-9


@some
@given(widths, st.floats(1.0, 200.0), st.floats(1.0, 50.0))
def test_fewer_degrees_of_freedom_never_tighten_the_interval(std: float, dof: float, fewer: float) -> None:
    least = max(1.0, dof - fewer)
    assert expanded_uncertainty(std, least) >= expanded_uncertainty(std, dof) - 1e-12
    assert expanded_uncertainty(std, dof) >= expanded_uncertainty(std, float("inf")) - 1e-12
