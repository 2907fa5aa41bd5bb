"""What was assumed of machines, joints and heat, in words."""

from __future__ import annotations

from collections.abc import Sequence

from dryfit.app.contacts import DEFAULT_PLAY, JointRows
from dryfit.calc.placing import Sequence as BondingSequence
from dryfit.model.project import REFERENCE_TEMP_C, Project


def machine_notes(project: Project) -> tuple[str, ...]:
    """What was assumed of the machines that print parts of the project."""
    used = {part.machine for part in project.parts}
    notes = []
    for machine in project.machines:
        if machine.id not in used:
            continue
        model = machine.error
        if model.knowledge == "prior":
            notes.append(
                f'machine "{machine.id}" has no error model: square within 0.3 degrees, scale within 0.3 %, outlines '
                "and points within 0.1 mm taken, one standard deviation each (common practice, no source)"
            )
        if model.unstated:
            notes.append(
                f'machine "{machine.id}": {", ".join(model.unstated)} not stated, taken as exactly 0'
            )
        if model.exact:
            notes.append(
                f'machine "{machine.id}": {", ".join(model.exact)} stated without std, taken as exact'
            )
        copies = sum(part.compensation is not None for part in project.parts if part.machine == machine.id)
        if copies:
            counted = "1 part is" if copies == 1 else f"{copies} parts are"
            notes.append(
                f'machine "{machine.id}": {counted} printed from corrected copies, as they lie, not turned'
            )
    return tuple(notes)


def heat_notes(project: Project) -> tuple[str, ...]:
    """What was assumed of temperature."""
    temp = project.assembly.temp_c
    if temp.value == REFERENCE_TEMP_C and temp.std == 0.0:
        return (f"everything at {REFERENCE_TEMP_C:g} C: heat and sun are not looked at",)
    return ()


def play_notes(joint_rows: Sequence[JointRows]) -> tuple[str, ...]:
    """What was taken for play and bond lines that the document does not state."""
    faces = [rows.joint.id for rows in joint_rows if rows.joint.contact_play_mm is None]
    pins = [
        rows.joint.id
        for rows in joint_rows
        if rows.joint.locators != "none" and rows.joint.locator_play_mm is None
    ]
    as_modelled = [rows.joint.id for rows in joint_rows if rows.joint.bond_line_mm is None]
    notes = []
    if faces:
        notes.append(
            f"contact play not stated at {_some(faces)}: {DEFAULT_PLAY.std:g} mm taken (common practice, no source)"
        )
    if pins:
        notes.append(
            f"locator play not stated at {_some(pins)}: {DEFAULT_PLAY.std:g} mm taken (common practice, no source)"
        )
    if as_modelled:
        notes.append(f"bond line not stated at {_some(as_modelled)}: the gap in the model is taken, exactly")
    return tuple(notes)


def role_notes(
    project: Project, joint_rows: Sequence[JointRows], sequence: BondingSequence
) -> tuple[str, ...]:
    """What was decided by rule: joints that close a loop, the bonding order, proposals left aside."""
    closing = [
        rows.joint.id
        for rows, flag in zip(joint_rows, sequence.is_locating, strict=True)
        if not flag and rows.joint.role is None
    ]
    notes = []
    if closing:
        notes.append(
            f"{_some(closing)} taken to close a loop and not to locate: a gap, taper or step is stated there, or "
            "both its parts stand already"
        )
    if not project.assembly.order and len(project.parts) > 1:
        notes.append("bonding order not stated: by contact area from the datum")
    proposed = [joint.id for joint in project.joints if joint.proposed]
    if proposed:
        notes.append(f"proposed joints are not used until accepted: {_some(proposed)}")
    return tuple(notes)


def _some(names: Sequence[str], most: int = 4) -> str:
    shown = ", ".join(names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more joints"
