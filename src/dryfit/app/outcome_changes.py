"""What a change makes of each characteristic: before and after."""

from __future__ import annotations

from dataclasses import dataclass

from dryfit.app.hold_lines import fit_state
from dryfit.model.finding import State
from dryfit.model.forecast import ForecastReport


@dataclass(frozen=True, slots=True)
class OutcomeChange:
    """A characteristic before and after a change, in its own unit."""

    id: str
    unit: str
    predicted_before: float
    std_before: float
    p_out_before: float | None
    state_before: State
    predicted_after: float
    std_after: float
    p_out_after: float | None
    state_after: State

    @property
    def is_cleared(self) -> bool:
        """Whether it was a stop and no longer is."""
        return self.state_before == "stop" and self.state_after in ("pass", "caution")

    @property
    def is_spoilt(self) -> bool:
        """Whether it was none and is a stop now."""
        return self.state_before != "stop" and self.state_after == "stop"


def outcome_changes(before: ForecastReport, after: ForecastReport) -> tuple[OutcomeChange, ...]:
    """The characteristics of two forecasts of one assembly, side by side."""
    return tuple(
        OutcomeChange(
            id=old.id,
            unit=old.unit,
            predicted_before=old.predicted,
            std_before=old.std,
            p_out_before=old.p_out,
            state_before=fit_state(old, before.risk),
            predicted_after=new.predicted,
            std_after=new.std,
            p_out_after=new.p_out,
            state_after=fit_state(new, after.risk),
        )
        for old, new in zip(before.characteristics, after.characteristics, strict=True)
    )
