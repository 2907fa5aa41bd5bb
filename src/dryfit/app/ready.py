"""The hold point before printing: every check that must be clear before weeks of machine time are spent."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.geometry import PartShape, to_machine
from dryfit.app.loading import Opened, open_project
from dryfit.app.mesh_words import mesh_cautions
from dryfit.app.motion import printed_gains
from dryfit.app.prediction import chain_of, provenance_of, record_forecast
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.model.machine import Machine
from dryfit.model.part import Part

Progress = Callable[[int, int], None]
State = Literal["pass", "caution", "stop", "not checked"]
# Gravest first; "not checked" outweighs a caution, since it may hide a stop.
GRAVITY: tuple[State, ...] = ("stop", "not checked", "caution", "pass")


@dataclass(frozen=True, slots=True)
class Check:
    """One line of a hold point: its state, why, and what to do next ("" where nothing is to do)."""

    topic: str
    subject: str
    state: State
    reason: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class HoldPoint:
    """All checks of a hold point. state: the gravest of its lines."""

    project: str
    stage: str
    checks: tuple[Check, ...]
    forecast: ForecastReport

    @property
    def state(self) -> State:
        present = {check.state for check in self.checks}
        return next(state for state in GRAVITY if state in present)

    def count(self, state: State) -> int:
        """Number of lines in a state."""
        return sum(1 for check in self.checks if check.state == state)


def check_before_printing(path: Path, record: bool = True, progress: Progress | None = None) -> HoldPoint:
    """The hold point before printing of a project folder.

    Raises what opening and forecasting raise: input that cannot be read passes no hold point.
    """
    opened = open_project(path, progress)
    chain = chain_of(opened)
    report = run_forecast(chain, provenance_of(opened, chain, (), DEFAULT_SAMPLES, 1))
    if record:
        record_forecast(opened, report)
    return check_opened(opened, chain, report)


def check_opened(opened: Opened, chain: Chain, report: ForecastReport) -> HoldPoint:
    """The hold point of a project that is open and forecast."""
    checks = (
        *_document(opened),
        *_meshes(opened),
        *_volumes(chain),
        *_machines(chain),
        *_placing(report, chain),
        *_characteristics(report),
        *_not_looked_at(chain),
    )
    return HoldPoint(opened.project.name, "printing", checks, report)


def _document(opened: Opened) -> Iterator[Check]:
    count = len(opened.project.parts)
    yield Check("document", "project.toml", "pass", "it is valid and every reference leads somewhere")
    if count == 0:
        yield Check(
            "document", "parts", "not checked", "the project has no parts", "import the meshes: dryfit import"
        )
        return
    yield Check(
        "units", f"{count} parts", "pass", "every mesh has a length unit, from its format or the document"
    )
    proposed = [joint.id for joint in opened.project.joints if joint.proposed]
    if proposed:
        yield Check(
            "joints",
            f"{len(proposed)} proposed",
            "caution",
            "proposed joints are not used: " + ", ".join(proposed[:6]),
            "look at them and accept or refuse: dryfit joints --accept ID",
        )


def _meshes(opened: Opened) -> Iterator[Check]:
    sound = 0
    for part in opened.project.parts:
        found = mesh_cautions(opened.shapes[part.id].measures)
        if found:
            yield Check(
                "mesh",
                part.id,
                "caution",
                "; ".join(found),
                "mend it in the modeller and import it again: --again",
            )
        else:
            sound += 1
    if sound:
        yield Check("mesh", f"{sound} parts", "pass", "closed, two faces at every edge, facing outward")
    loose = [part.id for part in opened.project.parts if part.sha256 is None]
    if loose:
        yield Check(
            "mesh",
            f"{len(loose)} parts",
            "not checked",
            f"no hash is recorded for {', '.join(loose[:4])}{' ...' if len(loose) > 4 else ''}: a changed file "
            "would not be noticed",
            "record it: dryfit import FILE --again",
        )


def _volumes(chain: Chain) -> Iterator[Check]:
    gains = printed_gains(chain.project, chain.motion)
    inside = 0
    for part, gain in zip(chain.project.parts, gains, strict=True):
        machine = chain.project.machine(part.machine)
        size = printed_extent(part, chain.shapes[part.id], gain)
        over = size - np.array(machine.build_volume_mm)
        if (over > 0).any():
            axes = ", ".join(
                f"{axis} by {value:.1f} mm" for axis, value in zip("XYZ", over, strict=True) if value > 0
            )
            yield Check(
                "build volume",
                part.id,
                "stop",
                f"in its pose it is larger than machine {machine.id}: {axes}",
                "turn it on the bed (dryfit orient), divide it, or print it on a larger machine",
            )
        else:
            inside += 1
    if inside:
        yield Check(
            "build volume", f"{inside} parts", "pass", "inside the build volume in their pose, as printed"
        )


def printed_extent(part: Part, shape: PartShape, gain: np.ndarray) -> np.ndarray:
    """(3,) [mm] size along the machine's axes of a part as it prints."""
    turned = shape.mesh.vertices @ (to_machine(part) @ gain).T
    extent: np.ndarray = np.ptp(turned, axis=0)
    return extent


