"""What the shell of a sheet says: the figure of each link, the title block, the steps to take next."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote

from dryfit.app.levers import Lever
from dryfit.app.links import Link, LinkName, LinksReport, departure_of
from dryfit.app.ready import GRAVITY, Check, HoldPoint
from dryfit.model.forecast import CharacteristicForecast, ForecastReport
from dryfit.model.project import Project
from dryfit.view.as_built_page import built_figure
from dryfit.view.blocks import State
from dryfit.view.digits import write_estimate, write_limits, write_number, write_probability
from dryfit.view.evidence import evidence_figure
from dryfit.view.forecast import main_causes, state_of
from dryfit.view.sources import describe_source

NOT_BEGUN = "not begun"
# Links that commands reach and no sheet shows yet.
BY_COMMAND: frozenset[LinkName] = frozenset()
# What the hold point says of parts: the parts sheet shows it in its place.
PART_TOPICS = (
    "parts", "health", "build volume", "wall", "bed", "warp", "overhang", "hole", "overlap", "clearance",
    "contact", "likeness",
)  # fmt: skip
# What each link that this version does not reach will need; said on the overview.
WILL_NEED: dict[LinkName, str] = {
    "evidence": "photographs of the prototype",
    "as built": "prints and readings of parts",
    "surroundings": "stand, covers, heat and load",
    "orders": "parts that other firms cut",
}


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do next. target: the sheet where it is done; id: of a characteristic, or ""."""

    state: State
    what: str
    do: str
    target: str
    action: str


def without_sheet(name: LinkName) -> str:
    """What stands over a link that no sheet shows."""
    return "by command" if name in BY_COMMAND else NOT_BEGUN


def link_figure(link: Link) -> str:
    """The one figure of a link."""
    if link.name == "fit":
        return fit_figure(link.worst) if link.worst is not None else "no characteristic"
    if link.name == "schedule":
        return schedule_figure(link)
    if link.name == "evidence":
        return evidence_figure(link.of, link.good)
    if not link.of:
        return ""
    if link.name == "as built":
        return built_figure(link)
    if link.name == "parts" and link.state == "not checked":
        return f"{link.of} parts"
    noun = "in order" if link.name == "parts" else "known"
    return f"{link.good} of {link.of} {noun}"


def schedule_figure(link: Link) -> str:
    """How many dimensions, and what is amiss with them."""
    if not link.of:
        return "no dimension"
    words = f"{link.of} dimension{'' if link.of == 1 else 's'}"
    if link.doubtful:
        return f"{words}, {link.doubtful} suspect{'' if link.doubtful == 1 else 's'}"
    if link.good == 0 and link.state == "stop":
        return f"{words}, no schedule"
    return words if link.good == link.of else f"{words}, {link.of - link.good} unknown"


def fit_figure(item: CharacteristicForecast) -> str:
    """The worst characteristic with its value and limits."""
    value = f"{write_estimate(item.predicted, item.std)} {item.unit}"
    return f"{item.id} {value}, limits {write_limits(item.lower_limit, item.upper_limit)}"


def write_scale(project: Project) -> str:
    """Model : prototype, such as 1:20."""
    if project.scale is None:
        return "not stated"
    # A model larger than its prototype has the larger number first, as the document writes it.
    return f"{project.scale.numerator}:{project.scale.denominator}"


def write_moment(moment: str | None) -> str:
    """A date and time without its seconds."""
    return "-" if moment is None else moment[:16]


def hold_words(hold: HoldPoint) -> str:
    """Number of lines in each state that is not a pass, gravest first."""
    counted = [f"{hold.count(state)} {state}" for state in GRAVITY if state != "pass" and hold.count(state)]
    return ", ".join(counted) or "every line passes"


def lever_words(lever: Lever) -> str:
    """What a slider moves."""
    if lever.kind == "machine":
        return describe_source(lever.address)
    if lever.kind == "turn":
        return f"turn of {lever.owner} on the bed"
    return f"bond line of {lever.owner}"


def lever_value(lever: Lever, value: float) -> str:
    """A value of a slider with its unit."""
    shown = write_number(value, 5 if lever.unit == "-" else 3)
    return shown if lever.unit == "-" else f"{shown} {lever.unit}"


def latency_words(seconds: float) -> str:
    """How long a forecast took."""
    return f"forecast in {write_number(1000.0 * seconds, 0)} ms"


def next_steps(hold: HoldPoint, report: ForecastReport) -> list[Step]:
    """What to do next in order of risk: what spoils the fit, then the other lines of the hold point."""
    others = [check for check in hold.checks if check.state != "pass" and check.topic != "forecast"]
    unstated = [check for check in hold.checks if check.topic == "forecast" and check.state == "not checked"]
    steps = _cause_steps(report)
    for state in GRAVITY:
        steps += [_check_step(check) for check in (*unstated, *others) if check.state == state]
    doubtful = [check for check in hold.checks if check.topic == "forecast" and check.state == "caution"]
    steps += [_check_step(check) for check in doubtful]
    # A sort that keeps what stands equal: the causes stay before the checks of the same gravity.
    return sorted(steps, key=lambda step: GRAVITY.index(step.state))


