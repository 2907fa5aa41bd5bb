"""The linear chain: sources of uncertainty, what they do to results, and what readings tell."""

from dryfit.base.freedom import effective_dof
from dryfit.calc.chain.condition import Posterior, condition
from dryfit.calc.chain.field import smooth_field
from dryfit.calc.chain.linear import (
    LinearMap,
    expanded_uncertainty,
    probability_outside,
    variance_shares,
    worst_case,
)
from dryfit.calc.chain.montecarlo import Samples, sample
from dryfit.calc.chain.sources import Sources, independent_columns
from dryfit.calc.chain.update import (
    Rows,
    Update,
    common_shifts,
    gain_of,
    group_tests,
    remaining_lines,
    update_sources,
)
from dryfit.calc.chain.worth import expected_risk, risk_of

__all__ = [
    "LinearMap",
    "Posterior",
    "Rows",
    "Samples",
    "Sources",
    "Update",
    "common_shifts",
    "condition",
    "effective_dof",
    "expanded_uncertainty",
    "expected_risk",
    "gain_of",
    "group_tests",
    "independent_columns",
    "probability_outside",
    "remaining_lines",
    "risk_of",
    "sample",
    "smooth_field",
    "update_sources",
    "variance_shares",
    "worst_case",
]
