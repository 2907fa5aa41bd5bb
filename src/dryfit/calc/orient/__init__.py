"""Search for the turns and choices of many parts whose effects add up and may cancel."""

from dryfit.calc.orient.choices import Choices, Picks, total_loss
from dryfit.calc.orient.search import alternate_start, neutral_start, search_choices
from dryfit.calc.orient.settle import Turns, round_turns, settle_turns, turns_loss
from dryfit.calc.orient.turns import turn_basis, turn_coefficients, turn_curvatures, turn_slopes

__all__ = [
    "Choices",
    "Picks",
    "Turns",
    "alternate_start",
    "neutral_start",
    "round_turns",
    "search_choices",
    "settle_turns",
    "total_loss",
    "turn_basis",
    "turn_coefficients",
    "turn_curvatures",
    "turn_slopes",
    "turns_loss",
]
