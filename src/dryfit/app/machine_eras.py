"""Which state of its machine a print belongs to, where the machine has moved since.

A qualification that finds the machine moved parts its prints in two: those before belong to the machine as it was. A
print made between two qualifications, the later of which finds a move, may belong to either: it has figures of its own,
with the mean and the spread of both taken as equally likely. Where the machine was adjusted in between, as the checks
before printing record, the adjustment parts the prints and nothing is in doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from dryfit.app.preflight_records import preflights_of
from dryfit.app.qualification_records import compare_figures, error_model, qualifications_of
from dryfit.model.machine import Machine
from dryfit.model.printing import Print
from dryfit.model.project import Project
from dryfit.model.qualification import Qualification
from dryfit.store.ledger import LedgerRecord


def machine_of_print(project: Project, records: Sequence[LedgerRecord], item: Print) -> Machine | None:
    """The machine as it was for a print, under an id of its own; None where it is the machine as it is now.

    Only machines with figures out of the ledger have a past: stated figures hold for all prints.
    """
    machine = next((row for row in project.machines if row.id == item.machine), None)
    if machine is None or machine.error.knowledge != "estimated":
        return None
    states = _states(qualifications_of(records, machine.id))
    for before, after in pairwise(states):
        if item.moment >= after[0].at:
            continue
        last = before[-1]
        adjusted = [
            check.at
            for check in preflights_of(records, machine.id)
            if check.adjusted and last.at < check.at <= after[0].at
        ]
        if adjusted:
            if item.moment < adjusted[0]:
                return _as_it_was(machine, last, project, after[0])
            continue
        if item.moment <= last.at:
            return _as_it_was(machine, last, project, after[0])
        return _in_doubt(machine, last, after[0], project, item)
    return None


def _states(qualifications: Sequence[Qualification]) -> list[list[Qualification]]:
    """Qualifications by state of the machine: a new one begins where a move is found."""
    states: list[list[Qualification]] = []
    for now in qualifications:
        before = states[-1][-1] if states else None
        if before is None or (now.artefact != before.artefact and compare_figures(before, now).has_moved):
            states.append([now])
        else:
            states[-1].append(now)
    return states


def _as_it_was(machine: Machine, last: Qualification, project: Project, after: Qualification) -> Machine:
    return replace(machine, id=f"{machine.id} before {after.at[:10]}", error=error_model(last, project))


def _in_doubt(
    machine: Machine, before: Qualification, after: Qualification, project: Project, item: Print
) -> Machine:
    """The first two moments of an even mixture. Source: mean and covariance of a mixture (closed form)."""
    half = 0.5 * (after.figures - before.figures)
    both = replace(
        after,
        figures=0.5 * (after.figures + before.figures),
        covariance=0.5 * (after.covariance + before.covariance) + np.outer(half, half),
        with_shrinkage=0.5 * (after.with_shrinkage + before.with_shrinkage),
        repeatability_mm=max(before.repeatability_mm, after.repeatability_mm),
    )
    return replace(machine, id=f"{machine.id} for print {item.record}", error=error_model(both, project))
