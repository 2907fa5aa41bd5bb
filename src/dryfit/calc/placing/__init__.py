"""Placing: how the contacts of a bonded assembly position its parts one after the other."""

from dryfit.calc.placing.exact import NotSettled, Poses, place_exactly
from dryfit.calc.placing.gains import Placing, sensitivities, solve_placing
from dryfit.calc.placing.motions import describe_motions, motions_left_free
from dryfit.calc.placing.order import JointLink, Sequence, plan_sequence

__all__ = [
    "JointLink",
    "NotSettled",
    "Placing",
    "Poses",
    "Sequence",
    "describe_motions",
    "motions_left_free",
    "place_exactly",
    "plan_sequence",
    "sensitivities",
    "solve_placing",
]
