"""The chain of a project that differs from one at hand: stages that the change leaves alone are re-used."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

import numpy as np

from dryfit.app.forecast import Chain, build_chain, with_bond_lines, with_figures, with_poses
from dryfit.base.arrays import Array
from dryfit.model.joint import Joint
from dryfit.model.project import Project


def chain_for(chain: Chain, project: Project) -> Chain:
    """The chain of a changed project, re-using the stages that the change leaves alone."""
    old = chain.project
    if project.characteristics != old.characteristics or _bonding(project) != _bonding(old):
        return build_chain(project, chain.shapes, chain.as_built)
    if project.joints != old.joints:
        if not all(map(_differ_in_bond_line, project.joints, old.joints)):
            return build_chain(project, chain.shapes, chain.as_built)
        # The joints alone: what else changed is compared with the chain's own project below.
        chain = with_bond_lines(chain, dataclasses.replace(old, joints=project.joints))
    if project.parts != old.parts or _layers(project) != _layers(old):
        return with_poses(chain, project)
    return with_figures(chain, project)


def _bonding(project: Project) -> tuple[object, ...]:
    """What the bonding order is taken from, apart from the joints themselves."""
    assembly = project.assembly
    return assembly.datum, assembly.order, [joint.id for joint in project.joints]


def _differ_in_bond_line(joint: Joint, before: Joint) -> bool:
    """Whether two states of a joint differ in the bond line or not at all."""
    if joint is before:
        return True
    states = (
        dataclasses.replace(state, bond_line_mm=None, locator_points_mm=None) for state in (joint, before)
    )
    one, other = ([getattr(state, field.name) for field in dataclasses.fields(state)] for state in states)
    return one == other and _are_same(joint.locator_points_mm, before.locator_points_mm)


def _are_same(points: Array | None, others: Array | None) -> bool:
    if points is None or others is None:
        return points is others
    return np.array_equal(points, others)


def _layers(project: Project) -> Mapping[str, float]:
    return {machine.id: machine.error.first_layer_height_mm for machine in project.machines}
