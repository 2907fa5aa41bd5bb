"""What to turn on a machine so that it prints square and to size."""

from dryfit.calc.trueing.turns import (
    FEELER_MM,
    SHIM_STEP_MM,
    Adjustment,
    beam_shift,
    foot_shim,
    remaining_std_deg,
    screw_turns,
    step_factor,
)

__all__ = [
    "FEELER_MM",
    "SHIM_STEP_MM",
    "Adjustment",
    "beam_shift",
    "foot_shim",
    "remaining_std_deg",
    "screw_turns",
    "step_factor",
]