def _cause_steps(report: ForecastReport) -> list[Step]:
    """One step for each cause that is the largest of failing characteristics, most of them first."""
    spoiled: dict[str, list[CharacteristicForecast]] = {}
    for item in report.characteristics:
        if state_of(item, report.risk) == "stop":
            cause = item.contributions[0].source if item.contributions else ""
            spoiled.setdefault(cause, []).append(item)
    return [
        _cause_step(cause, items)
        for cause, items in sorted(spoiled.items(), key=lambda entry: -max(departure_of(i) for i in entry[1]))
    ]


def _cause_step(cause: str, items: list[CharacteristicForecast]) -> Step:
    worst = max(items, key=departure_of)
    names = ", ".join(item.id for item in items)
    value = f"{write_estimate(worst.predicted, worst.std)} {worst.unit}"
    limits = write_limits(worst.lower_limit, worst.upper_limit)
    verb = "is" if len(items) == 1 else "are"
    if not cause:
        return Step(
            "stop",
            f"{names} {verb} out of limits in the model itself: {worst.id} {value} against {limits}.",
            "Correct the model or its limits.",
            "/settings",
            "open the document",
        )
    words = describe_source(cause)
    return Step(
        "stop",
        f"The {words} spoils {names}: {worst.id} {value} against {limits}.",
        "Try it without on the fit sheet; then correct the machine, or turn parts so that it cancels.",
        f"/fit?show={worst.id}",
        f"see {worst.id}",
    )


def sheet_of(topic: str, machine: str) -> str:
    """The sheet on which a line about a machine or the evidence is dealt with; "" for lines about other things."""
    return {
        "machine": f"/machine?show={machine}",
        "preflight": f"/bench?machine={machine}&do=preflight",
        "schedule": schedule_address(machine),
    }.get(topic, "")


def schedule_address(subject: str) -> str:
    """Where a line about the evidence is dealt with: its dimension, observation or feature, or the photograph."""
    if subject.startswith("photo "):
        first = subject.removeprefix("photo ").partition(",")[0].partition(" (")[0]
        return f"/evidence?show={quote(first, safe='')}"
    return f"/schedule?show={quote(subject, safe='')}"


def _check_step(check: Check) -> Step:
    target, action = {
        "mesh": ("/parts", "see the parts"),
        "units": ("/parts", "see the parts"),
        "joints": ("/joints", "see the joints"),
        "placing": ("/fit", "see the fit"),
        "forecast": ("/fit", "see the fit"),
        **dict.fromkeys(PART_TOPICS, ("/parts", "see the parts")),
        "feature": (f"/parts?show={check.subject}", f"see {check.subject}"),
        "machine": (sheet_of("machine", check.subject), f"see {check.subject}"),
        "preflight": (sheet_of("preflight", check.subject), f"check {check.subject}"),
        "schedule": (sheet_of("schedule", check.subject), "see the schedule"),
        "heat": ("/settings", "open the document"),
    }.get(check.topic, ("/hold", "see the hold point"))
    what = f"{check.topic}, {check.subject}: {check.reason}."
    return Step(check.state, what, f"{check.do[:1].upper()}{check.do[1:]}.", target, action)


def row_words(item: CharacteristicForecast) -> tuple[str, str, str, str, str]:
    """The cells of a characteristic, the same as in the forecast's table."""
    return (
        item.id,
        f"{write_estimate(item.predicted, item.std)} {item.unit}",
        write_limits(item.lower_limit, item.upper_limit),
        write_probability(item.p_out),
        "; ".join(main_causes(item)),
    )


def parts_heading(report: LinksReport) -> str:
    """How many parts there are, and how many of them are sound."""
    link = report.link("parts")
    if not link.of:
        return f"{report.project}: no parts yet"
    return (
        f"{report.project}: {link.of} part{'' if link.of == 1 else 's'}, {link.good} of them closed and sound"
    )


def bar_lengths(item: CharacteristicForecast) -> list[tuple[float, float]]:
    """For each cause the lengths of its bars, 0 to 1: its shift, its share of the variance.

    Shifts are drawn over the largest of them, or over the standard uncertainty where that is larger, so that
    shifts of no account look it.
    """
    largest = max((item.std, *(abs(cause.mean_shift) for cause in item.contributions))) or 1.0
    return [(abs(cause.mean_shift) / largest, cause.variance_share) for cause in item.contributions]
