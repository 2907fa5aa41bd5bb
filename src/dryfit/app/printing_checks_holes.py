"""Holes that the boundary offset closes beyond their limits, and the diameter to model instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from dryfit.app.geometry import PartShape
from dryfit.app.printing_checks_faces import Hole, diameters_of, hole_of
from dryfit.base.errors import ComputationRefused
from dryfit.calc.printability import HoleAfterOffset, hole_after_offset
from dryfit.model.finding import Finding, MeasuredFeature, State
from dryfit.model.machine import Machine
from dryfit.model.part import Part

TOPIC = "hole"
SURE_STDS = (
    2.0  # a limit nearer than so many standard uncertainties is a caution (common practice, no source)
)


def check_holes(
    machine: Machine, part: Part, shape: PartShape, measured: Sequence[MeasuredFeature]
) -> Iterator[Finding]:
    """One finding for each measured diameter that is one of a hole."""
    for feature in diameters_of(part, measured):
        try:
            hole = hole_of(part, shape, feature)
        except ComputationRefused as error:
            what = f"{feature.id}: {error.what}"
            yield Finding(TOPIC, (part.id,), "not checked", what, error.do)
            continue
        if hole is not None:
            yield _judge(machine, part, hole)


def _judge(machine: Machine, part: Part, hole: Hole) -> Finding:
    feature = hole.feature
    if feature.measured is None:
        raise ValueError(f"{feature.id} was not measured")
    offset = machine.error.figures["boundary_offset_mm"]
    if machine.error.knowledge == "prior" or "boundary_offset_mm" in machine.error.unstated:
        return _finding(
            part,
            hole,
            "not checked",
            f"modelled {feature.measured:.2f} mm; what the boundary offset makes of it is not known",
            f"print and measure a hole, and state boundary_offset_mm at machine {machine.id}",
        )
    if part.compensation is not None:
        # A corrected copy is printed, with its holes made wider already by as much as they close.
        offset = replace(offset, value=offset.value - part.compensation.figures[6])
    wanted = _wanted(feature)
    after = hole_after_offset(feature.measured, feature.measured if wanted is None else wanted, offset)
    printed = f"modelled {feature.measured:.2f} mm, prints at {after.printed_mm.value:.2f} mm"
    if after.printed_mm.std > 0:
        printed += f" (std {after.printed_mm.std:.2f} mm)"
    if wanted is None or (feature.lower is None and feature.upper is None):
        return _finding(
            part,
            hole,
            "not checked",
            f"{printed}; no limits are stated",
            "state limits",
            after.printed_mm.value,
        )
    state, why = _state_of(after, feature.lower, feature.upper)
    do = "" if state == "pass" else _to_model(after, wanted)
    return _finding(part, hole, state, f"{printed}, {why}", do, after.printed_mm.value)


def _wanted(feature: MeasuredFeature) -> float | None:
    """The size that should come out: the nominal where it lies within the limits, else their middle."""
    low, high = feature.lower, feature.upper
    if feature.nominal is not None:
        value = feature.nominal.value
        if (low is None or value >= low) and (high is None or value <= high):
            return value
    if low is not None and high is not None:
        return 0.5 * (low + high)
    return low if low is not None else high


def _state_of(after: HoleAfterOffset, low: float | None, high: float | None) -> tuple[State, str]:
    value, std = after.printed_mm.value, after.printed_mm.std
    limits = f"{'-' if low is None else f'{low:g}'} to {'-' if high is None else f'{high:g}'} mm"
    room = min(
        value - low if low is not None else float("inf"), high - value if high is not None else float("inf")
    )
    if room < 0:
        return "stop", f"outside its limits of {limits}"
    if room < SURE_STDS * std:
        return "caution", f"nearer to its limits of {limits} than {SURE_STDS:g} standard uncertainties"
    return "pass", f"inside its limits of {limits}"


def _to_model(after: HoleAfterOffset, wanted: float) -> str:
    std = f" (std {after.model_mm.std:.2f} mm)" if after.model_mm.std > 0 else ""
    return f"model it with a diameter of {after.model_mm.value:.2f} mm{std} for {wanted:g} mm; or ream it"


def _finding(
    part: Part, hole: Hole, state: State, what: str, do: str, amount: float | None = None
) -> Finding:
    return Finding(
        TOPIC,
        (part.id,),
        state,
        f"{hole.feature.id}: {what}",
        do,
        amount=amount,
        unit="" if amount is None else "mm",
        places_mm=hole.face.point_mm[None],
        triangles=hole.triangles,
    )
