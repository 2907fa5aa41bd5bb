"""The chain of a project with freshly estimated figures."""

from __future__ import annotations

from dataclasses import replace

from dryfit.app.forecast import Chain
from dryfit.app.live_chain import chain_for
from dryfit.app.magnitudes import check_magnitudes
from dryfit.app.qualification_records import error_model
from dryfit.model.qualification import Qualification


def with_qualification(chain: Chain, machine: str, qualification: Qualification) -> Chain:
    """The chain whose machine has the figures of a qualification."""
    project = chain.project
    known = replace(project.machine(machine), error=error_model(qualification, project))
    changed = replace(
        project, machines=tuple(known if item.id == machine else item for item in project.machines)
    )
    check_magnitudes(changed)
    return chain_for(chain, changed)
