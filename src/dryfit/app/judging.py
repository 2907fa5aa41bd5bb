"""Is a measured feature in order: against its limits, and against what the evidence knows of its nominal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dryfit.base.estimate import Estimate
from dryfit.calc.limits import iso_286_limits, iso_2768_linear
from dryfit.calc.placing import JointLink, plan_sequence
from dryfit.model.contacts import ON_GROUND
from dryfit.model.feature import Feature
from dryfit.model.finding import State
from dryfit.model.joint import GROUND, Joint
from dryfit.model.project import Project

# Common practice, no source: within two standard uncertainties a deviation is what the evidence leads one to
# expect, beyond ten nothing in the evidence explains it.
EXPECTED_STDS = 2.0
UNEXPLAINED_STDS = 10.0
# What single precision leaves of a coordinate of ten metres; a size nearer than this to a limit lies on it.
ROUNDING = 1e-3 / 2.0**10


@dataclass(frozen=True, slots=True)
class Verdict:
    """state, why, and what to do next."""

    state: State
    reason: str
    do: str = ""


@dataclass(frozen=True, slots=True)
class AbsoluteLimits:
    """lower, upper in the unit of the feature, None for no limit on that side; words: where they come from."""

    lower: float | None = None
    upper: float | None = None
    words: str = ""

    @property
    def is_stated(self) -> bool:
        return self.lower is not None or self.upper is not None


def limits_of(feature: Feature, nominal: float | None) -> AbsoluteLimits:
    """Absolute limits of a feature with that nominal.

    Raises ComputationRefused where a class does not cover the size, and where limits from the nominal have
    none (ValueError: the document is checked for that).
    """
    stated = feature.limits
    is_relative = stated.iso_286 or stated.iso_2768 or stated.lower_deviation is not None
    if not (is_relative or stated.upper_deviation is not None):
        words = "stated" if stated.lower is not None or stated.upper is not None else ""
        return AbsoluteLimits(stated.lower, stated.upper, words)
    if nominal is None:
        raise ValueError(f"{feature.id}: limits from a nominal that is not there")
    low, high, words = stated.lower_deviation, stated.upper_deviation, "stated as deviations"
    if stated.iso_286:
        (low, high), words = iso_286_limits(nominal, stated.iso_286), f"ISO 286-1, {stated.iso_286}"
    elif stated.iso_2768:
        (low, high), words = iso_2768_linear(nominal, stated.iso_2768), f"ISO 2768-1, {stated.iso_2768}"
    return AbsoluteLimits(
        None if low is None else nominal + low, None if high is None else nominal + high, words
    )


def judge(measured: float, nominal: Estimate | None, limits: AbsoluteLimits, unit: str) -> Verdict:
    """The state of a measured feature.

    Outside its limits a feature stops, unless the evidence cannot tell it from its nominal. Inside them it
    passes, with a caution where the limits say nothing beside the evidence, being wider or finer than that.
    Without limits the evidence alone judges.
    """
    if not limits.is_stated:
        return _judge_by_evidence(measured, nominal, unit)
    beyond = _beyond(measured, limits)
    if beyond != 0.0:
        return _judge_outside(measured, nominal, beyond, unit)
    return _judge_inside(measured, nominal, limits, unit)


def _judge_outside(measured: float, nominal: Estimate | None, beyond: float, unit: str) -> Verdict:
    side = "upper" if beyond > 0 else "lower"
    outside = f"{abs(beyond):.4g} {unit} beyond the {side} limit"
    if nominal is None:
        return Verdict("stop", outside, "correct the model, then check again")
    deviation = measured - nominal.value
    if abs(deviation) <= nominal.std:
        return Verdict(
            "caution",
            f"{outside}, but off by {_against(deviation, nominal, unit)}: less than the evidence knows",
            "do not correct the model to a precision that is not there: know the size better first",
        )
    if nominal.std > 0 and abs(deviation) > UNEXPLAINED_STDS * nominal.std:
        outside = (
            f"{outside}, and off by {_against(deviation, nominal, unit)}: more than the evidence explains"
        )
    return Verdict("stop", outside, "correct the model, then check again")


def _judge_inside(measured: float, nominal: Estimate | None, limits: AbsoluteLimits, unit: str) -> Verdict:
    if nominal is None or nominal.std == 0.0:
        return Verdict("pass", "within limits")
    deviation = measured - nominal.value
    if abs(deviation) > UNEXPLAINED_STDS * nominal.std:
        return Verdict(
            "caution",
            f"within limits, but off by {_against(deviation, nominal, unit)}: the limits are wider than the "
            "evidence",
            "look whether the limits or the standard uncertainty of the nominal are right",
        )
    half = _half_width(nominal.value, limits)
    if half < nominal.std:
        return Verdict(
            "caution",
            f"within limits, but these are finer (+-{half:.4g} {unit}) than the evidence can tell "
            f"(std {nominal.std:.4g} {unit})",
            "know the size better first, or widen the limits",
        )
    return Verdict("pass", "within limits")


def _judge_by_evidence(measured: float, nominal: Estimate | None, unit: str) -> Verdict:
    if nominal is None:
        return Verdict(
            "not checked", "nothing to compare with: no nominal and no limits", "state one of them"
        )
    if nominal.std == 0.0:
        return Verdict(
            "not checked",
            "nothing to compare with: no limits, and the nominal states no standard uncertainty",
            "state limits, or how well the nominal is known",
        )
    deviation = measured - nominal.value
    share = abs(deviation) / nominal.std
    words = _against(deviation, nominal, unit)
    if share <= EXPECTED_STDS:
        return Verdict("pass", f"off by {words}: as well as the evidence knows")
    if share <= UNEXPLAINED_STDS:
        return Verdict(
            "caution", f"off by {words}: hardly what the evidence says", "look at model and evidence"
        )
    return Verdict(
        "stop", f"off by {words}: more than the evidence explains", "correct the model or the evidence"
    )


def _beyond(measured: float, limits: AbsoluteLimits) -> float:
    """How far out of limits, with its sign; 0 inside or on a limit."""
    if limits.upper is not None and measured > limits.upper + ROUNDING:
        return measured - limits.upper
    if limits.lower is not None and measured < limits.lower - ROUNDING:
        return measured - limits.lower
    return 0.0


def _half_width(nominal: float, limits: AbsoluteLimits) -> float:
    """Half of the band; with one limit only, its distance from the nominal."""
    if limits.lower is not None and limits.upper is not None:
        return 0.5 * (limits.upper - limits.lower)
    only = limits.upper if limits.upper is not None else limits.lower
    return abs((only if only is not None else nominal) - nominal)


def _against(deviation: float, nominal: Estimate, unit: str) -> str:
    if nominal.std == 0.0:
        return f"{deviation:+.4g} {unit}"
    return f"{deviation:+.4g} {unit}, {abs(deviation) / nominal.std:.2g} times the std of the nominal"


def dependents_of(project: Project, feature: Feature) -> tuple[str, ...]:
    """What rests on a feature: parts of the same dimension, what is placed on them, joints, characteristics.

    Parts joined to those directly are named, too, whichever is placed first: their faces meet.
    """
    own = _parts_of_dimension(project, feature)
    joints = [joint for joint in project.joints if not joint.proposed]
    named = own | _placed_on(project, joints, own) | _joined_to(joints, own)
    kept = [joint.id for joint in joints if own & set(joint.parts)]
    return (
        *(f"part {part.id}" for part in project.parts if part.id in named),
        *(f"joint {id}" for id in kept),
        *(
            f"characteristic {item.id}"
            for item in project.characteristics
            if (item.joint is not None and item.joint in kept) or own & set(item.parts)
        ),
    )


def _parts_of_dimension(project: Project, feature: Feature) -> set[str]:
    own = set(feature.parts)
    if feature.dimension is not None:
        for other in project.features:
            if other.dimension == feature.dimension:
                own |= set(other.parts)
    return own


def _joined_to(joints: Sequence[Joint], own: set[str]) -> set[str]:
    return {name for joint in joints if own & set(joint.parts) for name in joint.parts} - {GROUND}


def _placed_on(project: Project, joints: Sequence[Joint], own: set[str]) -> set[str]:
    """Parts placed after one of the given parts at a joint with it, or with another such part."""
    rank = _bonding_ranks(project, joints)
    carried = set(own)
    for name in sorted(rank, key=lambda part: rank[part]):
        for joint in joints:
            if name in joint.parts:
                other = joint.parts[1] if joint.parts[0] == name else joint.parts[0]
                if other in carried and rank.get(other, -1) < rank[name]:
                    carried.add(name)
    return carried


def _bonding_ranks(project: Project, joints: Sequence[Joint]) -> Mapping[str, int]:
    """Place of each part in the bonding order: as stated, else by the joints from the datum outward."""
    ids = [part.id for part in project.parts]
    stated = project.assembly.order
    datum = project.assembly.datum or (stated[0] if stated else GROUND)
    if datum == GROUND and not any(GROUND in joint.parts for joint in joints) and ids:
        datum = ids[0]
    numbers = {id: index for index, id in enumerate(ids)} | {GROUND: ON_GROUND}
    links = [
        JointLink(numbers[joint.parts[0]], numbers[joint.parts[1]], 0.0, False, joint.role)
        for joint in joints
    ]
    order = [numbers[name] for name in stated] or None
    sequence = plan_sequence(ids, links, numbers[datum], order)
    ranks = {ids[part]: place + 1 for place, part in enumerate(sequence.order)}
    return ranks | ({} if datum == GROUND else {datum: 0})
