"""Watching a figure over time: control charts, drift, and whether it has moved."""

from dryfit.calc.charts.control import (
    Chart,
    CumulativeSums,
    chart_ewma,
    chart_individuals,
    mean_moving_range,
    sum_up,
)
from dryfit.calc.charts.drift import Drift, Leaving, find_leaving, fit_drift
from dryfit.calc.charts.moved import Moved, chance_beyond, has_moved
from dryfit.calc.charts.squareness import skew_of_gap, skew_std

__all__ = [
    "Chart",
    "CumulativeSums",
    "Drift",
    "Leaving",
    "Moved",
    "chance_beyond",
    "chart_ewma",
    "chart_individuals",
    "find_leaving",
    "fit_drift",
    "has_moved",
    "mean_moving_range",
    "skew_of_gap",
    "skew_std",
    "sum_up",
]
