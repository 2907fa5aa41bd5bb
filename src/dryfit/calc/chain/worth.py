"""What a reading is worth before it is taken: by how much it is expected to lessen the risk of being out of limits.

A reading alone does not change the probability that a result is out of limits, on average: what it brings down in
one case it puts up in another. It helps because what is known can be acted on: a known departure can be taken up by a
shim, by sanding, or by the parts still to be printed. So the risk is the probability out of limits after the better of
two courses: leave it, or take up what is known, so that the result is expected at its target.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from dryfit.base.arrays import Array

# Of the quadrature over the reading: even steps, since taking up makes a kink that polynomials do not follow. The
# error at the kink is about a twelfth of the step squared times the jump of the slope: some hundred-thousandths.
_NODES, _REACH = 161, 6.0


def risk_of(mean: Array, std: Array, lower: Array, upper: Array, target: Array) -> Array:
    """(k,) probability out of limits after the better of leaving a result and taking up its known departure.

    mean, std (k,) of normal results   lower, upper (k,) infinite where there is no limit   target (k,) where taking up
    brings it: the middle of two limits
    """
    return np.minimum(_outside(mean, std, lower, upper), _outside(target, std, lower, upper))


def expected_risk(
    mean: Array, std: Array, std_after: Array, lower: Array, upper: Array, target: Array
) -> Array:
    """(k,) the same after a reading that will leave std_after, averaged over what it may show.

    std_after : (k,) no larger than std. What the mean moves by is normal, with variance std^2 - std_after^2
    Source: preposterior analysis, Raiffa and Schlaifer 1961 (memory); trapezoidal rule.
    """
    nodes, weights = _quadrature()
    moves = np.sqrt(np.maximum(std**2 - std_after**2, 0.0))
    at = mean[:, None] + moves[:, None] * nodes
    outside = _outside(at, std_after[:, None], lower[:, None], upper[:, None])
    taken_up = _outside(target, std_after, lower, upper)[:, None]
    expected: Array = np.minimum(outside, taken_up) @ (weights / weights.sum())
    return expected


@cache
def _quadrature() -> tuple[Array, Array]:
    """Nodes and weights over a normal distribution of std 1."""
    nodes = np.linspace(-_REACH, _REACH, _NODES)
    return nodes, np.exp(-0.5 * nodes**2)


def _outside(mean: Array, std: Array, lower: Array, upper: Array) -> Array:
    """Probability of a normal value outside its limits; by which side the mean is on where std is 0."""
    from scipy.special import ndtr

    safe = np.where(std > 0.0, std, 1.0)
    spread = ndtr((lower - mean) / safe) + ndtr((mean - upper) / safe)
    certain = ((mean < lower) | (mean > upper)).astype(np.float64)
    outside: Array = np.where(std > 0.0, np.minimum(spread, 1.0), certain)
    return outside
