"""Adjustment of observations: weighted least squares for correlated rows, scatter, blunders, what is indistinct."""

from dryfit.calc.adjust.blunders import BlunderSearch, Group, Suspect, critical_value, search_blunders
from dryfit.calc.adjust.consistency import Consistency, check_consistency
from dryfit.calc.adjust.exact import Contradiction, adjust_exactly
from dryfit.calc.adjust.exact_record import ExactAdjustment
from dryfit.calc.adjust.indistinct import (
    Combination,
    Indistinct,
    Separating,
    explain_indistinct,
    separating_rows,
)
from dryfit.calc.adjust.nonlinear import NotConverged, adjust_nonlinear
from dryfit.calc.adjust.quotients import Quotients
from dryfit.calc.adjust.records import Adjustment, Expectation, Levels, Prior
from dryfit.calc.adjust.robust import Robust, adjust_huber, adjust_robustly
from dryfit.calc.adjust.scatter import Scatter, estimate_scatter
from dryfit.calc.adjust.snooping import Doubt, Doubts, Without, find_doubts, leave_out
from dryfit.calc.adjust.solve import adjust, expect
from dryfit.calc.adjust.worth import chance_outside, covariance_after

__all__ = [
    "Adjustment",
    "BlunderSearch",
    "Combination",
    "Consistency",
    "Contradiction",
    "Doubt",
    "Doubts",
    "ExactAdjustment",
    "Expectation",
    "Group",
    "Indistinct",
    "Levels",
    "NotConverged",
    "Prior",
    "Quotients",
    "Robust",
    "Scatter",
    "Separating",
    "Suspect",
    "Without",
    "adjust",
    "adjust_exactly",
    "adjust_huber",
    "adjust_nonlinear",
    "adjust_robustly",
    "chance_outside",
    "check_consistency",
    "covariance_after",
    "critical_value",
    "estimate_scatter",
    "expect",
    "explain_indistinct",
    "find_doubts",
    "leave_out",
    "search_blunders",
    "separating_rows",
]
