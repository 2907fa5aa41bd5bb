"""How far each squareness figure of a machine may move before the project's risk is exceeded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from dryfit.app.forecast import Chain, run_forecast, with_figures
from dryfit.app.preflight_records import FIGURE_OF, PLANES, Plane
from dryfit.base.errors import ComputationRefused
from dryfit.model.forecast import CharacteristicForecast
from dryfit.model.machine import Machine

# Beyond this nobody prints: a machine that leans by 2 degrees more is mended, not watched (common practice, no source).
FARTHEST_DEG = 2.0
_FIRST_STEP_DEG = 0.05
# How closely an end of a band is sought; far from the present figure a share of the distance will do.
_CLOSE_DEG, _CLOSE_SHARE = 0.002, 0.02
_SAMPLES = 4_000  # draws where a source is not normal; of one seed, so that they move smoothly


@dataclass(frozen=True, slots=True)
class Band:
    """What the project bears of one squareness figure.

    present_deg    the figure that the forecast counts with
    low_deg, high_deg  the last values within the project's risk; None where FARTHEST_DEG away is still within
    low_by, high_by    the characteristic that sets each; "" for none
    """

    plane: Plane
    present_deg: float
    low_deg: float | None
    high_deg: float | None
    low_by: str = ""
    high_by: str = ""


@dataclass(frozen=True, slots=True)
class Bands:
    """The bands of a machine.

    bands     one per plane; () where no characteristic can set one
    left_out  characteristics that are beyond the risk, or undetermined, as it is: they set none
    risk      of the project
    refused   why nothing could be forecast at all; "" where it could
    """

    bands: tuple[Band, ...]
    left_out: tuple[str, ...]
    risk: float
    refused: str = ""

    def of(self, plane: Plane) -> Band | None:
        return next((band for band in self.bands if band.plane == plane), None)


def bearable_bands(chain: Chain, machine: str, planes: Sequence[Plane] = PLANES) -> Bands:
    """Bands of the squareness figures of a machine, each with the others at their present values.

    The figure's own standard uncertainty is in the forecast, so that a figure poorly known has a narrow band.
    Found by stepping out until the probability out of limits of a characteristic exceeds the risk, then by bisection.
    """
    risk = chain.project.risk
    try:
        now = _forecast(chain)
    except ComputationRefused as error:
        # A check of the machine is worth its record also while the forecast has no answer.
        return Bands((), (), risk, error.what)
    within = {item.id for item in now if item.p_out is not None and item.p_out <= risk}
    left_out = tuple(item.id for item in now if item.id not in within)
    if not within:
        return Bands((), left_out, risk)
    owner = chain.project.machine(machine)
    return Bands(tuple(_band(chain, owner, plane, within) for plane in planes), left_out, risk)


def _band(chain: Chain, machine: Machine, plane: Plane, within: set[str]) -> Band:
    present = machine.error.figures[FIGURE_OF[plane]].value
    low, low_by = _farthest(chain, machine, plane, within, -1.0)
    high, high_by = _farthest(chain, machine, plane, within, 1.0)
    return Band(
        plane,
        present,
        None if low is None else present + low,
        None if high is None else present + high,
        low_by,
        high_by,
    )


def _farthest(
    chain: Chain, machine: Machine, plane: Plane, within: set[str], side: float
) -> tuple[float | None, str]:
    """The last shift to one side that is within the risk, and which characteristic is the first beyond it."""
    good, step = 0.0, _FIRST_STEP_DEG
    while True:
        shift = min(step, FARTHEST_DEG)
        beyond = _beyond(chain, machine, plane, within, side * shift)
        if beyond:
            break
        good = shift
        if shift >= FARTHEST_DEG:
            return None, ""
        step *= 3.0
    bad = shift
    while bad - good > max(_CLOSE_DEG, _CLOSE_SHARE * good):
        middle = 0.5 * (good + bad)
        found = _beyond(chain, machine, plane, within, side * middle)
        good, bad, beyond = (good, middle, found) if found else (middle, bad, beyond)
    return side * good, beyond


def _beyond(chain: Chain, machine: Machine, plane: Plane, within: set[str], shift_deg: float) -> str:
    """The characteristic that is the farthest beyond the risk with a figure shifted; "" where none is."""
    name = FIGURE_OF[plane]
    model = machine.error
    old = model.figures[name]
    moved = replace(
        machine,
        error=replace(model, figures={**model.figures, name: replace(old, value=old.value + shift_deg)}),
    )
    machines = tuple(moved if item.id == machine.id else item for item in chain.project.machines)
    try:
        items = _forecast(with_figures(chain, replace(chain.project, machines=machines)))
    except ComputationRefused:
        return "the parts no longer settle on their contacts"
    out = [
        item
        for item in items
        if item.id in within and (item.p_out is None or item.p_out > chain.project.risk)
    ]
    worst = max(out, key=lambda item: 1.0 if item.p_out is None else item.p_out, default=None)
    return "" if worst is None else worst.id


def _forecast(chain: Chain) -> Sequence[CharacteristicForecast]:
    return run_forecast(chain, samples=_SAMPLES, most_causes=1).characteristics
