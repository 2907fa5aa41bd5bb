"""The machine that a user names."""

from __future__ import annotations

from dryfit.base.errors import ReferenceUnknown
from dryfit.model.machine import Machine
from dryfit.model.project import Project
from dryfit.store.words import suggest


def find_machine(project: Project, id: str) -> Machine:
    """The machine of an id. Raises ReferenceUnknown, with the nearest, where the project has none of that id."""
    known = {machine.id: machine for machine in project.machines}
    if id not in known:
        do = suggest(id, list(known), "machines")
        raise ReferenceUnknown(f'there is no machine "{id}"', "project.toml: machine", do)
    return known[id]


def find_target(project: Project, id: str) -> None:
    """Raises ReferenceUnknown, with the nearest, where neither a machine nor a part has the id."""
    known = [*(item.id for item in project.machines), *(item.id for item in project.parts)]
    if id not in known:
        do = suggest(id, known, "machines and parts")
        raise ReferenceUnknown(f'there is no machine or part "{id}"', "project.toml", do)