def _machines(chain: Chain) -> Iterator[Check]:
    used = {part.machine for part in chain.project.parts}
    for machine in chain.project.machines:
        if machine.id in used:
            yield _machine(machine)


def _machine(machine: Machine) -> Check:
    model = machine.error
    if model.knowledge == "prior":
        return Check(
            "machine",
            machine.id,
            "not checked",
            "it has no error model: the forecast counts with a wide spread instead",
            "measure a test artefact that spans the build volume, and state [machine.error]",
        )
    if model.unstated:
        return Check(
            "machine",
            machine.id,
            "caution",
            f"{', '.join(model.unstated)} not stated: taken as exactly zero",
            "state them with their std, 0 where they were measured to be 0",
        )
    if model.exact:
        return Check(
            "machine",
            machine.id,
            "caution",
            f"{', '.join(model.exact)} stated without std: taken as exact, which no measurement is",
            "state std = { ... } in [machine.error]",
        )
    return Check("machine", machine.id, "pass", "its error model is stated, with uncertainty")


def _placing(report: ForecastReport, chain: Chain) -> Iterator[Check]:
    held = 0
    for item in report.placing:
        if item.free_motions:
            yield Check(
                "placing",
                item.part,
                "caution",
                f"under-located: it {'; '.join(item.free_motions)}",
                what_would_hold(len(item.free_motions), item.joints),
            )
        else:
            held += 1
    if held:
        yield Check("placing", f"{held} parts", "pass", "located in every direction")


def what_would_hold(free: int, joints: tuple[str, ...]) -> str:
    """What contact would hold a part's free motions, in words."""
    if not joints:
        return "no joint locates it: state one with a part that stands, or jig contacts to the ground"
    name = joints[0]
    if free == 1:
        return f'a slot beside the pin would hold it: locators = "pin-and-slot" at {name}, or a jig contact'
    if free <= 3:
        return (
            f'a pin holds the slides and a slot the turn: locators = "pin-and-slot" at {name}; or state how well it is '
            "set by hand: locator_play_mm"
        )
    return f"{name} has too few contacts: state at least three that do not lie in line, and locators"


def _characteristics(report: ForecastReport) -> Iterator[Check]:
    if not report.characteristics:
        yield Check(
            "forecast",
            "characteristics",
            "not checked",
            "no characteristic is stated: nothing says what must fit",
            "state gaps, heights and diameters with limits as [[characteristic]]",
        )
    for item in report.characteristics:
        yield _characteristic(item, report.risk)


def _characteristic(item: CharacteristicForecast, risk: float) -> Check:
    if item.p_out is None:
        return Check(
            "forecast",
            item.id,
            "not checked",
            f"undetermined: it depends on a free motion of {', '.join(item.free_parts)}",
            "hold the part, or state a play for it",
        )
    chance = f"out of limits with probability {item.p_out:.2g}, the stated risk is {risk:.2g}"
    if item.p_out > risk:
        cause = item.contributions[0].source if item.contributions else "the model itself"
        return Check(
            "forecast", item.id, "stop", chance, f"the largest cause is {cause}: dryfit forecast shows all"
        )
    if item.is_linear_doubtful:
        return Check(
            "forecast",
            item.id,
            "caution",
            f"{chance}; first order misses the exact value by {abs(item.linear_minus_exact):.2g} {item.unit}, more "
            "than a tenth of the limits, so that its spread is doubtful",
            "reduce the error that causes it and forecast again",
        )
    return Check("forecast", item.id, "pass", chance)


def _not_looked_at(chain: Chain) -> Iterator[Check]:
    temp = chain.project.assembly.temp_c
    if temp.std == 0.0 and temp.value == 20.0:
        yield Check(
            "heat",
            "assembly",
            "not checked",
            "the assembly is taken at exactly 20 C; a printed part can soften in an hour of direct summer sun",
            "state [assembly] temp_c and temp_std_c, and keep parts out of sun and hot cars",
        )
    yield Check(
        "strength",
        "stand and load",
        "not checked",
        "this program does not look at load, creep or stands",
        "load-bearing work follows local codes and a licensed engineer",
    )


def check_before(path: Path, stage: str, record: bool = True, progress: Progress | None = None) -> HoldPoint:
    """The hold point of a stage.

    Raises ReferenceUnknown for a stage that has no checks yet.
    """
    if stage != "printing":
        raise ReferenceUnknown(
            f'there is no hold point before "{stage}"',
            "--before",
            "this version holds one: --before printing",
        )
    return check_before_printing(path, record, progress)
