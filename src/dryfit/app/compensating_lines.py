"""What corrected copies say at the hold point: whether they still fit their machine, and their neighbours."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence

from dryfit.app.hold_lines import Check, State
from dryfit.app.loading import Opened
from dryfit.base.naming import list_some
from dryfit.model.joint import GROUND
from dryfit.model.machine import AFFINE_FIGURES, FIGURES, Machine
from dryfit.model.part import Compensation, Part
from dryfit.model.project import Project

_NAMED = 4
# A figure that moved by more than so many of its standard uncertainties has moved (common practice: about 95 %).
_COVERAGE = 2.0
_AGAIN = "make the copies again: dryfit compensate {machine} --write"


def compensation_lines(opened: Opened) -> Iterator[Check]:
    """Lines of the hold point before printing about parts of which a corrected copy is printed."""
    project = opened.project
    alike: dict[tuple[State, str, str], list[str]] = {}
    for part in project.parts:
        if part.compensation is not None:
            alike.setdefault(_judge(opened, part, part.compensation), []).append(part.id)
    for (state, reason, do), names in alike.items():
        yield Check("compensation", list_some(names, _NAMED), state, reason, do)
    for reason, do in mixed_joints(project):
        yield Check("compensation", "joints", "caution", reason, do)


def _judge(opened: Opened, part: Part, made: Compensation) -> tuple[State, str, str]:
    again = _AGAIN.format(machine=part.machine)
    fault = _file_fault(opened, part, made)
    if fault:
        return "stop", fault, again
    if made.machine != part.machine:
        return "stop", f"the copy was made for machine {made.machine}, and {part.machine} prints it", again
    if made.bed != part.bed:
        return "stop", "the copy was made in another bed pose than the part has now", again
    machine = opened.project.machine(part.machine)
    moved = moved_figures(machine, made)
    if moved:
        return "stop", f"the machine has moved since the copy was made: {'; '.join(moved)}", again
    if made.figures != _now(machine, made):
        since = (
            " (another qualification)"
            if machine.error.estimated and made.qualification != machine.error.estimated.record
            else ""
        )
        return (
            "caution",
            f"the figures of {machine.id} differ from those made up for, within {_COVERAGE:g} standard "
            f"uncertainties{since}; the forecast counts with what is left",
            again,
        )
    return (
        "pass",
        "corrected copies are printed, made for the figures that the machine has now",
        "print these files as they lie: they may be moved on the bed and not turned",
    )


def _file_fault(opened: Opened, part: Part, made: Compensation) -> str:
    file = opened.folder / made.file
    if not file.is_file():
        return f"the corrected copy {made.file} is not there"
    if hashlib.sha256(file.read_bytes()).hexdigest() != made.sha256:
        return f"{made.file} is not the copy that was made: its content has changed"
    if opened.shapes[part.id].mesh.sha256 != made.source_sha256:
        return "the mesh has changed since its copy was made"
    return ""


def _now(machine: Machine, made: Compensation) -> tuple[float, ...]:
    """(8,) what a copy made now would make up for: outlines only where this one does."""
    values = [machine.error.figures[name].value for name in FIGURES]
    return tuple(
        value if name in AFFINE_FIGURES or old else 0.0
        for name, value, old in zip(FIGURES, values, made.figures, strict=True)
    )


def moved_figures(machine: Machine, made: Compensation) -> list[str]:
    """The figures that have moved since a copy was made, in words."""
    words = []
    for name, now, old in zip(FIGURES, _now(machine, made), made.figures, strict=True):
        if abs(now - old) > _COVERAGE * machine.error.figures[name].std and now != old:
            words.append(f"{name} from {old:g} to {now:g}")
    return words


def has_fault(machine: Machine) -> bool:
    """Whether any of its figures is told from zero: a part printed as it is shows that."""
    figures = machine.error.figures.values()
    return any(item.value and abs(item.value) >= _COVERAGE * item.std for item in figures)


def mixed_joints(project: Project) -> Iterator[tuple[str, str]]:
    """Joints of which one part is corrected and the other is not, in words: (what, what to do)."""
    groups: dict[tuple[str, str], list[str]] = {}
    for joint in project.joints:
        if joint.proposed or GROUND in joint.parts:
            continue
        one, other = (project.part(id) for id in joint.parts)
        if (one.compensation is None) == (other.compensation is None):
            continue
        corrected, plain = (one, other) if one.compensation else (other, one)
        if has_fault(project.machine(plain.machine)):
            groups.setdefault((corrected.machine, plain.machine), []).append(joint.id)
    for (corrected_on, plain_on), joints in groups.items():
        if corrected_on == plain_on:
            what = (
                f"{_counted(joints)} between a corrected part and one that {plain_on} prints as it is, "
                f"with its fault: {list_some(joints, _NAMED)}"
            )
        else:
            what = (
                f"{_counted(joints)} between corrected parts of {corrected_on} and parts of {plain_on}, whose own "
                f"fault is not made up for: {list_some(joints, _NAMED)}"
            )
        yield what, f"correct those parts too: dryfit compensate {plain_on}"


def _counted(joints: Sequence[str]) -> str:
    return f"{len(joints)} joint{'' if len(joints) == 1 else 's'}"
