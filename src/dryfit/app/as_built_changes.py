"""What a builder might do about parts as built, put into the chain: print anew, turn, shim, sand, change a bond line.

Readings of a print that is replaced still tell of its machine; the part that takes its place is as uncertain as any
that is still to be printed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from dryfit.app.as_built import AsBuiltParts
from dryfit.app.forecast import Chain, run_forecast
from dryfit.app.live_chain import chain_for
from dryfit.app.shims import Shim, shimmed_rows
from dryfit.base.errors import ReferenceUnknown
from dryfit.base.estimate import Estimate
from dryfit.model.forecast import ForecastReport
from dryfit.model.part import Bed, Part

CHANGE_SAMPLES = (
    4_000  # draws for results that need any; the order of remedies does not hang on the last digit
)


@dataclass(frozen=True, slots=True, eq=False)
class AsBuiltChange:
    """Changes that are tried together. All of them may be empty.

    reprint     parts that are printed anew: in the pose that they have, or that beds states
    beds        poses of parts to come; a printed part that is turned is printed anew
    bond_lines  designed thickness by joint
    shims       added to those of the chain
    """

    reprint: frozenset[str] = frozenset()
    beds: Mapping[str, Bed] = field(default_factory=dict)
    bond_lines: Mapping[str, Estimate] = field(default_factory=dict)
    shims: tuple[Shim, ...] = ()

    @property
    def prints(self) -> frozenset[str]:
        """Ids of the parts that have to be printed for it, among those that are printed already."""
        return self.reprint | frozenset(self.beds)


def changed_chain(chain: Chain, change: AsBuiltChange) -> Chain:
    """The chain after a change; stages that the change leaves alone are re-used.

    Raises ReferenceUnknown for an unknown part or joint, ComputationRefused for a shim that cannot be.
    """
    project = chain.project
    _check(chain, change)
    parts = tuple(_changed_part(part, chain.as_built, change) for part in project.parts)
    joints = tuple(
        replace(joint, bond_line_mm=change.bond_lines[joint.id]) if joint.id in change.bond_lines else joint
        for joint in project.joints
    )
    now = replace(project, parts=parts, joints=joints)
    made = chain_for(replace(chain, as_built=_without(chain.as_built, change.prints)), now)
    for shim in change.shims:
        shimmed_rows(made.structure, shim)
    return replace(made, shims=(*chain.shims, *change.shims))


def forecast_change(chain: Chain, change: AsBuiltChange, samples: int = CHANGE_SAMPLES) -> ForecastReport:
    """The forecast after a change, without the prior and without looking for suspects: for comparing many."""
    return run_forecast(changed_chain(chain, change), samples=samples, with_prior=False)


def _check(chain: Chain, change: AsBuiltChange) -> None:
    parts = {part.id for part in chain.project.parts}
    joints = {joint.id for joint in chain.project.joints}
    for name in sorted(change.prints - parts):
        raise ReferenceUnknown(f'there is no part "{name}"', "change", "name a part of the document")
    for name in sorted(set(change.bond_lines) - joints):
        raise ReferenceUnknown(f'there is no joint "{name}"', "change", "name a joint of the document")


def _changed_part(part: Part, as_built: AsBuiltParts | None, change: AsBuiltChange) -> Part:
    if part.id not in change.prints:
        return part
    bed = change.beds.get(part.id, part.bed)
    # What is printed anew is printed by the machine as it is now.
    machine = part.machine
    if as_built is not None:
        machine = next((i.print.machine for i in as_built.prints if i.machine_id == part.machine), machine)
    # A corrected copy makes up for the errors of one pose.
    made = part.compensation if part.compensation is not None and part.compensation.bed == bed else None
    return replace(part, bed=bed, machine=machine, compensation=made)


def _without(as_built: AsBuiltParts | None, parts: frozenset[str]) -> AsBuiltParts | None:
    """The parts as built, those that are printed anew no longer among them."""
    if as_built is None or not parts:
        return as_built
    return replace(
        as_built,
        prints=tuple(
            replace(item, is_as_built=False) if item.print.part in parts else item for item in as_built.prints
        ),
    )
