"""What was assumed of machines and heat, in words."""

from __future__ import annotations

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
    return tuple(notes)


def heat_notes(project: Project) -> tuple[str, ...]:
    """What was assumed of temperature."""
    temp = project.assembly.temp_c
    if temp.value == REFERENCE_TEMP_C and temp.std == 0.0:
        return (f"everything at {REFERENCE_TEMP_C:g} C: heat and sun are not looked at",)
    return ()
