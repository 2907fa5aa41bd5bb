"""The hold point before printing: every check that must be clear before weeks of machine time are spent."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dryfit.app.checking import PartsReport, check_parts
from dryfit.app.compensating_lines import compensation_lines
from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.geometry import PartShape, to_machine
from dryfit.app.hold_as_built import as_built_lines
from dryfit.app.hold_lines import GRAVITY, Check, State
from dryfit.app.hold_machines import machine_lines
from dryfit.app.hold_parts import part_lines, too_large_parts
from dryfit.app.ledger_reading import read_records
from dryfit.app.loading import Opened, open_project
from dryfit.app.motion import printed_gains
from dryfit.app.photo_sizes import photo_evidence
from dryfit.app.prediction import chain_of, provenance_of, record_forecast
from dryfit.app.preflight_lines import preflight_lines
from dryfit.app.schedule_lines import schedule_lines
from dryfit.base.errors import ReferenceUnknown
from dryfit.calc.chain.montecarlo import DEFAULT_SAMPLES
from dryfit.model.finding import gravest
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.model.part import Part

__all__ = ["GRAVITY", "Check", "HoldPoint", "State", "check_before", "check_opened"]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class HoldPoint:
    """All checks of a hold point. state: the gravest of its lines."""

    project: str
    stage: str
    checks: tuple[Check, ...]
    forecast: ForecastReport

    @property
    def state(self) -> State:
        return gravest(check.state for check in self.checks)

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
    return check_opened(opened, chain, report, check_parts(opened, chain.structure.faces, progress=progress))


def check_opened(
    opened: Opened, chain: Chain, report: ForecastReport, parts: PartsReport | None = None
) -> HoldPoint:
    """The hold point of a project that is open and forecast. parts: its checked parts; None: not checked yet."""
    records = read_records(opened.folder)
    checks = (
        *_document(opened),
        *_hashes(opened),
        *_volumes(chain, parts),
        *schedule_lines(opened.project, records, photo_evidence(opened.folder, opened.project)),
        *part_lines(opened.project, parts),
        *machine_lines(opened.project, records),
        *compensation_lines(opened),
        *preflight_lines(chain, records),
        *as_built_lines(report.basis),
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


def _hashes(opened: Opened) -> Iterator[Check]:
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


def _volumes(chain: Chain, parts: PartsReport | None) -> Iterator[Check]:
    """Whether the parts fit as printed; those that do not even fit as modelled have their line already."""
    too_large = too_large_parts(parts)
    gains = printed_gains(chain.project, chain.motion)
    inside = 0
    for part, gain in zip(chain.project.parts, gains, strict=True):
        machine = chain.project.machine(part.machine)
        size = printed_extent(part, chain.shapes[part.id], gain)
        over = size - np.array(machine.build_volume_mm)
        if part.id in too_large:
            continue
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
    chance = f"out of limits with probability {words_of(item.p_out)}, the stated risk is {words_of(risk)}"
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


def words_of(probability: float) -> str:
    """Two digits, and no more certainty than a model can claim at either end."""
    if probability < 1e-4:
        return "below 0.01 %"
    if probability > 1 - 1e-4:
        return "above 99.99 %"
    percent = 100.0 * probability
    return f"{percent:.2f} %" if percent > 99.0 else f"{percent:.2g} %"


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
            "there are two: --before printing, and --before bonding JOINT",
        )
    return check_before_printing(path, record, progress)
