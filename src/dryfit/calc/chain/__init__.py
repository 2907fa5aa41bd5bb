"""The linear chain: sources of uncertainty, what they do to results, and what readings tell."""

from dryfit.calc.chain.condition import Posterior, condition
from dryfit.calc.chain.linear import (
    LinearMap,
    effective_dof,
    expanded_uncertainty,
    probability_outside,
    variance_shares,
    worst_case,
)
from dryfit.calc.chain.montecarlo import Samples, sample
from dryfit.calc.chain.sources import Sources

__all__ = [
    "LinearMap",
    "Posterior",
    "Samples",
    "Sources",
    "condition",
    "effective_dof",
    "expanded_uncertainty",
    "probability_outside",
    "sample",
    "variance_shares",
    "worst_case",
]
