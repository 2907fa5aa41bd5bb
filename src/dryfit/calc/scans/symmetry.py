"""Motions that lay a part on itself, nearly or exactly: where a scan may turn up instead."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from dryfit.base.arrays import Array
from dryfit.calc.scans.coarse import SAME_SHIFT, SAME_TURN, PartModel, find_poses
from dryfit.calc.scans.fine import refine_pose
from dryfit.calc.scans.order import order_along_curve
from dryfit.calc.scans.rigid import STILL, RigidMotion
from dryfit.calc.scans.thinning import ThinScan

_SAMPLES, _TRIED, _MOST, _FEW = 2500, 30, 80, 400
_STILL = 1e-4  # share of the diagonal: candidates need not come to rest
# Within this share of the diagonal the part comes to lie on itself, as far as a candidate goes: the scan decides.
_NEARLY = 0.02


def own_symmetries(
    model: PartModel, is_same: Callable[[RigidMotion, RigidMotion], bool] | None = None
) -> tuple[RigidMotion, ...]:
    """Motions that lay the part nearly on itself, without standing still, closed under repetition.

    is_same : whether two motions are one but for what nothing holds; a body of revolution has few then, not very many
    They are candidates only; whether the scan tells them apart is another question.
    """
    surface = model.surface
    points, normals, _ = surface.sample(_SAMPLES, seed=5)
    order = order_along_curve(points)
    points, normals = points[order], normals[order]
    scan = ThinScan(points, normals, np.ones(len(points), dtype=np.bool_), True)
    known, few = [STILL], points[:: len(points) // _FEW]
    for pose in find_poses(model, scan, _TRIED, seed=7):
        motion = refine_pose(model.quick, few, pose, 0.05 * surface.diagonal_mm, 4, _STILL).motion
        if not _lies_on_itself(model, few, motion, 2.0 * _NEARLY) or _is_known(known, motion, model, is_same):
            continue
        motion = refine_pose(model.quick, points[::3], motion, 0.04 * surface.diagonal_mm, 10, _STILL).motion
        if _lies_on_itself(model, points, motion):
            known.append(motion)
    return _closed(model, known[1:], points, is_same)


def _lies_on_itself(model: PartModel, points: Array, motion: RigidMotion, share: float = _NEARLY) -> bool:
    distance = model.quick.nearest(motion.apply(points)).distance_mm
    return bool(np.sqrt((distance**2).mean()) < share * model.surface.diagonal_mm)


def _closed(
    model: PartModel,
    motions: list[RigidMotion],
    points: Array,
    is_same: Callable[[RigidMotion, RigidMotion], bool] | None,
) -> tuple[RigidMotion, ...]:
    """The motions with their products, up to a number, without standing still.

    Each product is drawn closer again, or many turns on end would run away; one that does not lie on the part
    is none.
    """
    known, waiting = [STILL], list(motions)
    few, reach = points[:: len(points) // _FEW], 0.02 * model.surface.diagonal_mm
    while waiting and len(known) <= _MOST:
        motion = waiting.pop(0)
        if _is_known(known, motion, model, is_same) or not _lies_on_itself(model, few, motion):
            continue
        motion = refine_pose(model.quick, few, motion, reach, 5, _STILL).motion
        if _is_known(known, motion, model, is_same):
            continue
        waiting += [motion.after(item) for item in known[1:]]
        known.append(motion)
    return tuple(known[1:])


def _is_known(
    known: list[RigidMotion],
    motion: RigidMotion,
    model: PartModel,
    is_same: Callable[[RigidMotion, RigidMotion], bool] | None,
) -> bool:
    surface = model.surface
    turns = np.array([item.rotation for item in known])
    places = turns @ surface.centre_mm + np.array([item.shift_mm for item in known])
    trace = np.einsum("pij,ij->p", turns, motion.rotation)
    apart = np.linalg.norm(places - motion.apply(surface.centre_mm[None])[0], axis=1)
    alike = (0.5 * (trace - 1.0) > np.cos(0.5 * SAME_TURN)) & (apart < 0.5 * SAME_SHIFT * surface.diagonal_mm)
    if alike.any():
        return True
    return is_same is not None and any(is_same(item, motion) for item in known)
