"""What is known of the machines that print the parts, at a hold point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from dryfit.app.hold_lines import Check
from dryfit.app.qualification_records import latest_qualifications, unused_qualifications
from dryfit.model.machine import Machine
from dryfit.model.project import Project
from dryfit.store.ledger import LedgerRecord


def machine_lines(project: Project, records: Sequence[LedgerRecord]) -> Iterator[Check]:
    """A line for each machine that prints a part, and one for each qualification that is not used."""
    used = {part.machine for part in project.parts}
    for machine in project.machines:
        if machine.id in used:
            yield _machine(machine)
    yield from _unused(project, records)


def _machine(machine: Machine) -> Check:
    model = machine.error
    if model.knowledge == "prior":
        return Check(
            "machine",
            machine.id,
            "not checked",
            "it has no error model: the forecast counts with a wide spread instead",
            f"print and measure a test artefact: dryfit artefact {machine.id}, then dryfit read and dryfit qualify; "
            "or state [machine.error]",
        )
    if model.estimated is not None:
        estimated = model.estimated
        return Check(
            "machine",
            machine.id,
            "pass",
            f"its figures were estimated on {estimated.at[:10]}, with uncertainty (ledger record {estimated.record})",
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


def _unused(project: Project, records: Sequence[LedgerRecord]) -> Iterator[Check]:
    """Qualifications that the forecast does not count with, since the document states other figures."""
    latest = latest_qualifications(records)
    for item in unused_qualifications(project, latest):
        yield Check(
            "machine",
            item.machine,
            "caution",
            f"it was qualified on {item.at[:10]} (ledger record {item.record}), but project.toml states other figures, "
            "with which the forecast counts",
            f"take [machine.error] of {item.machine} out of project.toml to use the qualification",
        )
