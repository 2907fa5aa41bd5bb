"""Locator layouts: along which axis of its face each joint has its pin and slot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dryfit.app.contacts import JointRows, rows_of_joint
from dryfit.app.forecast import Chain, chain_from_structure
from dryfit.app.orient_loss import first_order_loss
from dryfit.app.orient_poses import with_poses_of
from dryfit.app.orient_problem import build_problem
from dryfit.app.orient_search import Found, Layouts, Poses, Search, best_exactly, find_poses
from dryfit.app.structure import structure_from_faces
from dryfit.base.arrays import Array
from dryfit.base.errors import ComputationRefused
from dryfit.model.joint import Joint
from dryfit.model.orientation import Layout, OrientOptions
from dryfit.model.project import Project

_ROUNDS = 3  # times that layouts and poses are searched in turn


@dataclass(frozen=True, slots=True, eq=False)
class Layable:
    """Where locators lie and may lie: found once, because finding the axes of a face takes its time.

    stated   per joint with locators the points (2, 3) [mm] of the document or of its rule
    options  per joint that may change its other layouts, each with its points
    left_out layouts that no rule can place, in words
    """

    stated: Mapping[str, Array]
    options: Mapping[str, Mapping[Layout, Array]]
    left_out: tuple[str, ...]


def stated_layout(joint: Joint) -> Layout:
    """How the document lays the locators."""
    return joint.locator_axis if joint.locator_points_mm is None else "stated points"


def laid_along(joint: Joint, axis: Layout) -> Joint:
    """The joint with its locators by rule along an axis of its face."""
    if axis == "stated points":
        return joint
    return replace(joint, locator_axis=axis, locator_points_mm=None)


def with_layouts(project: Project, layouts: Layouts) -> Project:
    """The project with the locators of some joints laid along the named axis of the face."""
    joints = (laid_along(joint, layouts.get(joint.id, "stated points")) for joint in project.joints)
    return replace(project, joints=tuple(joints))


def layable_joints(chain: Chain, options: OrientOptions) -> Layable:
    """What may be laid otherwise: accepted, locating joints with locators, placed by rule unless asked."""
    structure = chain.structure
    centroids = {name: shape.measures.centroid_mm for name, shape in chain.shapes.items()}
    stated: dict[str, Array] = {}
    may: dict[str, dict[Layout, Array]] = {}
    left_out: list[str] = []
    for rows, locates in zip(structure.joint_rows, structure.sequence.is_locating, strict=True):
        joint = rows.joint
        if joint.locators == "none":
            continue
        stated[joint.id] = _points(rows)
        by_rule = joint.locator_points_mm is None
        if not (options.with_locators and locates and (by_rule or options.with_stated_points)):
            continue
        for axis in ("long", "short"):
            if axis == stated_layout(joint):
                continue
            try:
                laid = rows_of_joint(laid_along(joint, axis), rows.faces, centroids)
            except ComputationRefused as refusal:
                left_out.append(
                    f'joint "{joint.id}": locators along the {axis} axis were not tried: {refusal.what}'
                )
                continue
            may.setdefault(joint.id, {})[axis] = _points(laid)
    return Layable(stated, may, tuple(left_out))


def _points(rows: JointRows) -> Array:
    """(2, 3) locator points of a joint's rows; for a single pin a second one along its first direction."""
    locators = np.nonzero(~rows.is_face)[0]
    pin, last = rows.p_first[locators[0]], rows.p_first[locators[-1]]
    if rows.joint.locators == "pin":
        last = pin + rows.direction[locators[0]]
    return np.array([pin, last])


def chain_of_layouts(search: Search, layable: Layable, layouts: Layouts, poses: Poses) -> Chain:
    """The chain of a layout, its faces and locator points as already found."""
    chain = search.chain
    project = with_poses_of(chain.project, search.spaces, poses)
    joints = tuple(_placed(joint, layable, layouts) for joint in project.joints)
    project = replace(project, joints=joints)
    faces = {rows.joint.id: rows.faces for rows in chain.structure.joint_rows}
    return chain_from_structure(project, chain.shapes, structure_from_faces(project, chain.shapes, faces))


def _placed(joint: Joint, layable: Layable, layouts: Layouts) -> Joint:
    axis = layouts.get(joint.id)
    points = layable.stated.get(joint.id) if axis is None else layable.options[joint.id][axis]
    return joint if points is None else replace(joint, locator_points_mm=points)


def search_layouts(search: Search, layable: Layable, first: Found) -> Found:
    """Layouts and poses in turn, from the best poses of the stated layout."""
    may = layable.options
    best = first
    for axis in ("long", "short"):
        layouts: dict[str, Layout] = {joint: axis for joint, options in may.items() if axis in options}
        if layouts:
            best = min(best, _poses_of_layouts(search, layable, layouts, best), key=lambda item: item.priced)
    for _ in range(_ROUNDS if may else 0):
        swept = _sweep(search, layable, best)
        if swept == best.layouts:
            break
        again = _poses_of_layouts(search, layable, swept, best)
        if again.priced >= best.priced * (1.0 - 1e-12):
            break
        best = again
    return best


def _poses_of_layouts(search: Search, layable: Layable, layouts: Layouts, so_far: Found) -> Found:
    chain = chain_of_layouts(search, layable, layouts, search.stated)
    if chain.structure.is_free[search.judged.line].any():
        return so_far
    problem = build_problem(chain, search.judged, search.spaces)
    found = find_poses(search, problem, [so_far.poses])
    return best_exactly(search, chain, problem, layouts, [search.stated, so_far.poses, *found])


def _sweep(search: Search, layable: Layable, best: Found) -> Layouts:
    """One joint after the other at fixed poses, to first order: each takes its best layout."""
    current = dict(best.layouts)
    loss = _loss_of(search, layable, current, best.poses)
    for joint, options in layable.options.items():
        others = {name: axis for name, axis in current.items() if name != joint}
        trials: list[dict[str, Layout]] = [
            {**others, joint: axis} for axis in options if axis != current.get(joint)
        ]
        if joint in current:
            trials.append(others)
        for trial in trials:
            reached = _loss_of(search, layable, trial, best.poses)
            if reached < loss - 1e-12 * (1.0 + loss):
                current, loss = trial, reached
        search.tick()
    return current


def _loss_of(search: Search, layable: Layable, layouts: Layouts, poses: Poses) -> float:
    chain = chain_of_layouts(search, layable, layouts, poses)
    return first_order_loss(chain, search.judged) + search.price(poses, layouts)
