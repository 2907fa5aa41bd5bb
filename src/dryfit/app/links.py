"""The links of the chain as they stand: how far each is begun, its state and the one thing to say of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from dryfit.app.checking import PartsReport
from dryfit.app.evidence_page import EvidenceCount
from dryfit.app.geometry import PartShape
from dryfit.app.hold_lines import State, fit_state
from dryfit.app.loading import Opened
from dryfit.app.schedule_report import ScheduleReport
from dryfit.base.errors import DryfitError
from dryfit.model.finding import gravest
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.model.machine import Machine

LinkName = Literal["evidence", "schedule", "parts", "machine", "fit", "as built", "surroundings", "orders"]
LINKS: tuple[LinkName, ...] = (
    "evidence",
    "schedule",
    "parts",
    "machine",
    "fit",
    "as built",
    "surroundings",
    "orders",
)


@dataclass(frozen=True, slots=True)
class Link:
    """One link.

    state     None where it is not begun: nothing of it is kept by this version
    good, of  how many of its things are in order, of how many; 0 of 0 where it counts nothing
    worst     the characteristic that lies farthest out of its limits, for the fit
    doubtful  how many of what it rests on are suspect, for the schedule
    measured  how many of the good ones were read, for the parts as built
    """

    name: LinkName
    state: State | None = None
    good: int = 0
    of: int = 0
    worst: CharacteristicForecast | None = None
    doubtful: int = 0
    measured: int = 0


@dataclass(frozen=True, slots=True)
class PartRow:
    """One part as it was read. cautions: what is unsound about its mesh, in words."""

    id: str
    machine: str
    material: str
    size_mm: tuple[float, float, float]
    triangles: int
    is_closed: bool
    cautions: tuple[str, ...]
    sha256: str


@dataclass(frozen=True, slots=True)
class LinksReport:
    """All links in the order of the chain, and the parts that the third counts."""

    project: str
    links: tuple[Link, ...]
    parts: tuple[PartRow, ...]

    def link(self, name: LinkName) -> Link:
        """The link of a name."""
        return next(link for link in self.links if link.name == name)


def report_links(
    opened: Opened,
    report: ForecastReport,
    checked: PartsReport | None = None,
    schedule: ScheduleReport | DryfitError | None = None,
) -> LinksReport:
    """The chain of a project that is open and forecast.

    checked : its parts, where they were checked
    schedule : of its dimensions, or why none comes out
    """
    parts = tuple(_part_row(opened.shapes[part.id]) for part in opened.project.parts)
    begun = {link.name: link for link in (_parts(parts, checked), _machines(opened), _fit(report))}
    if schedule is not None:
        begun["schedule"] = _schedule(opened, schedule)
    links = tuple(begun.get(name, Link(name)) for name in LINKS)
    return LinksReport(opened.project.name, links, parts)


def evidence_link(count: EvidenceCount | None) -> Link:
    """Of photographs, good are the sizes that the schedule takes. count: None where there is no photograph."""
    return Link("evidence") if count is None else Link("evidence", count.state, count.sizes, count.photos)


def departure_of(item: CharacteristicForecast) -> float:
    """How far the predicted value lies from the middle of its limits, in half bands.

    For one limit: by how much it is passed, in standard uncertainties; 0 where it is not passed.
    """
    if item.lower_limit is not None and item.upper_limit is not None:
        middle = 0.5 * (item.lower_limit + item.upper_limit)
        return abs(item.predicted - middle) / (0.5 * (item.upper_limit - item.lower_limit))
    over = 0.0
    if item.upper_limit is not None:
        over = item.predicted - item.upper_limit
    elif item.lower_limit is not None:
        over = item.lower_limit - item.predicted
    return max(over, 0.0) / item.std if item.std > 0 else max(over, 0.0)


def worst_of(report: ForecastReport) -> CharacteristicForecast | None:
    """The characteristic most at risk: likeliest out of limits, and of those the farthest out."""
    return max(
        report.characteristics,
        key=lambda item: (1.0 if item.p_out is None else min(item.p_out, 0.9999), departure_of(item)),
        default=None,
    )


def chain_of_contacts(
    opened: Opened, report: ForecastReport, id: str
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Parts and joints through which a characteristic rests on the datum.

    The parts that it is read from, the joints that locate them, the parts beyond, and so on.
    """
    project = opened.project
    wanted = next(item for item in project.characteristics if item.id == id)
    first = wanted.parts if wanted.joint is None else project.joint(wanted.joint).parts
    located_by = {item.part: item.joints for item in report.placing}
    parts: dict[str, None] = {}
    joints: dict[str, None] = {} if wanted.joint is None else {wanted.joint: None}
    waiting = [part for part in first if part in located_by]
    while waiting:
        part = waiting.pop()
        if part in parts:
            continue
        parts[part] = None
        for joint in located_by[part]:
            joints[joint] = None
            waiting += [other for other in project.joint(joint).parts if other in located_by]
    return tuple(parts), tuple(joints)


def _part_row(shape: PartShape) -> PartRow:
    x, y, z = (float(value) for value in shape.measures.bounds[1] - shape.measures.bounds[0])
    part = shape.part
    return PartRow(
        part.id,
        part.machine,
        part.material,
        (x, y, z),
        len(shape.mesh.faces),
        shape.measures.is_closed,
        _cautions(shape),
        shape.mesh.sha256,
    )


def _cautions(shape: PartShape) -> tuple[str, ...]:
    measures = shape.measures
    if measures.is_closed and measures.is_consistently_oriented and not measures.is_inside_out:
        return () if not measures.degenerate_faces else ("faces without area",)
    found = []
    if measures.open_edges:
        found.append("open")
    if measures.nonmanifold_edges:
        found.append("edges with more than two faces")
    if measures.is_closed and not measures.is_consistently_oriented:
        found.append("sides disagree")
    if measures.is_inside_out:
        found.append("inside out")
    return tuple(found)


def _parts(parts: Sequence[PartRow], checked: PartsReport | None) -> Link:
    """In order is a part at which nothing stops or was left unchecked, alone or with others."""
    if checked is None:
        sound = sum(1 for part in parts if not part.cautions)
        return Link("parts", "not checked", sound, len(parts))
    findings = [(item.state, item.parts) for item in checked.findings]
    findings += [(item.state, item.parts) for item in checked.features]
    doubtful = {name for state, names in findings if state in ("stop", "not checked") for name in names}
    good = sum(1 for part in parts if part.id not in doubtful)
    return Link("parts", checked.state, good, len(parts))


def _schedule(opened: Opened, schedule: ScheduleReport | DryfitError) -> Link:
    """Good are the dimensions that the evidence determines."""
    count = len(opened.project.dimensions)
    if isinstance(schedule, DryfitError):
        return Link("schedule", "stop", 0, count)
    good = count - len(schedule.unknown)
    return Link("schedule", schedule.state, good, count, doubtful=len(schedule.suspects))


def _machines(opened: Opened) -> Link:
    used = {part.machine for part in opened.project.parts}
    states = [_machine_state(machine) for machine in opened.project.machines if machine.id in used]
    known = sum(1 for state in states if state == "pass")
    return Link("machine", gravest(states, "not checked"), known, len(states))


def _machine_state(machine: Machine) -> State:
    if machine.error.knowledge == "prior":
        return "not checked"
    return "caution" if machine.error.unstated or machine.error.exact else "pass"


def _fit(report: ForecastReport) -> Link:
    states = [fit_state(item, report.risk) for item in report.characteristics]
    held = sum(1 for state in states if state in ("pass", "caution"))
    return Link("fit", gravest(states, "not checked"), held, len(states), worst_of(report))
