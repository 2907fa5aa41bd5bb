"""What a reading is worth: the uncertainty budget of one reading, and gauge studies."""

from dryfit.calc.gauging.acceptance import CONFORMITY, Acceptance, Verdict, guard_limits
from dryfit.calc.gauging.budget import Budget, Component, combine, reading_budget
from dryfit.calc.gauging.crossed import CrossedStudy, Interval, VarianceTable, analyse_crossed
from dryfit.calc.gauging.ranges import (
    LARGEST_GROUP,
    RangeStudy,
    analyse_ranges,
    range_dof,
    range_factor,
    split_ranges,
)

__all__ = [
    "CONFORMITY",
    "LARGEST_GROUP",
    "Acceptance",
    "Budget",
    "Component",
    "CrossedStudy",
    "Interval",
    "RangeStudy",
    "VarianceTable",
    "Verdict",
    "analyse_crossed",
    "analyse_ranges",
    "combine",
    "guard_limits",
    "range_dof",
    "range_factor",
    "reading_budget",
    "split_ranges",
]
