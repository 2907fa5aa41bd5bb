"""The lines of a hold point."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.model.finding import GRAVITY, State
from dryfit.model.forecast import CharacteristicForecast

__all__ = ["GRAVITY", "Check", "State", "fit_state"]


@dataclass(frozen=True, slots=True)
class Check:
    """One line of a hold point: its state, why, and what to do next ("" where nothing is to do)."""

    topic: str
    subject: str
    state: State
    reason: str
    do: str = ""


def fit_state(item: CharacteristicForecast, risk: float) -> State:
    """State of a characteristic against the stated risk."""
    if item.p_out is None:
        return "not checked"
    if item.p_out > risk:
        return "stop"
    return "caution" if item.is_linear_doubtful else "pass"
