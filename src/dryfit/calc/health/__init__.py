"""The state of a mesh: closed, manifold, oriented, free of self-intersections; every fault located."""

from dryfit.calc.health.crossing import Meetings, find_meetings
from dryfit.calc.health.examine import examine
from dryfit.calc.health.meeting import APART, CROSSING, OVERLAPPING, TOUCHING, classify_pairs
from dryfit.calc.health.pairs import overlapping_pairs
from dryfit.calc.health.record import HealthOptions, HealthReport, Problem, ProblemKind
from dryfit.calc.health.single import distance_problem

__all__ = [
    "APART",
    "CROSSING",
    "OVERLAPPING",
    "TOUCHING",
    "HealthOptions",
    "HealthReport",
    "Meetings",
    "Problem",
    "ProblemKind",
    "classify_pairs",
    "distance_problem",
    "examine",
    "find_meetings",
    "overlapping_pairs",
]
