"""Mend the machine first: what to turn for each figure, what would remain, and what that would clear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from dryfit.app.forecast import Chain, run_forecast, with_figures
from dryfit.app.outcome_changes import OutcomeChange, outcome_changes
from dryfit.base.arrays import Array
from dryfit.base.estimate import Estimate
from dryfit.calc.trueing import (
    FEELER_MM,
    SHIM_STEP_MM,
    Adjustment,
    beam_shift,
    foot_shim,
    remaining_std_deg,
    screw_turns,
    step_factor,
)
from dryfit.model.forecast import ForecastReport
from dryfit.model.machine import FIGURES, ErrorModel, Machine
from dryfit.model.project import Project

# A figure nearer to zero than so many of its standard uncertainties is not told from zero (common practice).
SURE = 2.0
# Where no spacing is stated, heights are given for so much of it [mm].
PER_MM = 100.0

Handle = Literal["feet", "gantry", "steps", "outline"]
_HANDLES: dict[str, Handle] = {
    **dict.fromkeys(("scale_x", "scale_y", "scale_z"), "steps"),
    "skew_xy_deg": "gantry",
    "skew_xz_deg": "feet",
    "skew_yz_deg": "feet",
    "boundary_offset_mm": "outline",
    "first_layer_flare_mm": "outline",
}


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do about one figure of a machine.

    figure      name of FIGURES; value, std: in its own unit
    handle      what it is mended by
    is_sure     whether it is told from zero at all; where it is not, leave it
    setting     feet: thickness in mm under the foot on the positive side; gantry: mm by which the +X end
                moves toward -Y; steps: factor of the steps per millimetre; outline: mm to take off each side
    spacing_mm  over which the setting acts; PER_MM where none is stated
    is_spacing_stated
    turns       of the foot's screw, where its pitch is stated
    remaining_std  of the figure once it is mended, in its unit
    clears, spoils  characteristics that would no longer be a stop, or would become one, by this alone
    """

    figure: str
    value: float
    std: float
    handle: Handle
    is_sure: bool
    setting: Adjustment
    spacing_mm: float
    is_spacing_stated: bool
    turns: Adjustment | None
    remaining_std: float
    clears: tuple[str, ...]
    spoils: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TrueingReport:
    """What to turn on a machine.

    advices   one per figure that is not exactly 0, largest effect first as the figures stand in FIGURES
    changes   every characteristic before, and after all that is sure was mended
    copies    parts of which a corrected copy is printed: those copies would be wrong on the mended machine
    """

    project: str
    machine: str
    advices: tuple[Advice, ...]
    changes: tuple[OutcomeChange, ...]
    copies: tuple[str, ...]

    @property
    def sure(self) -> tuple[Advice, ...]:
        """What there is to do."""
        return tuple(advice for advice in self.advices if advice.is_sure)


def advise_trueing(chain: Chain, machine_id: str, figures: Array, covariance: Array) -> TrueingReport:
    """What to turn on a machine with these figures, and what it would do for the project.

    figures : (8,) in the order of FIGURES; covariance : (8, 8) in their units
    Raises ComputationRefused where the parts do not settle.
    """
    machine = chain.project.machine(machine_id)
    std = np.sqrt(np.diag(covariance))
    estimates = {
        name: Estimate(float(value), float(spread))
        for name, value, spread in zip(FIGURES, figures, std, strict=True)
    }
    now = _with_model(chain.project, machine, _model_of(machine.error, estimates, covariance))
    before = run_forecast(with_figures(chain, now))
    advices = tuple(
        _advise(chain, now, machine, name, before)
        for name in FIGURES
        if estimates[name].value or estimates[name].std
    )
    mended = _mend(now, machine.id, [advice for advice in advices if advice.is_sure])
    return TrueingReport(
        project=chain.project.name,
        machine=machine.id,
        advices=advices,
        changes=outcome_changes(before, run_forecast(with_figures(chain, mended))),
        copies=tuple(
            part.id for part in chain.project.parts if part.compensation and part.machine == machine.id
        ),
    )


def _model_of(model: ErrorModel, estimates: dict[str, Estimate], covariance: Array) -> ErrorModel:
    """The error model with other figures, and their correlation where it is kept."""
    estimated = model.estimated
    if estimated is not None:
        std = np.sqrt(np.diag(covariance))
        correlation = covariance / np.maximum(np.outer(std, std), 1e-300)
        np.fill_diagonal(correlation, 1.0)
        rows = tuple(tuple(float(value) for value in row) for row in correlation)
        estimated = replace(estimated, correlation=rows)
    return replace(model, figures=estimates, estimated=estimated)


def _with_model(project: Project, machine: Machine, model: ErrorModel) -> Project:
    changed = replace(machine, error=model)
    machines = tuple(changed if item.id == machine.id else item for item in project.machines)
    return replace(project, machines=machines)


def _mend(project: Project, machine_id: str, advices: Sequence[Advice]) -> Project:
    """The project with some figures at 0, each with what would remain of its uncertainty."""
    machine = project.machine(machine_id)
    figures = dict(machine.error.figures)
    for advice in advices:
        figures[advice.figure] = Estimate(0.0, advice.remaining_std)
    return _with_model(project, machine, replace(machine.error, figures=figures))


def _advise(chain: Chain, now: Project, machine: Machine, name: str, before: ForecastReport) -> Advice:
    estimate = now.machine(machine.id).error.figures[name]
    advice = _setting(machine, name, estimate)
    if not advice.is_sure:
        return advice
    after = run_forecast(with_figures(chain, _mend(now, machine.id, [advice])))
    changes = outcome_changes(before, after)
    return replace(
        advice,
        clears=tuple(item.id for item in changes if item.is_cleared),
        spoils=tuple(item.id for item in changes if item.is_spoilt),
    )


def _setting(machine: Machine, name: str, estimate: Estimate) -> Advice:
    handle = _HANDLES[name]
    spacing = _spacing(machine, name)
    over = PER_MM if spacing is None else spacing
    turns = None
    if handle == "feet":
        setting = foot_shim(estimate.value, estimate.std, over)
        if machine.foot_pitch_mm is not None and spacing is not None:
            turns = screw_turns(setting, machine.foot_pitch_mm)
        # A screw is set by a feeler gauge or a square alone, a shim is built up in steps besides.
        steps = (FEELER_MM,) if turns is not None else (SHIM_STEP_MM, FEELER_MM)
        remaining = remaining_std_deg(estimate.std, over, *(steps if spacing is not None else ()))
    elif handle == "gantry":
        setting = beam_shift(estimate.value, estimate.std, over)
        remaining = remaining_std_deg(estimate.std, over, *((FEELER_MM,) if spacing is not None else ()))
    elif handle == "steps":
        setting = step_factor(estimate.value, estimate.std)
        remaining = setting.std
    else:
        setting, remaining = Adjustment(estimate.value, estimate.std), estimate.std
    return Advice(
        figure=name,
        value=estimate.value,
        std=estimate.std,
        handle=handle,
        is_sure=bool(estimate.value) and abs(estimate.value) >= SURE * estimate.std,
        setting=setting,
        spacing_mm=over,
        is_spacing_stated=spacing is not None,
        turns=turns,
        remaining_std=remaining,
        clears=(),
        spoils=(),
    )


def _spacing(machine: Machine, name: str) -> float | None:
    if name == "skew_xy_deg":
        return machine.gantry_width_mm
    if machine.upright_feet_mm is None or not name.startswith("skew"):
        return None
    return machine.upright_feet_mm[0 if name == "skew_xz_deg" else 1]
